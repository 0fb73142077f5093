"""One section of a page: heading, sentence, pictures, table, notes. Every analysis adds one."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from ridelog.present.figure import Shape


@dataclass(frozen=True)
class Picture:
    """One figure for the page and as a file.

    name : what it is called, also the file's stem, such as "speed".
    wide_svg, narrow_svg : SVG elements for wide and narrow pages.
    png : the wide one as a file's bytes.
    label : what it shows, for those who do not see it.
    """

    name: str
    wide_svg: str
    narrow_svg: str
    png: bytes
    label: str


@dataclass(frozen=True)
class Table:
    """Rows of words under a head; the first cell of a row names it."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class Section:
    """What one analysis puts on the page.

    name : its place on the page (HTML id), such as "launches".
    heading : words over it.
    lead : one or two sentences that give the answer first.
    pictures : drawn under the lead.
    table : figures under the pictures, or None.
    notes : what the figures assume and what they cannot say.
    """

    name: str
    heading: str
    lead: str
    pictures: tuple[Picture, ...] = ()
    table: Table | None = None
    notes: tuple[str, ...] = ()


def draw_picture(name: str, label: str, figure_of: "Callable[[Shape], Figure]") -> Picture:
    """Return a picture, wide and narrow; equal figures give equal bytes.

    ``figure_of`` draws it in a shape, ``figure.WIDE`` or ``figure.NARROW``.
    """
    # Loads slowly, and the terminal draws nothing.
    from ridelog.present.figure import NARROW, WIDE, drawing, png_of, svg_of

    with drawing():
        wide, narrow = figure_of(WIDE), figure_of(NARROW)
        return Picture(
            name=name,
            wide_svg=svg_of(wide, name=f"{name}-wide", label=label),
            narrow_svg=svg_of(narrow, name=f"{name}-narrow", label=label),
            png=png_of(wide),
            label=label,
        )
