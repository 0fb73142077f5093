"""Speed over time with its band, and the stretches that the signal flags."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.phases.plot import STRIP_IN, draw_key, draw_strip, phase_rows
from ridelog.analysis.signal.plot import Shading, shadings
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.subject import fastest_places, headline
from ridelog.core.estimate import QUANTILE
from ridelog.core.quantity import SPEED, plain, value
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, TimeScale, axes_in, blank, dress, note, time_axis, title
from ridelog.present.palette import BAND, HATCH, INK, LINE, MARK, PAPER, SHADE
from ridelog.present.thinning import lowest_and_highest, rows_in_time, unbroken_parts

# A phase narrower than this on the average is a bar among bars; own rule. [in]
_LEAST_PHASE_IN = 0.05


def speed_figure(ride: MeasuredRide, unit: SpeedUnit, shape: Shape) -> Figure:
    """Return speed over time: line, 90 % band at each instant, top speed, shaded stretches."""
    scale = TimeScale.of(ride.source.start_s, ride.source.end_s, ride.motion.gaps)
    shaded = shadings(ride.motion, scale.shown_s)
    key_in = 0.2 * _legend_rows(shaded, shape)
    strip = _strip_is_readable(ride, shape)
    below = 0.52 + key_in + (0.2 * phase_rows(ride["phases"], shape) if strip else 0.0)
    strip_in = STRIP_IN + 0.06 if strip else 0.0
    figure = blank(shape, shape.height_in + below - 0.52 + strip_in)
    axes = axes_in(figure, shape.left_in, below, 0.12, 0.66 + strip_in)
    dress(axes, shape)
    rows, broken = rows_in_time(ride.motion)
    time_s = ride.motion.track.time_s[rows]
    speed = ride.motion.speed_mps[rows]
    reach = QUANTILE * ride.motion.speed_sd_mps[rows]
    ceiling = _ceiling(ride)
    low = unit.from_mps(1.0) * np.maximum(speed - reach, 0.0)
    high = unit.from_mps(1.0) * (speed + reach)
    chosen = lowest_and_highest(scale.place(time_s), broken, speed, shape.columns)
    for part in unbroken_parts(chosen, broken):
        if not len(part):
            continue
        axes.fill_between(
            time_s[part], low[part], high[part], color=BAND.light, linewidth=0.0, zorder=2
        )
        axes.plot(
            time_s[part], unit.from_mps(1.0) * speed[part],
            color=LINE.light, linewidth=1.3, zorder=3, solid_joinstyle="round",
        )  # fmt: skip
    axes.set_ylim(0.0, unit.from_mps(ceiling))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    time_axis(
        axes, shape, ride.source.start_s, ride.source.end_s, named=True, gaps=ride.motion.gaps
    )
    if strip:
        _phases(figure, scale, ride, shape, key_in)
    _shade(axes, scale, shaded, shape)
    _mark_top(axes, ride, unit, shape)
    _mark_peak(axes, ride, unit, shape)
    band = "pale band: where the true speed of an instant should lie, right 9 times out of 10"
    title(
        figure, shape, "Speed over ground",
        f"{unit.label}; {band if shape.wide else 'pale band: right 9 times of 10'}",
    )  # fmt: skip
    _legend(figure, shaded, shape)
    return figure


def _strip_is_readable(ride: MeasuredRide, shape: Shape) -> bool:
    """Return whether the strip of movements is wide enough to be more than a row of bars."""
    count = len(ride["phases"].each)
    return count > 0 and _width_in(shape) / count >= _LEAST_PHASE_IN


def _width_in(shape: Shape) -> float:
    return shape.width_in - shape.left_in - 0.12


def _phases(
    figure: Figure, scale: TimeScale, ride: MeasuredRide, shape: Shape, bottom_in: float
) -> None:
    """Draw what the machine did as a strip above the speed, on the same time axis."""
    top_in = figure.get_size_inches()[1] - 0.66
    strip = axes_in(figure, shape.left_in, top_in - STRIP_IN, 0.12, 0.66)
    scale.set_on(strip)
    draw_strip(strip, ride["phases"], shape, _width_in(shape))
    draw_key(figure, ride["phases"], shape, bottom_in)


# More stretches than this, those narrower than their pattern, look like a bar code: they are shaded
# alone. Own choice: a pattern's lines stand some 0.03 inch apart.
_FEW_STRETCHES, _PATTERN_IN = 20, 0.2


def _ceiling(ride: MeasuredRide) -> float:
    known = ride.motion.speed_mps[np.isfinite(ride.motion.speed_mps)]
    top = float(np.max(known)) if len(known) else 1.0
    if ride["top_speed"].best_1s_mps is not None:
        top = max(top, ride["top_speed"].best_1s_mps.high)
    return max(1.3 * top, 0.5)


def _shade(axes: Axes, scale: TimeScale, shaded: tuple[Shading, ...], shape: Shape) -> None:
    start, end = scale.start_s, scale.end_s
    many = sum(len(kind.stretches) for kind in shaded) > _FEW_STRETCHES
    for kind in shaded:
        for first, last in kind.stretches:
            first, last = max(first, start), min(last, end)
            room_in = scale.share(first, last) * _width_in(shape)
            plain = many and room_in < _PATTERN_IN
            axes.axvspan(
                first, last, facecolor=SHADE.light, edgecolor=HATCH.light,
                hatch="" if plain else kind.pattern, linewidth=0.0, zorder=1,
            )  # fmt: skip
            # A letter is about 0.6 of its size wide; a point is 1/72 inch.
            if room_in > 0.62 * len(kind.name) * shape.small_pt / 72.0 + 0.06:
                axes.text(
                    0.5 * (first + last), 0.985, kind.name,
                    transform=axes.get_xaxis_transform(), ha="center", va="top",
                    fontsize=shape.small_pt, color=INK.light, zorder=5,
                    bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.5},
                )  # fmt: skip


def _mark_top(axes: Axes, ride: MeasuredRide, unit: SpeedUnit, shape: Shape) -> None:
    """Mark the seconds behind the top speed, and name it over the first of them."""
    top = headline(ride)
    if top.estimate is None:
        return
    level = unit.from_mps(top.estimate.value)
    starts = [start_s for start_s, _ in fastest_places(ride)]
    for at in starts:
        axes.plot(
            [at, at + 1.0], [level, level],
            color=MARK.light, linewidth=4.5, solid_capstyle="round", zorder=4,
        )  # fmt: skip
    at = starts[0]
    words = "top speed " + (
        top.words_in(unit) if top.doubt else value(top.estimate, top.quantity, unit)
    )
    away_pt = _beside(axes, at, words, shape, bold=True), 7.0
    note(axes, shape, words, (at + 0.5, level), away_pt)


def _mark_peak(axes: Axes, ride: MeasuredRide, unit: SpeedUnit, shape: Shape) -> None:
    """Show the highest single reading where it was, or at the upper edge if it lies above."""
    top = ride["top_speed"]
    if top.raw_peak_kind != "reported" or top.raw_peak_mps != top.raw_peak_mps:
        return
    readings = np.where(ride.motion.used, ride.motion.track.speed_mps, np.nan)
    at = float(ride.motion.track.time_s[int(np.nanargmax(readings))])
    level, ceiling = unit.from_mps(top.raw_peak_mps), axes.get_ylim()[1]
    outside = level > 0.97 * ceiling
    axes.plot(
        [at], [0.9 * ceiling if outside else level], marker="^" if outside else "D",
        markersize=6, markerfacecolor=PAPER.light, markeredgecolor=MARK.light,
        markeredgewidth=1.4, linestyle="none", zorder=5,
    )  # fmt: skip
    words = f"highest reading {plain(top.raw_peak_mps, SPEED, unit, 1)}"
    if outside and shape.wide:
        words += ", above the picture"
    best = top.top
    # Above the words about the top speed, which lie just over the line.
    lift = 0.9 * ceiling if outside else level
    if best is not None:
        lift = max(lift, unit.from_mps(best.value) + 0.1 * ceiling)
    away_pt = _beside(axes, at, words, shape), -3.0 if outside else 3.0
    place = at, min(lift, 0.9 * ceiling)
    note(axes, shape, words, place, away_pt, va="center" if outside else "bottom", quiet=True)


def _beside(axes: Axes, at: float, words: str, shape: Shape, *, bold: bool = False) -> float:
    """Return how far right of a mark its words begin, so that they end inside the axes. [pt]"""
    width_pt = 72.0 * _width_in(shape)
    # A letter is about 0.6 of its size wide, a bold one 0.68.
    words_pt = (0.68 if bold else 0.6) * shape.small_pt * len(words)
    share, _ = (axes.transScale + axes.transLimits).transform((at, 0.0))
    mark_pt = float(share) * width_pt
    if mark_pt + 6.0 + words_pt <= width_pt:
        return 6.0
    if mark_pt - 6.0 - words_pt >= 0.0:
        return -6.0 - words_pt
    return max(-mark_pt, width_pt - words_pt - mark_pt)


def _legend_rows(shaded: tuple[Shading, ...], shape: Shape) -> int:
    return -(-len(shaded) // (6 if shape.wide else 2))


def _legend(figure: Figure, shaded: tuple[Shading, ...], shape: Shape) -> None:
    if not shaded:
        return
    patches = [
        Patch(facecolor=SHADE.light, edgecolor=HATCH.light, hatch=kind.pattern, label=kind.name)
        for kind in shaded
    ]
    figure.legend(
        handles=patches, loc="lower left", bbox_to_anchor=(0.0, 0.0), frameon=False,
        ncols=6 if shape.wide else 2, fontsize=shape.small_pt, handlelength=2.2, handleheight=1.0,
        columnspacing=1.2, borderaxespad=0.1, borderpad=0.1, labelspacing=0.3,
        labelcolor=INK.light,
    )  # fmt: skip
