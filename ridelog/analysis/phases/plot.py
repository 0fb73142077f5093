"""The phases of a ride as one labelled strip on the time axis of a picture."""

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch, Rectangle

from ridelog.analysis.phases.measure import KINDS, Phases
from ridelog.present.figure import Shape
from ridelog.present.palette import BAND, HATCH, INK, LINE, MARK, PAPER, SHADE, Role

STRIP_IN = 0.24
# Kind: letter, ground, pattern, colour of its letter. Letter, ground and pattern each differ, so
# that neither colour nor print is needed to tell them apart.
_LOOKS: dict[str, tuple[str, Role, str, Role]] = {
    "standstill": ("0", PAPER, "", INK),
    "launch": ("L", LINE, "", PAPER),
    "pull": ("P", BAND, "", INK),
    "steady": ("S", SHADE, "", INK),
    "coasting": ("C", PAPER, "////", INK),
    "braking": ("B", MARK, "", PAPER),
    "turning": ("T", SHADE, "||||", INK),
    "reverse": ("R", INK, "", PAPER),
}
# A letter is about 0.62 of its size wide, and needs some air around it.
_LETTER, _AIR_IN = 0.62, 0.05


def phase_rows(phases: Phases, shape: Shape) -> int:
    """Return how many rows the legend of the strip takes."""
    return -(-len(_present(phases)) // (8 if shape.wide else 3)) if phases.each else 0


def draw_strip(axes: Axes, phases: Phases, shape: Shape, width_in: float) -> None:
    """Draw the strip over axes without frame whose x is time, gaps left empty.

    ``width_in`` is the width of the axes, which tells whether a word or a letter fits. [in]
    """
    start, end = axes.get_xlim()
    axes.set_ylim(0.0, 1.0)
    axes.axis("off")
    for phase in phases.each:
        first, last = max(phase.start_s, start), min(phase.end_s, end)
        if last <= first:
            continue
        letter, ground, pattern, ink = _LOOKS[phase.kind]
        axes.add_patch(
            Rectangle(
                (first, 0.02), last - first, 0.96, facecolor=ground.light, hatch=pattern,
                edgecolor=HATCH.light, linewidth=0.5,
            )
        )  # fmt: skip
        # A long gap may be drawn short, so that the axis is not even.
        ends = (axes.transScale + axes.transLimits).transform([(first, 0.0), (last, 0.0)])
        room_in = (ends[1, 0] - ends[0, 0]) * width_in
        per_letter_in = _LETTER * shape.small_pt / 72.0
        words = next(
            (w for w in (phase.kind, letter) if len(w) * per_letter_in + _AIR_IN < room_in), ""
        )
        if not words or (phase.kind == "standstill" and words == letter):
            continue
        axes.text(
            0.5 * (first + last), 0.47, words, ha="center", va="center",
            fontsize=shape.small_pt, color=ink.light, clip_on=True,
            bbox=None if not pattern else
            {"facecolor": ground.light, "edgecolor": "none", "pad": 0.8},
        )  # fmt: skip


def draw_key(figure: Figure, phases: Phases, shape: Shape, bottom_in: float) -> None:
    """Draw what the letters and grounds of the strip mean, from a height of the figure. [in]"""
    kinds = _present(phases)
    if not kinds:
        return
    patches = [
        Patch(
            facecolor=_LOOKS[kind][1].light, edgecolor=HATCH.light, hatch=_LOOKS[kind][2],
            linewidth=0.5, label=kind if kind == "standstill" else f"{_LOOKS[kind][0]} {kind}",
        )
        for kind in kinds
    ]  # fmt: skip
    legend = figure.legend(
        handles=patches, loc="lower left",
        bbox_to_anchor=(0.0, bottom_in / figure.get_size_inches()[1]), frameon=False,
        ncols=8 if shape.wide else 3, fontsize=shape.small_pt, handlelength=1.6, handleheight=1.0,
        columnspacing=1.0, borderaxespad=0.1, borderpad=0.1, labelspacing=0.3, handletextpad=0.5,
    )  # fmt: skip
    for text in legend.get_texts():
        text.set_color(INK.light)


def _present(phases: Phases) -> list[str]:
    seen = {phase.kind for phase in phases.each}
    return [kind for kind in KINDS if kind in seen]
