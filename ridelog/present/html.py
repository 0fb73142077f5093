"""Pages that stand alone: one document with its style inside, no script, no network."""

from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from ridelog.present.palette import css_variables


def laid_out(template: str, **values: Any) -> str:
    """Return a page as HTML.

    The template is a file of ``templates/`` that extends ``document.html``; text among the values
    is escaped, drawings the templates pass as they are.
    """
    page: str = _templates().get_template(template).render(
        light_css=Markup(css_variables(dark=False)),
        dark_css=Markup(css_variables(dark=True)),
        **values,
    )  # fmt: skip
    return page


@cache
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("ridelog.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
    )
