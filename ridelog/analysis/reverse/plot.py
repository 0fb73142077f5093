"""The signed speed around a stretch in reverse, drawn."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from ridelog.analysis.reverse.evidence import speed_sd_at
from ridelog.analysis.reverse.measure import Segment
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import QUANTILE
from ridelog.core.quantity import SPEED, span, value
from ridelog.core.spans import inside_spans, runs_of
from ridelog.core.track import BoolArray, FloatArray
from ridelog.core.units import SpeedUnit
from ridelog.filtering.motion import Motion
from ridelog.present.figure import Shape, framed, time_axis, title
from ridelog.present.palette import BAND, HATCH, INK, LINE, MARK, PAPER, QUIET

# Riding shown on either side of the stretch.
_AROUND_S, _SPACING_S = 9.0, 0.05


def reverse_figure(ride: MeasuredRide, reader: SpeedUnit, shape: Shape, shown: Segment) -> Figure:
    """Return speed over time around one stretch: forward above the zero line, backward below."""
    figure, axes = framed(shape)
    time_s, speed, reach = _around(ride.motion, shown)
    factor = SPEED.scaled(1.0, reader)
    backward = inside_spans(time_s, ride["reverse"].spans)
    open_question = inside_spans(time_s, ride["reverse"].possible_spans)
    signed = np.where(backward | open_question, -speed, speed) * factor
    reach = reach * factor
    for mask, line, width in (
        (~backward & ~open_question, LINE, 1.4),
        (backward, MARK, 2.6),
        (open_question, MARK, 1.6),
    ):
        for first, stop in runs_of(mask):
            # With the point after it, so that lines join.
            part = slice(first, stop + 1)
            axes.fill_between(
                time_s[part], signed[part] - reach[part], signed[part] + reach[part],
                color=BAND.light, linewidth=0.0, zorder=2,
            )  # fmt: skip
            axes.plot(
                time_s[part], signed[part], color=line.light, linewidth=width, zorder=4,
                linestyle="--" if mask is open_question else "-", solid_capstyle="butt",
            )  # fmt: skip
            if mask is backward:
                axes.fill_between(
                    time_s[part], signed[part], 0.0, facecolor="none", edgecolor=HATCH.light,
                    hatch="////", linewidth=0.0, zorder=1,
                )  # fmt: skip
    axes.axhline(0.0, color=INK.light, linewidth=1.0, zorder=3)
    limits = _frame(axes, signed, backward | open_question, ride, reader)
    time_axis(axes, shape, float(time_s[0]), float(time_s[-1]), named=True)
    _name_sides(axes, shape, shown, reader)
    question = shown.state == "uncertain"
    dashed = f"; dashed: caution{'s' if len(limits) > 1 else ''} above {' and '.join(limits)}"
    title(
        figure, shape,
        "Perhaps backwards" if question else "Forward and backwards",
        f"{SPEED.label(reader)}{dashed if limits else ''}",
    )  # fmt: skip
    return figure


def _around(motion: Motion, shown: Segment) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return time, fitted speed and half the 90 % band around a stretch, inside its piece."""
    start_s, end_s = shown.start_s, shown.end_s
    piece = max(motion.pieces, key=lambda p: min(end_s, p.end_s) - max(start_s, p.start_s))
    start_s, end_s = max(start_s - _AROUND_S, piece.start_s), min(end_s + _AROUND_S, piece.end_s)
    path = motion.paths(start_s, end_s, draws=0, spacing_s=_SPACING_S)
    return path.time_s, path.speed_mps[:, 0], QUANTILE * speed_sd_at(motion, path.time_s)


def _frame(
    axes: Axes, signed: FloatArray, below: BoolArray, ride: MeasuredRide, reader: SpeedUnit
) -> list[str]:
    """Set the range, draw the limits that lie in it, and return them in words."""
    limits = [ride.settings.reverse_caution_mps, ride.settings.reverse_strong_mps]
    deepest = min(float(signed[below].min()), -1.1 * SPEED.scaled(limits[0], reader))
    # What matters is below the line: faster riding forward may leave the frame.
    highest = min(float(signed.max()), -1.2 * deepest)
    axes.set_ylim(1.3 * deepest, 1.12 * max(highest, -0.5 * deepest))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    # Below the line the speed is no less a speed.
    axes.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{abs(value):g}"))
    shown = [SPEED.scaled(limit, reader) for limit in limits]
    shown = [limit for limit in shown if -limit > axes.get_ylim()[0]]
    for limit in shown:
        axes.axhline(-limit, color=INK.light, linewidth=1.1, linestyle=(0, (5, 3)), zorder=3)
    return [f"{limit:.0f}" if abs(limit - round(limit)) < 0.05 else f"{limit:.1f}"
            for limit in shown]  # fmt: skip


def _name_sides(axes: Axes, shape: Shape, shown: Segment, reader: SpeedUnit) -> None:
    """Write which side of the line is which, and the figure under the deepest part."""
    for words, at, below in (("forward", 1.0, False), ("backwards", 0.0, True)):
        axes.annotate(
            words, (0.0, at), xycoords="axes fraction", xytext=(4, 3 if below else -3),
            textcoords="offset points", va="bottom" if below else "top",
            fontsize=shape.small_pt, color=QUIET.light,
            bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0},
        )  # fmt: skip
    top = shown.top_speed_mps
    if top is not None:
        middle_s, (from_s, to_s) = 0.5 * (shown.start_s + shown.end_s), axes.get_xlim()
        across = (middle_s - from_s) / (to_s - from_s)
        axes.annotate(
            value(top, SPEED, reader) if top.firm else span(top, SPEED, reader),
            (middle_s, -SPEED.scaled(top.value, reader)), xytext=(0, -5),
            textcoords="offset points", va="top",
            # Near an edge the words end there, or half of them would stand beyond it.
            ha="right" if across > 0.75 else "left" if across < 0.25 else "center",
            fontsize=shape.small_pt, fontweight="bold", color=INK.light, zorder=5,
            bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )  # fmt: skip
