"""The pull curve: acceleration against speed with its band, and the speed of most power."""

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from ridelog.analysis.acceleration.measure import PullCurve
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, dress, title
from ridelog.present.palette import BAND, INK, LINE, MARK, PAPER, QUIET
from ridelog.present.words import speed_words


def pull_figure(pull: PullCurve, unit: SpeedUnit, shape: Shape) -> Figure:
    """Return acceleration against speed; the band holds it in 9 rides of 10 at each speed."""
    figure = blank(shape)
    axes = axes_in(figure, shape.left_in, 0.52, 0.12, 0.66)
    dress(axes, shape)
    known = [k for k, accel in enumerate(pull.accel) if accel is not None]
    accel = [a for a in pull.accel if a is not None]
    speed = unit.from_mps(1.0) * pull.speed_mps[known]
    value, low, high = (
        np.array([getattr(a, name) for a in accel]) for name in ("value", "low", "high")
    )
    axes.fill_between(speed, low, high, color=BAND.light, linewidth=0.0, zorder=2)
    axes.plot(speed, value, color=LINE.light, linewidth=1.8, zorder=3, solid_joinstyle="round")
    axes.set_xlim(0.0, 1.04 * float(speed[-1]))
    axes.set_ylim(min(0.0, 1.1 * float(low.min())), 1.2 * float(high.max()))
    axes.xaxis.set_major_locator(MaxNLocator(8 if shape.wide else 5, steps=[1, 2, 5, 10]))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_xlabel(f"speed, {unit.label}", fontsize=shape.small_pt, color=QUIET.light)
    peak = pull.peak_power_speed
    if peak is not None:
        at = unit.from_mps(peak.value)
        level = float(np.interp(at, speed, value))
        axes.plot([at], [level], marker="D", markersize=7, color=MARK.light, zorder=5)
        right = at > 0.55 * axes.get_xlim()[1]
        axes.annotate(
            f"most power at {speed_words(peak, unit)}",
            (at, float(high.max())),
            xytext=(-2 if right else 2, 9), textcoords="offset points",
            ha="right" if right else "left", va="bottom", fontsize=shape.small_pt,
            fontweight="bold", color=INK.light, zorder=6,
            bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )  # fmt: skip
    band = "pale band: holds it in 9 rides of 10" if shape.wide else "pale band: 90 %"
    title(figure, shape, "Pull against speed", f"m/s² gained; {band}")
    return figure
