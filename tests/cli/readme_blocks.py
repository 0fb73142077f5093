"""The blocks of README: its commands, what it prints of them, and how both are held together.

    PYTHONPATH=. python tests/cli/readme_blocks.py     # write the printed outputs again

Figures may differ a little between processors: a number may be off by 2 % of half the width of the
interval behind it, and by one of its last digit, since rounding may fall to either side.
"""

import io
import os
import re
import shlex
import tempfile
import time
from collections.abc import Iterator
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from glob import glob
from pathlib import Path

from ridelog.__main__ import main

ROOT = Path(__file__).resolve().parents[2]
README = ROOT / "README.md"
SHARE_OF_HALF_WIDTH = 0.02
_BLOCK = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
# What may stand behind a number that is measured; without a unit and a point it is counted.
_UNITS = r"(?:km/h|m/s²|m/s|mph|m\b|s\b|g\b|%|Wh/km)"
_NUMBER = re.compile(rf"(?<![\w.,-])([+−]?\d[\d,]*(?:\.\d+)?)(?!\w|-\d|:)(?=\s*({_UNITS})?)")
_INTERVAL = re.compile(r"\(([+−]?[\d.,]+) to ([+−]?[\d.,]+)\)")


@dataclass(frozen=True)
class Block:
    """One fenced block: its language, its lines, and the printed output that follows it, if any."""

    language: str
    text: str
    printed: str | None

    @property
    def is_shell(self) -> bool:
        """Whether it is for the shell."""
        return self.language == "sh"

    @property
    def command(self) -> str:
        """The ridelog command of a block of the shell, in one line, without its set-up."""
        return self.text.replace("\\\n", " ").split("&&")[-1].strip()


def blocks() -> list[Block]:
    """Return all blocks of README but those of printed output, which go with their command."""
    found = [(one[1], one[2]) for one in _BLOCK.finditer(README.read_text(encoding="utf-8"))]
    following = [*found[1:], ("", "")]
    return [
        Block(language, text, after if kind == "text" else None)
        for (language, text), (kind, after) in zip(found, following, strict=True)
        if language != "text"
    ]


def ran(block: Block) -> tuple[int, str, str]:
    """Run the ridelog command of a block beside the sample tracks; return status and both outputs.

    Words with a star are opened as a shell opens them.
    """
    words = shlex.split(block.command)
    assert words[0].endswith("ridelog")
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "sample_tracks").symlink_to(ROOT / "sample_tracks")
        inside = Path(folder) / ("sample_tracks" if "cd sample_tracks" in block.text else ".")
        out, err = io.StringIO(), io.StringIO()
        with chdir(inside), redirect_stdout(out), redirect_stderr(err):
            # What would be written beside the samples goes into the folder above.
            given = [w.replace("../", f"{folder}/") for w in words[1:]]
            opened = [o for w in given for o in (sorted(glob(w)) if "*" in w else [w])]
            try:
                main(opened)
                status = 0
            except SystemExit as left:
                status = int(left.code or 0)
    return status, out.getvalue(), err.getvalue()


def part_of(printed: str, whole: str) -> str:
    """Return the lines of an output from the printed one's first line on, as many as it has.

    README may print the end of an output alone. A first line whose numbers moved is still the same.
    """
    count, lines = printed.count("\n"), whole.splitlines(keepends=True)
    first = _NUMBER.sub("", printed.split("\n", 1)[0])
    at = next((k for k, line in enumerate(lines) if _NUMBER.sub("", line[:-1]) == first), -count)
    return "".join(lines[at:][:count]) if at >= 0 else "".join(lines[at:])


def differences(printed: str, seen: str) -> Iterator[str]:
    """Yield what of a printed output is not as it comes out now, a sentence each."""
    old, new = _tokens(printed), _tokens(seen)
    if [words for words, _ in old] != [words for words, _ in new]:
        yield f"the words are others:\n{seen}"
        return
    reaches = _reaches(printed)
    for k, ((_, one), (_, other)) in enumerate(zip(old, new, strict=True)):
        apart, last = abs(_value(one[0]) - _value(other[0])), _last_digit(one[0])
        measured = bool(one[1]) or "." in one[0]
        allowed = SHARE_OF_HALF_WIDTH * reaches[k] + last if measured else 0.0
        if apart > allowed * (1.0 + 1e-9):
            yield f"{one[0]} {one[1]} is {other[0]} now"


def _tokens(text: str) -> list[tuple[str, tuple[str, str]]]:
    """Return the numbers with their units, each with the words before it, spaces as one."""
    found, at = [], 0
    for match in _NUMBER.finditer(text):
        words = " ".join(text[at : match.start(1)].split())
        found.append((words, (match[1], match[2] or "")))
        at = match.end(1)
    return [*found, (" ".join(text[at:].split()), ("0", ""))]


def _reaches(text: str) -> list[float]:
    """Return for each number half the width of the interval it belongs to, 0 for none.

    An interval belongs to the number before it and to its own ends.
    """
    numbers = list(_NUMBER.finditer(text))
    reaches = [0.0] * (len(numbers) + 1)
    for interval in _INTERVAL.finditer(text):
        half = 0.5 * (_value(interval[2]) - _value(interval[1]))
        inside = [
            k for k, n in enumerate(numbers) if interval.start() <= n.start() < interval.end()
        ]
        for k in [inside[0] - 1, *inside] if inside else []:
            reaches[max(k, 0)] = half
    return reaches


def _value(words: str) -> float:
    return float(words.replace(",", "").replace("−", "-"))


def _last_digit(words: str) -> float:
    return 0.1 ** len(words.partition(".")[2])


def write_again() -> None:
    """Write README's printed outputs as they come out now."""
    os.environ["TZ"] = "UTC0"
    time.tzset()
    text = README.read_text(encoding="utf-8")
    for block in blocks():
        if block.printed is not None:
            status, seen, told = ran(block)
            assert status == 0, told
            text = text.replace(block.printed, part_of(block.printed, seen))
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write_again()
