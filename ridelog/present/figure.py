"""Blank figures in two shapes, and figures as PNG or as SVG that fits into a page."""

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal

import matplotlib
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from ridelog.present.palette import INK, PAPER, QUIET, ROLES, RULE
from ridelog.present.time_scale import TimeScale

_PNG_DPI = 160
# Distances between ticks that a clock reader knows. [s]
_TICKS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200)
_STYLE = {
    # Letters as outlines look the same on every machine; the page carries the words as text too.
    "svg.fonttype": "path",
    # Equal input gives equal bytes.
    "svg.hashsalt": "ridelog",
    "font.family": ["DejaVu Sans"],
    "hatch.linewidth": 0.7,
    "path.simplify": False,
}


@dataclass(frozen=True)
class Shape:
    """The shape of a figure: for a desktop or a sheet of paper, or for a telephone held upright."""

    name: str
    width_in: float
    height_in: float
    text_pt: float
    small_pt: float
    left_in: float
    columns: int

    @property
    def wide(self) -> bool:
        """Whether there is room for more words."""
        return self.name == "wide"


WIDE = Shape("wide", 9.6, 3.65, 11.0, 10.0, 0.72, 700)
NARROW = Shape("narrow", 3.5, 3.5, 10.0, 9.0, 0.56, 330)


@contextmanager
def drawing() -> Iterator[None]:
    """Draw with ridelog's own settings, whatever the user's matplotlib is set to."""
    with matplotlib.rc_context():
        matplotlib.rcdefaults()
        for key, value in _STYLE.items():
            matplotlib.rcParams[key] = value  # type: ignore[index]  # plain names
        yield


def blank(shape: Shape, height_in: float | None = None) -> Figure:
    """Return an empty figure without ground, so that page and print keep their own."""
    figure = Figure(figsize=(shape.width_in, height_in or shape.height_in))
    figure.patch.set_visible(False)
    return figure


def axes_in(figure: Figure, left: float, bottom: float, right: float, top: float) -> Axes:
    """Return axes with margins in inches from each edge of the figure."""
    width, height = figure.get_size_inches()
    return figure.add_axes(
        (left / width, bottom / height, (width - left - right) / width,
         (height - bottom - top) / height)
    )  # fmt: skip


def dress(axes: Axes, shape: Shape) -> None:
    """Give axes ridelog's quiet frame: a ground line, faint rules, no box."""
    axes.patch.set_visible(False)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.spines["bottom"].set_color(QUIET.light)
    axes.tick_params(colors=QUIET.light, labelsize=shape.small_pt, length=3)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="y", color=RULE.light, linewidth=0.8)
    axes.set_axisbelow(True)


def limits(
    axes: Axes, shape: Shape, across: tuple[float, float], up: tuple[float, float], name: str
) -> None:
    """Set what a curve's axes reach over, round ticks, and what is counted from left to right."""
    axes.set_xlim(*across)
    axes.set_ylim(*up)
    axes.xaxis.set_major_locator(MaxNLocator(8 if shape.wide else 5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_xlabel(name, fontsize=shape.small_pt, color=QUIET.light)


def note(
    axes: Axes,
    shape: Shape,
    words: str,
    at: tuple[float, float],
    away_pt: tuple[float, float],
    *,
    ha: Literal["left", "center", "right"] = "left",
    va: Literal["bottom", "center", "top"] = "bottom",
    quiet: bool = False,
) -> None:
    """Write words beside a point of the data on a pale ground: strong, or quiet ones."""
    axes.annotate(
        words, at, xytext=away_pt, textcoords="offset points", ha=ha, va=va, zorder=6,
        fontsize=shape.small_pt, fontweight="normal" if quiet else "bold",
        color=(QUIET if quiet else INK).light,
        bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
    )  # fmt: skip


def time_axis(
    axes: Axes,
    shape: Shape,
    start_s: float,
    end_s: float,
    *,
    named: bool,
    gaps: Sequence[tuple[float, float]] = (),
) -> TimeScale:
    """Set the time axis of a ride, counted from its first fix; long gaps are drawn short."""
    scale = TimeScale.of(start_s, end_s, gaps)
    scale.set_on(axes)
    length_s = scale.end_s - start_s
    if length_s > 7.0:
        rough = scale.shown_s / (7.0 if shape.wide else 4.0)
        step_s = next((step for step in _TICKS_S if step >= rough), 86400.0)
        axes.set_xticks(scale.ticks(step_s))
    else:
        axes.xaxis.set_major_locator(MaxNLocator(7 if shape.wide else 4, steps=[1, 2, 5, 10]))
    axes.set_xticks([], minor=True)
    hours = length_s >= 3600.0
    counted = "hours" if hours else "minutes" if length_s > 100.0 else "seconds"
    if counted != "seconds":
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: _clock(value, hours)))
    if named:
        words = f"{counted} since the first fix"
        if scale.shortens:
            words = f"{words if shape.wide else counted}; long gaps are drawn short"
        axes.set_xlabel(words, fontsize=shape.small_pt, color=QUIET.light)
    return scale


