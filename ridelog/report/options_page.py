"""Options side by side as a page that stands alone, as one page of paper, and as files."""

import json
from dataclasses import asdict

from ridelog.compare.matching import Rides
from ridelog.core.units import SpeedUnit
from ridelog.machine.options import OptionsPredicted
from ridelog.present.html import laid_out
from ridelog.report.aim import Aim
from ridelog.report.letterhead import Letterhead
from ridelog.report.options_plot import options_picture, options_svg
from ridelog.report.options_words import OptionsWords, options_words
from ridelog.report.pdf import NO_DAY, last_day, one_page, plain_svg

FILES = ("options.html", "options.pdf", "options.png", "options.json")


def options_files(
    found: OptionsPredicted,
    rides: Rides,
    unit: SpeedUnit,
    document: bytes,
    *,
    aim: Aim | None = None,
    letterhead: Letterhead | None = None,
    note: str = "",
    paper: str = "a4",
) -> tuple[dict[str, bytes], str]:
    """Return page, paper, picture and result, and what the paper had to do without, if anything.

    ``document`` is the result as JSON, which the paper carries; paper is one of ``pdf.PAPERS``.
    """
    head = letterhead or Letterhead()
    words = options_words(found, unit, aim=aim, letterhead=head, note=note)
    picture = options_picture(found, unit)
    svg, label = options_svg(found, unit)
    pdf, lacking = _pdf(words, svg, label, document, paper, last_day(rides), head)
    page = laid_out("options.html", words=words, picture=picture, logo=head.logo_url)
    files = {
        "options.html": page.encode("utf-8", errors="replace"),
        "options.pdf": pdf,
        "options.json": document,
    }
    if picture is not None:
        files["options.png"] = picture.png
    return files, lacking


def _pdf(
    words: OptionsWords,
    svg: str,
    label: str,
    document: bytes,
    paper: str,
    day: str,
    head: Letterhead,
) -> tuple[bytes, str]:
    inputs = {
        "words": json.dumps(asdict(words), ensure_ascii=False),
        "paper": paper,
        "result": document.decode("utf-8"),
        "day": day or NO_DAY,
    }
    if svg:
        inputs |= {"picture": plain_svg(svg), "label": label}
    return one_page("options.typ", *head.beside(inputs))
