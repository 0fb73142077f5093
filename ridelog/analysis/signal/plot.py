"""The quality of the signal over time: dilution of precision, satellites, and flags."""

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.subject import MeasuredRide
from ridelog.core.flags import Flag
from ridelog.core.spans import flagged_spans
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion
from ridelog.filtering.quality import FEW_SATELLITES, POOR_HDOP
from ridelog.present.figure import Shape, TimeScale, axes_in, blank, dress, time_axis, title
from ridelog.present.palette import INK, LINE, MARK, RULE
from ridelog.present.thinning import in_time, lowest_and_highest, unbroken_parts
from ridelog.present.words import FLAG_WORDS, count_words

# Over-range values such as 99.9 would flatten everything else.
_HIGHEST_HDOP = 12.0
_PANEL_IN, _LANE_IN, _NAMES_IN = 0.95, 0.24, 1.75


def signal_figure(ride: MeasuredRide, shape: Shape) -> Figure:
    """Return what the log says about its own signal, panel by panel over one time axis."""
    track = ride.motion.track
    series = [
        (name, values, limit, words)
        for name, values, limit, words in (
            ("HDOP, lower is better", track.hdop, POOR_HDOP, "poor above"),
            ("satellites used", track.satellites, float(FEW_SATELLITES), "few below"),
        )
        if np.isfinite(values).any()
    ]
    ends, gaps = (ride.source.start_s, ride.source.end_s), ride.motion.gaps
    scale = TimeScale.of(*ends, gaps)
    lanes = _lanes(ride.motion, scale.shown_s)
    lanes_in = _LANE_IN * max(len(lanes), 1) * (1.0 if shape.wide else 1.75)
    height = 0.72 + len(series) * (_PANEL_IN + 0.32) + lanes_in + 0.5
    figure = blank(shape, height)
    # On a wide picture the names of the flags stand to the left of their lanes.
    left = _NAMES_IN if shape.wide and lanes else shape.left_in
    missing = "" if series else "the log gives neither HDOP nor satellites"
    title(figure, shape, "Signal quality", missing or "HDOP: horizontal dilution of precision")
    top = 0.72
    for name, values, limit, words in series:
        axes = axes_in(figure, left, height - top - _PANEL_IN, 0.12, top)
        _panel(axes, ride.motion, scale, values, limit, shape, clip=values is track.hdop)
        axes.set_title(
            f"{name}; {words} {limit:g} (dashed)", loc="left", fontsize=shape.small_pt,
            color=INK.light, pad=3.0,
        )  # fmt: skip
        time_axis(axes, shape, *ends, named=False, gaps=gaps)
        axes.tick_params(labelbottom=False)
        top += _PANEL_IN + 0.32
    axes = axes_in(figure, left, 0.5, 0.12, height - 0.5 - lanes_in)
    _flag_lanes(axes, lanes, shape)
    time_axis(axes, shape, *ends, named=True, gaps=gaps)
    return figure


