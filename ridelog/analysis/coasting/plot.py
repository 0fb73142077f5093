"""Resistance while rolling out against speed, with its band."""

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.coasting.measure import Coasting
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, dress, title
from ridelog.present.palette import BAND, LINE, QUIET


def coasting_figure(coasting: Coasting, unit: SpeedUnit, shape: Shape) -> Figure:
    """Return the deceleration of free rolling against speed, where both directions cover it."""
    known = [
        (float(speed), decel)
        for speed, decel in zip(coasting.speed_mps, coasting.decel, strict=True)
        if decel is not None
    ]
    figure = blank(shape, 0.85 * shape.height_in)
    axes = axes_in(figure, shape.left_in, 0.54, 0.14, 0.66)
    dress(axes, shape)
    speed = np.array([unit.from_mps(place) for place, _ in known])
    axes.fill_between(
        speed, [decel.low for _, decel in known], [decel.high for _, decel in known],
        color=BAND.light, linewidth=0.0, zorder=2,
    )  # fmt: skip
    axes.plot(speed, [decel.value for _, decel in known], color=LINE.light, linewidth=1.8, zorder=3)
    axes.set_xlim(0.0, 1.04 * float(speed[-1]))
    axes.set_ylim(0.0, 1.15 * max(decel.high for _, decel in known))
    axes.xaxis.set_major_locator(MaxNLocator(8 if shape.wide else 5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(5, steps=[1, 2, 5, 10]))
    axes.set_xlabel(f"speed, {unit.label}", fontsize=shape.small_pt, color=QUIET.light)
    title(
        figure, shape, "What holds it back when it rolls out",
        "m/s², newtons for each kilogram; pale band: 9 rides of 10" if shape.wide
        else "m/s²; pale band: 9 rides of 10",
    )  # fmt: skip
    return figure
