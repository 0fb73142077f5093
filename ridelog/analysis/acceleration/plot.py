"""Acceleration against speed, drawn."""

import numpy as np
from matplotlib.figure import Figure

from ridelog.analysis.acceleration.measure import AccelerationCurve
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, value
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, framed, limits, note, title
from ridelog.present.palette import BAND, LINE, MARK


def acceleration_figure(
    measured: AccelerationCurve, peak: Estimate | None, unit: SpeedUnit, shape: Shape
) -> Figure:
    """Return acceleration against speed, its interval as a band, and where power is highest."""
    figure, axes = framed(shape)
    speed = np.array([SPEED.scaled(one.speed_mps, unit) for one in measured.curve])
    middle, low, high = np.array(
        [ACCELERATION.ends(one.accel_mps2, unit) for one in measured.curve]
    ).T
    axes.fill_between(speed, low, high, color=BAND.light, linewidth=0.0, zorder=2)
    axes.plot(speed, middle, color=LINE.light, linewidth=1.8, zorder=3, solid_joinstyle="round")
    up = min(0.0, 1.1 * float(low.min())), 1.2 * float(high.max())
    limits(axes, shape, (0.0, 1.04 * float(speed[-1])), up, f"speed, {SPEED.label(unit)}")
    if peak is not None:
        at = SPEED.scaled(peak.value, unit)
        level = float(np.interp(at, speed, middle))
        axes.plot([at], [level], marker="D", markersize=7, color=MARK.light, zorder=5)
        right = at > 0.55 * axes.get_xlim()[1]
        # Below the falling curve is room, unless the axis is near.
        below = level > 0.3 * axes.get_ylim()[1]
        edge = float(np.interp(at, speed, low if below else high))
        note(
            axes, shape, f"most power at {value(peak, SPEED, unit)}", (at, edge),
            (0, -9 if below else 9),
            ha="right" if right else "left", va="top" if below else "bottom",
        )  # fmt: skip
    band = "pale band: its interval at each speed" if shape.wide else "pale band: interval"
    title(figure, shape, "Pull against speed", f"{ACCELERATION.label(unit)}; {band}")
    return figure
