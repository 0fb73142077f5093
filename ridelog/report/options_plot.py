"""Picture of options: top speed against pull, each option a point with its ranges."""

from matplotlib.figure import Figure

from ridelog.core.quantity import ACCELERATION, SPEED, plain
from ridelog.core.units import SpeedUnit
from ridelog.machine.options import OptionsPredicted
from ridelog.machine.possible import PredictedFigure
from ridelog.present.figure import Shape, axes_in, blank, drawing, dress, svg_of, title
from ridelog.present.palette import INK, LINE, MARK, QUIET
from ridelog.present.section import Picture, draw_picture
from ridelog.report.option_risks import LETTERS
from ridelog.report.predict_words import SWEPT_PULL_MPS

# On paper the picture shares the page with a table. [in]
_PAPER = Shape("wide", 5.6, 2.2, 11.0, 10.0, 0.72, 700)

# Points nearer than this share of the axes would have their letters on each other.
_NEAR = 0.05
_BELOW = (0, -17)
_SIDES = ((12, 6), (-12, 6), (12, -14), (-12, -14))


def options_picture(found: OptionsPredicted, unit: SpeedUnit) -> Picture | None:
    """Return the picture, None where fewer than two machines have both figures."""
    if len(_points(found)) < 2:
        return None
    return draw_picture("options", _label(found), lambda shape: _drawn(found, unit, shape))


def options_svg(found: OptionsPredicted, unit: SpeedUnit) -> tuple[str, str]:
    """Return the picture for paper and what it shows; empty where there is none."""
    if len(_points(found)) < 2:
        return "", ""
    with drawing():
        figure = _drawn(found, unit, _PAPER)
        return svg_of(figure, name="options-paper", label=_label(found)), _label(found)


def _label(found: OptionsPredicted) -> str:
    names = ", ".join(f"{LETTERS[n]} {one.option.name}" for n, one in enumerate(found.outcomes))
    return f"Top speed against pull at low speed: as it is, {names}, each with its range."


def _points(found: OptionsPredicted) -> list[tuple[str, PredictedFigure, PredictedFigure, bool]]:
    """Return letter, top speed, pull and whether it is the present machine, of all that have both.

    The present one stands as fitted, like the others: what differs then is the change alone.
    """
    name = f"pull_at_{SWEPT_PULL_MPS:g}_mps"
    sides = [("now", {one.figure.name: one for one in found.now})]
    sides += [
        (LETTERS[n], {each.figure.name: each for each in one.figures})
        for n, one in enumerate(found.outcomes)
    ]
    return [
        (letter, figures["top_speed_mps"], figures[name], letter == "now")
        for letter, figures in sides
        if all(key in figures and figures[key].changed for key in ("top_speed_mps", name))
    ]


def _drawn(found: OptionsPredicted, unit: SpeedUnit, shape: Shape) -> Figure:
    figure = blank(shape)
    title(
        figure, shape, "Top speed against pull",
        f"pull at {plain(SWEPT_PULL_MPS, SPEED, unit, 0)}, {ACCELERATION.label(unit)}; bars: "
        "9 of 10 within",
    )  # fmt: skip
    axes = axes_in(figure, shape.left_in, 0.52, 0.3, 0.62)
    dress(axes, shape)
    points = []
    for letter, top, pull, present in _points(found):
        assert top.changed is not None and pull.changed is not None
        x, left, right = SPEED.ends(top.changed, unit)
        y, below, above = ACCELERATION.ends(pull.changed, unit)
        points.append((x, y, letter))
        axes.errorbar(
            [x], [y], xerr=[[x - left], [right - x]], yerr=[[y - below], [above - y]],
            fmt="o" if present else "D", markersize=7, linewidth=1.4, zorder=3,
            color=LINE.light if present else MARK.light,
        )  # fmt: skip
    axes.margins(0.14)
    # As shares of the axes: letters of points that lie together go to different sides.
    spans = [axes.get_xlim(), axes.get_ylim()]
    for place, (x, y, letter) in enumerate(points):
        near = sum(
            abs(x - u) < _NEAR * (spans[0][1] - spans[0][0])
            and abs(y - v) < 2.0 * _NEAR * (spans[1][1] - spans[1][0])
            for u, v, _ in points[:place]
        )
        axes.annotate(
            letter, (x, y), textcoords="offset points",
            xytext=_BELOW if letter == "now" else _SIDES[near % len(_SIDES)],
            ha="center", fontsize=shape.text_pt, zorder=5, color=INK.light, fontweight="bold",
        )  # fmt: skip
    axes.set_xlabel(f"top speed, {unit.label}", fontsize=shape.small_pt, color=QUIET.light)
    return figure
