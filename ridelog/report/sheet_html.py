"""The owner's sheet as one self-contained HTML page: no script, no network, no coordinates."""

from ridelog.present.html import laid_out
from ridelog.present.section import Picture
from ridelog.report.sheet import SheetWords


def sheet_html(words: SheetWords, picture: Picture | None) -> str:
    """Return the sheet as HTML.

    Parameters
    ----------
    words : SheetWords
        What it says.
    picture : Picture or None
        From ``compare_picture`` in the same unit.
    """
    cautions = [{"text": sentence, "source": ""} for sentence in words.cautions]
    return laid_out("sheet.html", words=words, picture=picture, cautions=cautions)