def _clock(value: float, hours: bool) -> str:
    """Return minutes and seconds, or hours, minutes and, where they count, seconds."""
    sign = "-" if value < 0 else ""
    minutes, seconds = divmod(round(abs(value)), 60)
    if not hours:
        return f"{sign}{minutes}:{seconds:02d}"
    rest = f":{seconds:02d}" if seconds else ""
    return f"{sign}{minutes // 60}:{minutes % 60:02d}{rest}"


def title(figure: Figure, shape: Shape, text: str, quiet: str = "") -> None:
    """Write what is drawn above its left edge, and quieter what the axis counts."""
    height = figure.get_size_inches()[1]
    left = 0.04 / shape.width_in
    figure.text(
        left, 1.0 - 0.04 / height, text,
        fontsize=shape.text_pt, fontweight="bold", color=INK.light, va="top",
    )  # fmt: skip
    if quiet:
        figure.text(
            left, 1.0 - 0.24 / height, quiet, fontsize=shape.small_pt, color=QUIET.light, va="top"
        )


def png_of(figure: Figure) -> bytes:
    """Return a figure as PNG on white."""
    stream = io.BytesIO()
    FigureCanvasAgg(figure)
    figure.patch.set_visible(True)
    figure.patch.set_facecolor(PAPER.light)
    figure.savefig(stream, format="png", dpi=_PNG_DPI, metadata={"Software": None})
    figure.patch.set_visible(False)
    return stream.getvalue()


def svg_of(figure: Figure, *, name: str, label: str) -> str:
    """Return a figure as an SVG element for a page.

    Colours become the page's variables, so that one drawing serves light, dark and print; there is
    no date and no other metadata; names inside are made unique by ``name``.

    Parameters
    ----------
    figure : Figure
        The drawing.
    name : str
        Letters and digits, unique on the page.
    label : str
        What the picture shows, for those who do not see it; already free of markup characters or
        escaped here.
    """
    stream = io.StringIO()
    FigureCanvasSVG(figure)
    figure.savefig(stream, format="svg", metadata={"Date": None})
    text = stream.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->", "", text, flags=re.DOTALL)
    text = _shorter(_own_names(text, name))
    for role in ROLES:
        text = text.replace(role.light, f"var(--{role.name},{role.light})")
    box = re.search(r'viewBox="[^"]*"', text)
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'{box.group(0) if box else ""} role="img" aria-label="{_escaped(label)}">'
    )
    return opening + text[text.index(">") + 1 :].strip()


def _own_names(text: str, name: str) -> str:
    """Drop names that nothing refers to and make the others unique on the page."""
    used = set(re.findall(r'href="#([^"]+)"', text)) | set(re.findall(r"url\(#([^)]+)\)", text))
    text = re.sub(r' id="([^"]+)"', lambda m: f' id="{name}-{m[1]}"' if m[1] in used else "", text)
    text = re.sub(r'href="#([^"]+)"', rf'href="#{name}-\1"', text)
    return re.sub(r"url\(#([^)]+)\)", rf"url(#{name}-\1)", text)


def _shorter(text: str) -> str:
    """Round coordinates to a hundredth of a point and drop white space between elements."""
    # Not the scale of letters, which is a small number itself.
    text = re.sub(
        r"scale\([^)]*\)|-?\d+\.\d{3,}",
        lambda m: m[0] if m[0][0] == "s" else f"{float(m[0]):.2f}".rstrip("0").rstrip("."),
        text,
    )
    return re.sub(r"\s*\n\s*", " ", text).replace("> <", "><")


def _escaped(text: str) -> str:
    return (
        text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace('"', "&quot;")
    )
