"""Files that appear whole or not at all, and that never replace another one unasked."""

import os
import sys
from pathlib import Path

from ridelog.core.errors import OutputError, PlaceError
from ridelog.present.words import clean


def check_free(paths: list[Path], *, force: bool, log: Path | None = None) -> None:
    """Raise if one of the files to be written is there already, or is the log itself.

    PlaceError with the first file in the way.
    """
    for path in paths:
        name = clean(str(path))
        if log is not None and path.exists() and log.exists() and path.samefile(log):
            raise PlaceError(f"{name}: this is the log itself.", "choose another name.")
        if path.is_dir():
            raise PlaceError(f"{name}: this is a folder, not a file.", "give a file name.")
        if not force and path.is_file():
            raise PlaceError(
                f"{name}: this file is there already and is left as it was.",
                "choose another name, or allow replacing it with --force.",
            )
        if not path.parent.is_dir():
            raise PlaceError(
                f"{name}: there is no folder {clean(str(path.parent))}.",
                "make the folder first, or choose another place.",
            )


def make_folder(folder: Path) -> None:
    """Make a folder and those above it.

    OutputError if a file is in the way or the folder may not be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"{clean(str(folder))}: the folder cannot be made ({_reason(error)}).",
            "choose another folder.",
        ) from error


def write_files(files: dict[Path, bytes], *, force: bool, log: Path | None = None) -> None:
    """Write files so that each is complete under its own name or absent.

    All are written under temporary names beside their places first, so that a full disk leaves
    nothing half done.

    PlaceError if a file is in the way, OutputError if one cannot be written.
    """
    check_free(list(files), force=force, log=log)
    pending: dict[Path, Path] = {}
    path = Path()
    try:
        for path, data in files.items():
            if path.exists() and not path.is_file():
                path.write_bytes(data)  # a pipe or a device: there is nothing to replace
                continue
            pending[path] = path.with_name(f".{path.name[:100]}.{os.getpid()}.part")
            pending[path].write_bytes(data)
        for path, part in list(pending.items()):
            os.replace(part, path)
            del pending[path]
    except OSError as error:
        raise OutputError(
            f"{clean(str(path))}: the file cannot be written ({_reason(error)}).",
            "check the folder's rights and free space, or choose another place.",
        ) from error
    finally:
        for part in pending.values():
            part.unlink(missing_ok=True)


def write_stdout(data: bytes) -> None:
    """Write bytes to standard output as they are, with nothing around them."""
    sys.stdout.flush()
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()


def _reason(error: OSError) -> str:
    return (error.strerror or type(error).__name__).lower()
