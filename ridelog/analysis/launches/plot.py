"""Speed against the time since each start: every launch, the best one strongest."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.launches.measure import Launch, Launches
from ridelog.analysis.launches.windows import suited
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, dress, title
from ridelog.present.palette import HATCH, INK, LINE, MARK, PAPER, QUIET

_MOST_LINES = 12


def launches_figure(launches: Launches, unit: SpeedUnit, shape: Shape) -> Figure:
    """Return the speed of every launch over seconds since it left zero."""
    figure = blank(shape)
    axes = axes_in(figure, shape.left_in, 0.52, 0.12, 0.66)
    dress(axes, shape)
    best = _best(launches)
    factor = unit.from_mps(1.0)
    others = [launch for launch in launches.launches if launch is not best]
    for launch in others[:_MOST_LINES]:
        axes.plot(launch.curve_s, factor * launch.curve_mps, color=HATCH.light, linewidth=1.1)
    axes.plot(best.curve_s, factor * best.curve_mps, color=LINE.light, linewidth=2.4, zorder=4)
    axes.axvline(0.0, color=INK.light, linewidth=0.9, zorder=1)
    longest = max(float(launch.curve_s[-1]) for launch in launches.launches)
    axes.set_xlim(-1.0, max(longest, 1.0))
    axes.set_ylim(0.0, 1.15 * factor * max(float(x.curve_mps.max()) for x in launches.launches))
    axes.xaxis.set_major_locator(MaxNLocator(8 if shape.wide else 5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_xlabel("seconds since the start", fontsize=shape.small_pt, color=QUIET.light)
    _mark(axes, launches, best, unit, shape)
    title(
        figure, shape, "Speed from standing",
        f"{unit.label}; thick: the best start, thin: the others" if others else unit.label,
    )  # fmt: skip
    return figure


def _mark(axes: Axes, launches: Launches, best: Launch, unit: SpeedUnit, shape: Shape) -> None:
    """Show where the best start reached the speed of the first standing window of these units."""
    for window in suited(tuple(s.window for s in launches.summaries), unit):
        timed = next(w for w in best.windows if w.window == window)
        if window.to_mps is None or not window.standing or timed.time is None:
            continue
        at = float(np.interp(window.to_mps, best.curve_mps, best.curve_s))
        level = unit.from_mps(window.to_mps)
        words = f"{window.to_mps / unit.mps_per_unit:.0f} {unit.label}"
        axes.plot([at], [level], marker="D", markersize=7, color=MARK.light, zorder=5)
        axes.annotate(
            words, (at, level),
            xytext=(8, -3), textcoords="offset points", ha="left", va="top",
            fontsize=shape.small_pt, fontweight="bold", color=INK.light, zorder=6,
            bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )  # fmt: skip
        return


def _best(launches: Launches) -> Launch:
    """Return the launch with the best time over the first window that any filled."""
    for index in range(len(launches.summaries)):
        timed = [
            (time.value, number)
            for number, launch in enumerate(launches.launches)
            if (time := launch.windows[index].time) is not None
        ]
        if timed:
            return launches.launches[min(timed)[1]]
    return max(launches.launches, key=lambda launch: launch.top_mps)
