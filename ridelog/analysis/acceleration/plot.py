"""The acceleration curve with its band, and the speed of most power."""

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.acceleration.measure import AccelerationCurve
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, value
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, dress, title
from ridelog.present.palette import BAND, INK, LINE, MARK, PAPER, QUIET


def acceleration_figure(
    measured: AccelerationCurve, peak: Estimate | None, unit: SpeedUnit, shape: Shape
) -> Figure:
    """Return acceleration against speed, its interval as a band, and where power is highest."""
    figure = blank(shape)
    axes = axes_in(figure, shape.left_in, 0.52, 0.12, 0.66)
    dress(axes, shape)
    speed = np.array([SPEED.scaled(one.speed_mps, unit) for one in measured.curve])
    middle, low, high = (
        np.array(
            [ACCELERATION.scaled(getattr(one.accel_mps2, name), unit) for one in measured.curve]
        )
        for name in ("value", "low", "high")
    )
    axes.fill_between(speed, low, high, color=BAND.light, linewidth=0.0, zorder=2)
    axes.plot(speed, middle, color=LINE.light, linewidth=1.8, zorder=3, solid_joinstyle="round")
    axes.set_xlim(0.0, 1.04 * float(speed[-1]))
    axes.set_ylim(min(0.0, 1.1 * float(low.min())), 1.2 * float(high.max()))
    axes.xaxis.set_major_locator(MaxNLocator(8 if shape.wide else 5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_xlabel(f"speed, {SPEED.label(unit)}", fontsize=shape.small_pt, color=QUIET.light)
    if peak is not None:
        at = SPEED.scaled(peak.value, unit)
        level = float(np.interp(at, speed, middle))
        axes.plot([at], [level], marker="D", markersize=7, color=MARK.light, zorder=5)
        right = at > 0.55 * axes.get_xlim()[1]
        # Below the falling curve is room, unless the axis is near.
        below = level > 0.3 * axes.get_ylim()[1]
        edge = float(np.interp(at, speed, low if below else high))
        axes.annotate(
            f"most power at {value(peak, SPEED, unit)}", (at, edge),
            xytext=(0, -9 if below else 9), textcoords="offset points",
            ha="right" if right else "left", va="top" if below else "bottom",
            fontsize=shape.small_pt,
            fontweight="bold", color=INK.light, zorder=6,
            bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )  # fmt: skip
    band = "pale band: its interval at each speed" if shape.wide else "pale band: interval"
    title(figure, shape, "Pull against speed", f"{ACCELERATION.label(unit)}; {band}")
    return figure
