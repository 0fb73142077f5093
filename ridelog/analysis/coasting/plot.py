"""Resistance of free rolling against speed, with its band."""

from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.coasting.measure import CoastDown
from ridelog.core.quantity import ACCELERATION, SPEED
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, dress, title
from ridelog.present.palette import BAND, LINE, QUIET


def coasting_figure(found: CoastDown, reader: SpeedUnit, shape: Shape) -> Figure:
    """Return the deceleration of free rolling against speed, where both directions cover it."""
    known = [(each.speed_mps, each.decel_mps2) for each in found.curve if each.decel_mps2]
    figure = blank(shape, 0.85 * shape.height_in)
    axes = axes_in(figure, shape.left_in, 0.54, 0.14, 0.66)
    dress(axes, shape)
    speed = [SPEED.scaled(at_mps, reader) for at_mps, _ in known]
    value, low, high = (
        [ACCELERATION.scaled(getattr(decel, end), reader) for _, decel in known]
        for end in ("value", "low", "high")
    )
    axes.fill_between(speed, low, high, color=BAND.light, linewidth=0.0, zorder=2)
    axes.plot(speed, value, color=LINE.light, linewidth=1.8, zorder=3)
    axes.set_xlim(0.0, 1.04 * speed[-1])
    axes.set_ylim(0.0, 1.15 * max(high))
    axes.xaxis.set_major_locator(MaxNLocator(8 if shape.wide else 5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    axes.set_xlabel(f"speed, {SPEED.label(reader)}", fontsize=shape.small_pt, color=QUIET.light)
    title(
        figure, shape, "What slows it when it rolls freely",
        f"slowing, {ACCELERATION.label(reader)}; pale band: 90 % range",
    )  # fmt: skip
    return figure
