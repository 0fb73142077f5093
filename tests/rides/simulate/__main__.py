"""Write the sample tracks again, or compare them with those on disk."""

import argparse
import sys
from pathlib import Path

from ridelog.core.errors import OutputError, RideLogError
from simulate.samples import generate


def run(arguments: list[str] | None = None) -> int:
    """Return 0 when the folder was written, or with --check when it holds the very same bytes.

    Problems go to standard error as one sentence, with status 1.
    """
    parser = argparse.ArgumentParser(
        prog="python -m simulate",
        description="Compute the invented sample rides from their seeds and write them as GPX and "
        "NMEA logs, with their true figures in truth.json and a README.",
    )
    parser.add_argument(
        "--out", type=Path, default=Path("sample_tracks"), help="folder (default: sample_tracks)"
    )
    choice = parser.add_mutually_exclusive_group()
    choice.add_argument("--force", action="store_true", help="write over files that are there")
    choice.add_argument("--check", action="store_true", help="write nothing, compare the bytes")
    options = parser.parse_args(arguments)
    try:
        files = generate()
        if options.check:
            check(files, options.out)
            print(f"{len(files)} files in {options.out} are as computed")
        else:
            write(files, options.out, force=options.force)
            print(f"wrote {len(files)} files to {options.out}")
    except RideLogError as error:
        print(error, file=sys.stderr)
        return 1
    return 0


def write(files: dict[str, bytes], folder: Path, *, force: bool = False) -> None:
    """Write files into a folder, which is made if it is missing.

    Raises
    ------
    OutputError
        If a file is there already and ``force`` is False, or the folder cannot be written.
    """
    present = [name for name in files if (folder / name).exists()]
    if present and not force:
        raise OutputError(
            f"{folder}: {present[0]} is there already.",
            "add --force to write over it, or choose another folder with --out.",
        )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            # Whole or not at all: a neighbour is written first and then takes the name.
            part = folder / f"{name}.part"
            part.write_bytes(content)
            part.replace(folder / name)
    except OSError as error:
        raise OutputError(
            f"{folder}: the samples cannot be written there ({error.strerror}).",
            "choose a folder that you may write to with --out.",
        ) from error


def check(files: dict[str, bytes], folder: Path) -> None:
    """Compare files with those of a folder.

    Raises
    ------
    OutputError
        For the first file that is missing or differs.
    """
    for name, content in files.items():
        path = folder / name
        if not path.is_file():
            raise OutputError(f"{path}: the file is missing.", "write the samples with --force.")
        found = path.read_bytes()
        if found != content:
            pairs = zip(found, content, strict=False)
            place = next(
                (i for i, (a, b) in enumerate(pairs) if a != b), min(len(found), len(content))
            )
            raise OutputError(
                f"{path}: differs from what is computed, first at byte {place}.",
                "write the samples again with --force, and look at what changed.",
            )


if __name__ == "__main__":
    sys.exit(run())
