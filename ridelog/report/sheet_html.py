"""The owner's sheet as one self-contained HTML page: no script, no network, no coordinates."""

from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import DictLoader, Environment, StrictUndefined
from markupsafe import Markup

from ridelog.report.palette import css_variables
from ridelog.report.section import Picture
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
    drawn = None
    if picture is not None:
        drawn = {
            "wide_svg": Markup(picture.wide_svg),
            "narrow_svg": Markup(picture.narrow_svg),
        }
    page: str = _template().render(
        words=words,
        picture=drawn,
        light_css=Markup(css_variables(dark=False)),
        dark_css=Markup(css_variables(dark=True)),
    )
    return page


@cache
def _template() -> Any:
    text = (files("ridelog.report") / "templates" / "sheet.html").read_text(encoding="utf-8")
    environment = Environment(
        loader=DictLoader({"sheet.html": text}),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
    return environment.get_template("sheet.html")