def _panel(
    axes: Axes,
    motion: Motion,
    scale: TimeScale,
    values: FloatArray,
    limit: float,
    shape: Shape,
    *,
    clip: bool,
) -> None:
    dress(axes, shape)
    time_s = motion.track.time_s
    rows, broken = in_time(motion, np.isfinite(time_s) & np.isfinite(values))
    shown = np.minimum(values[rows], _HIGHEST_HDOP) if clip else values[rows]
    chosen = lowest_and_highest(scale.place(time_s[rows]), broken, shown, shape.columns // 2)
    for part in unbroken_parts(chosen, broken):
        axes.plot(
            time_s[rows][part], shown[part], color=LINE.light, linewidth=1.2,
            drawstyle="steps-post", zorder=3,
        )  # fmt: skip
    axes.set_ylim(0.0, max(1.25 * float(shown.max()), 1.3 * limit))
    axes.axhline(limit, color=MARK.light, linewidth=1.2, linestyle=(0, (4, 3)), zorder=2)
    axes.yaxis.set_major_locator(MaxNLocator(3, integer=True))


def _lanes(
    motion: Motion, shown_s: float
) -> list[tuple[str, tuple[tuple[float, float], ...], int]]:
    """Return name, stretches and number of fixes of every flag that occurs."""
    step = 1.0 / motion.rate_hz
    join = max(1.5 * step, 0.002 * shown_s)
    found = []
    for flag in Flag:
        count = int(np.count_nonzero(motion.flags & np.uint32(flag)))
        stretches = (
            motion.gaps
            if flag is Flag.GAP
            else flagged_spans(motion.track.time_s, motion.flags, flag, join_within_s=join)
        )
        if stretches:
            least = max(step, 0.003 * shown_s)
            bars = tuple((first, max(last + step, first + least)) for first, last in stretches)
            found.append((FLAG_WORDS[flag], bars, len(motion.gaps) if flag is Flag.GAP else count))
    return found


def _flag_lanes(
    axes: Axes, lanes: list[tuple[str, tuple[tuple[float, float], ...], int]], shape: Shape
) -> None:
    """Draw a lane for each flag with its name and count above the bars."""
    dress(axes, shape)
    axes.set_yticks([])
    axes.set_ylim(-float(max(len(lanes), 1)), 0.0)
    if not lanes:
        axes.text(
            0.0, 0.5, "no fix carries a flag", transform=axes.transAxes, va="center",
            fontsize=shape.small_pt, color=INK.light,
        )  # fmt: skip
    for index, (name, bars, count) in enumerate(lanes):
        tall = 0.5 if shape.wide else 0.34
        low = -index - 0.5 - 0.5 * tall if shape.wide else -index - 0.92
        axes.axhline(-index - 1.0, color=RULE.light, linewidth=0.8, zorder=1)
        axes.broken_barh(
            [(first, last - first) for first, last in bars], (low, tall),
            facecolor=LINE.light, edgecolor="none", zorder=3,
        )  # fmt: skip
        words = f"{name} ({count_words(count, 'gap') if name == 'gap' else f'{count:,}'})"
        if shape.wide:
            axes.text(
                -0.008, -index - 0.5, words.replace("(1 gap)", "(1)"), ha="right", va="center",
                transform=axes.get_yaxis_transform(), fontsize=shape.small_pt, color=INK.light,
            )  # fmt: skip
        else:
            axes.text(
                0.0, -index - 0.28, words, ha="left", va="center",
                transform=axes.get_yaxis_transform(), fontsize=shape.small_pt, color=INK.light,
            )  # fmt: skip


# In order of weight: a moment that several hold is shaded as the first of them. The pattern tells
# them apart without colour; lines only, since dots make a hundred times larger files.
_SHADED: tuple[tuple[Flag, str], ...] = (
    (Flag.NO_FIX, "++++"),
    (Flag.DEAD_RECKONING, "//--"),
    (Flag.SETTLING, "////"),
    (Flag.POOR_GEOMETRY, "\\\\\\\\"),
    (Flag.CONTRADICTED, "xx--"),
    (Flag.SPEED_JUMP, "----"),
    (Flag.JUMP, "||||"),
)
GAP_PATTERN = "xxxx"


@dataclass(frozen=True)
class Shading:
    """Stretches of one kind."""

    name: str
    pattern: str
    stretches: tuple[tuple[float, float], ...]


def shadings(motion: Motion, shown_s: float) -> tuple[Shading, ...]:
    """Return the flagged stretches of a ride as they are shaded, one kind a moment.

    Each takes a share of ``shown_s``, the length of the time axis, or it would not be seen. [s]
    """
    time_s = motion.track.time_s
    if not np.isfinite(time_s).any():
        return ()
    step = 1.0 / motion.rate_hz
    # A single fix must be wide enough to be seen.
    least = max(step, 0.002 * shown_s)
    found: list[Shading] = []
    if motion.gaps:
        found.append(Shading(FLAG_WORDS[Flag.GAP], GAP_PATTERN, motion.gaps))
    taken = np.zeros(len(time_s), dtype=np.uint32)
    for flag, pattern in _SHADED:
        mine = np.where(taken == 0, motion.flags & np.uint32(flag), 0).astype(np.uint32)
        stretches = flagged_spans(time_s, mine, flag, join_within_s=max(2.5 * step, least))
        if stretches:
            wider = tuple((a - 0.5 * least, b + 0.5 * least) for a, b in stretches)
            found.append(Shading(FLAG_WORDS[flag], pattern, wider))
        taken |= mine
    return tuple(found)
