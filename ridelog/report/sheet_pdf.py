"""The owner's sheet as a tagged PDF that carries its result: laid out by typst, without network."""

import json
import re
import shutil
import tempfile
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path

import matplotlib

from ridelog.core.errors import OutputError
from ridelog.report.sheet import SheetWords

PAPERS = ("a4", "us-letter")
# Letters become smaller until the sheet is one page; at the last size it may take its back too.
_SIZES_PT = ("8.4", "8.0", "7.6", "7.2", "6.8")
_FONT = "DejaVu Sans"
# The date of a file whose rides tell no day: the first that typst takes as a date of any kind.
_NO_DAY = "1970-01-01"
# matplotlib ships these; a folder of its own, because its last-resort font hides missing letters.
_FONT_FILES = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")


def sheet_pdf(
    words: SheetWords, picture_svg: str, label: str, result: bytes, paper: str
) -> tuple[bytes, str]:
    """Return the sheet as PDF, and a sentence if it had to do without something.

    Equal input gives equal bytes: the file's date is that of the last ride.

    Parameters
    ----------
    words : SheetWords
        What it says.
    picture_svg, label : str
        The picture and what it shows; empty for none.
    result : bytes
        The JSON of the comparison, attached as result.json.
    paper : str
        One of PAPERS.

    Raises
    ------
    OutputError
        If the sheet cannot be set at all.
    """
    inputs = {
        "words": json.dumps(asdict(words), ensure_ascii=False),
        "paper": paper,
        "font": _FONT,
        "result": result.decode("utf-8"),
        "day": words.last_day or _NO_DAY,
    }
    if picture_svg:
        inputs |= {"picture": _plain_svg(picture_svg), "label": label}
    with tempfile.TemporaryDirectory(prefix="ridelog-") as folder:
        for name in _FONT_FILES:
            font = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name
            shutil.copy(font, Path(folder) / name)
        source = Path(folder) / "sheet.typ"
        source.write_bytes((files("ridelog.report") / "templates" / "sheet.typ").read_bytes())
        for size in _SIZES_PT:
            inputs["size"] = size
            if _pages(str(source), inputs, folder) == 1:
                break
        return _compiled(str(source), inputs, folder)


def _pages(source: str, inputs: dict[str, str], fonts: str) -> int:
    """Return on how many pages the sheet would be set."""
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
        (False, True, "The sheet was set with fonts of this machine ({why})."),
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
            failure = _first_line(error)
            continue
        if not isinstance(data, bytes):
            raise TypeError("one PDF was asked for")
        return data, note.format(why=failure)
    raise OutputError(
        f"The PDF of the sheet cannot be set ({failure}).",
        "print sheet.html instead, and report this.",
    )


def _first_line(error: Exception) -> str:
    lines = str(error).splitlines()
    return lines[0] if lines else type(error).__name__


def _plain_svg(svg: str) -> str:
    """Return a picture with plain colours: variables of a page mean nothing outside it."""
    return re.sub(r"var\(--[a-z0-9]+,(#[0-9a-fA-F]{6})\)", r"\1", svg)
