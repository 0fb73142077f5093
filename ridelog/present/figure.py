"""Blank figures in two shapes, their time axis, and figures as PNG or as SVG for a page."""

import html
import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Literal

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from ridelog.core.track import FloatArray
from ridelog.present.palette import INK, PAPER, QUIET, ROLES, RULE

_PNG_DPI = 160
# Distances between ticks that a clock reader knows. [s]
_TICKS_S = (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 21600, 43200)
# A gap is drawn no longer than this share of the time that was logged: it holds nothing to see.
_LONGEST_SHARE = 0.08
# So far beyond both ends the axis goes on evenly. [s]
_BEYOND_S = 1e7
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
class TimeScale:
    """Where the times of a ride lie on an axis.

    start_s, end_s : what is drawn. [s]
    knots_s, places : times between which the axis is even, and where they lie, counted in seconds
        of an even axis; shape (k,), increasing.
    """

    start_s: float
    end_s: float
    knots_s: FloatArray
    places: FloatArray

    @classmethod
    def of(
        cls, start_s: float, end_s: float, gaps: Sequence[tuple[float, float]] = ()
    ) -> "TimeScale":
        """Return the scale of a ride from its first to its last fix in time, and its gaps."""
        end_s = max(end_s, start_s + 1.0)
        inside = sorted((a, b) for a, b in gaps if start_s <= a < b <= end_s)
        logged_s = end_s - start_s - sum(b - a for a, b in inside)
        longest_s = max(_LONGEST_SHARE * logged_s, 1.0)
        knots, places = [start_s - _BEYOND_S, start_s], [-_BEYOND_S, 0.0]
        for first, last in inside:
            if last - first > longest_s and first >= knots[-1]:
                places += [places[-1] + first - knots[-1]] if first > knots[-1] else []
                knots += [first] if first > knots[-1] else []
                places.append(places[-1] + longest_s)
                knots.append(last)
        places.append(places[-1] + end_s + _BEYOND_S - knots[-1])
        knots.append(end_s + _BEYOND_S)
        return cls(start_s, end_s, np.array(knots), np.array(places))

    @property
    def shortens(self) -> bool:
        """Whether a gap is drawn short."""
        return len(self.knots_s) > 3

    @property
    def shown_s(self) -> float:
        """Length of the axis, counted in seconds of an even one."""
        return float(self.place(self.end_s) - self.place(self.start_s))

    def place(self, time_s: FloatArray | float) -> FloatArray:
        """Return where times lie, counted in seconds of an even axis."""
        return np.asarray(np.interp(time_s, self.knots_s, self.places))

    def share(self, first_s: float, last_s: float) -> float:
        """Return which share of the axis lies between two times."""
        return float(self.place(last_s) - self.place(first_s)) / self.shown_s

    def set_on(self, axes: Axes) -> None:
        """Give axes this scale and its limits."""
        if self.shortens:
            axes.set_xscale(
                "function",
                functions=(self.place, lambda place: np.interp(place, self.places, self.knots_s)),
            )
        axes.set_xlim(self.start_s, self.end_s)

    def ticks(self, step_s: float) -> list[float]:
        """Return round times that lie about a step apart on the axis and outside short gaps."""
        first, last = np.ceil(self.start_s / step_s), np.floor(self.end_s / step_s)
        if not self.shortens:
            return [float(k * step_s) for k in np.arange(first, last + 1)]
        found: list[float] = []
        slope = np.diff(self.places) / np.diff(self.knots_s)
        for piece in np.flatnonzero(slope > 0.999):
            begin = max(self.knots_s[piece], self.start_s)
            end = min(self.knots_s[piece + 1], self.end_s)
            for k in range(int(np.ceil(begin / step_s)), int(np.floor(end / step_s)) + 1):
                time_s = k * step_s
                if not found or self.place(time_s) - self.place(found[-1]) > 0.6 * step_s:
                    found.append(float(time_s))
        return found


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


def framed(
    shape: Shape, height_in: float | None = None, below_in: float = 0.52, right_in: float = 0.12
) -> tuple[Figure, Axes]:
    """Return a figure of one pair of dressed axes, with room for its title above them."""
    figure = blank(shape, height_in)
    axes = axes_in(figure, shape.left_in, below_in, right_in, 0.66)
    dress(axes, shape)
    return figure, axes


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

    ``name``, letters and digits, is unique on the page; ``label`` says what the picture shows to
    those who do not see it, and is escaped here.
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
        f'{box.group(0) if box else ""} role="img" aria-label="{html.escape(label)}">'
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
