"""One page of paper as a tagged PDF; the words go into a template as data, never as markup."""

import json
import re
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path

import matplotlib

from ridelog.analysis.subject import MeasuredRide
from ridelog.core.errors import OutputError

PAPERS = ("a4", "us-letter")
# Letters become smaller until all fits one page.
_SIZES_PT = ("8.4", "8.0", "7.6", "7.2", "6.8")
# What then still finds no room, such as hashes, goes to the back.
_BACK = (("back", "8.0"), ("back", "7.6"), ("back", "7.2"), ("back", "6.8"))
_FONT = "DejaVu Sans"
# matplotlib ships these; a folder of its own, because its last-resort font hides missing letters.
_FONT_FILES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")


# The date of a file whose rides tell no day: the first that typst takes as a date of any kind.
NO_DAY = "1970-01-01"


def last_day(rides: Iterable[MeasuredRide]) -> str:
    """Return the day of the last ride as YYYY-MM-DD, empty if no log tells it."""
    sources = [ride.source for ride in rides]
    return max((s.end_utc[:10] for s in sources if s.date_known), default="")


def one_page(
    template: str, inputs: Mapping[str, str], beside: Mapping[str, bytes] | None = None
) -> tuple[bytes, str]:
    """Return a template's PDF, and a sentence if it had to do without something.

    ``template`` is a file of ``templates/``; ``inputs`` are strings for it, ``beside`` files that
    it may read by name. It is set in smaller letters until it fits one page; if none does,
    ``back`` among the inputs lets the template put on a second one what can wait.

    OutputError if it cannot be set at all.
    """
    given = {**inputs, "font": _FONT}
    with tempfile.TemporaryDirectory(prefix="ridelog-") as folder:
        for name in _FONT_FILES:
            font = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name
            shutil.copy(font, Path(folder) / name)
        for name, data in (beside or {}).items():
            (Path(folder) / name).write_bytes(data)
        source = Path(folder) / template
        source.write_bytes((files("ridelog.report") / "templates" / template).read_bytes())
        for back, size in [*(("", size) for size in _SIZES_PT), *_BACK]:
            given |= {"size": size, "back": back}
            pages = _pages(str(source), given, folder)
            if pages == (2 if back else 1):
                break
        return _compiled(str(source), given, folder)


def _pages(source: str, inputs: dict[str, str], fonts: str) -> int:
    """Return on how many pages it would be set."""
    import typst

    found = typst.query(
        source, "<pages>", field="value", one=True, font_paths=[fonts], sys_inputs=inputs,
        ignore_system_fonts=True,
    )  # fmt: skip
    return int(json.loads(found))


def _compiled(source: str, inputs: dict[str, str], fonts: str) -> tuple[bytes, str]:
    """Try strictly first; a letter that the font lacks asks for the system's fonts."""
    import typst

    failure = ""
    for own_font_only, strict, note in (
        (True, True, ""),
        (False, True, "It was set with fonts of this machine ({why})."),
        (False, False, "The PDF does not claim to be accessible or archival ({why})."),
    ):
        try:
            data = typst.compile(
                source,
                format="pdf",
                font_paths=[fonts],
                sys_inputs=inputs,
                ignore_system_fonts=own_font_only,
                # Tagged for those who listen (PDF/UA-1), with the result inside (PDF/A-3a).
                pdf_standards=["ua-1", "a-3a"] if strict else [],
            )
        except typst.TypstError as error:
            failure = (str(error).splitlines() or [type(error).__name__])[0]
            continue
        if not isinstance(data, bytes):
            raise TypeError("one PDF was asked for")
        return data, note.format(why=failure)
    raise OutputError(
        f"The PDF cannot be set ({failure}).",
        "print the page instead, and report this.",
    )


def plain_svg(svg: str) -> str:
    """Return a picture with plain colours: variables of a page mean nothing outside it."""
    return re.sub(r"var\(--[a-z0-9]+,(#[0-9a-fA-F]{6})\)", r"\1", svg)
