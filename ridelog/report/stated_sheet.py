"""The owner's sheet of a machine that came without rides: measured against what was stated."""

import csv
import io

from matplotlib.figure import Figure

from ridelog import __version__
from ridelog.analysis.subject import DOUBT, GRAVITY_WORDS, general_cautions
from ridelog.compare.noted import not_measured
from ridelog.compare.stated import AgainstStated
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import RATIO, SPEED, bare, bounds
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, drawing, dress, svg_of
from ridelog.present.palette import INK, LINE, MARK, QUIET
from ridelog.present.section import Picture, draw_picture
from ridelog.present.words import capital, clean, joined
from ridelog.report.aim import Aim
from ridelog.report.compare_words import days_words
from ridelog.report.foremost import foremost_words
from ridelog.report.job import stated_job
from ridelog.report.letterhead import Letterhead
from ridelog.report.pdf import last_day
from ridelog.report.ride_page import CONDITIONS_SOURCE, Sources
from ridelog.report.sheet import CHECK_WORDS, SheetFigure, SheetWords, in_short, sheet_ride
from ridelog.report.sheet_pdf import paper_files
from ridelog.report.stated_words import ONLY_STATED, limits_of, stated_sentence, verdict_sentence

_SIDES = ("Stated", "Measured")
# As wide as the text of a sheet; two lines of points need no more height.
_PAPER = Shape("wide", 9.6, 1.5, 11.0, 10.0, 0.9, 700)


def stated_sheet_words(
    found: AgainstStated,
    unit: SpeedUnit,
    *,
    letterhead: Letterhead | None = None,
    note: str = "",
    aim: Aim | None = None,
) -> SheetWords:
    """Return what the owner's sheet says of rides held against a stated speed."""
    head, job, sources = letterhead or Letterhead(), stated_job(found.noted), Sources()
    told = [(each.gravity, each, sources.told(each, unit)) for each in found.cautions]
    general = tuple(sources.told(caution, unit) for caution in general_cautions())
    rising, wanted_less = found.difference.value > 0.0, aim is Aim.TAMER
    against = aim is not None and rising is wanted_less
    return SheetWords(
        title=job.title,
        missing=job.missing,
        sides=_SIDES,
        said=("stated", "measured"),
        # Nobody knows a machine to put it back to: only its speed was stated.
        choices=("keep it so", "limit its speed to:", "change it further:"),
        workshop=head.workshop,
        contact=head.contact,
        note=clean(note.strip()),
        days=days_words(found.rides),
        sentence=stated_sentence(found, unit),
        foremost=foremost_words(found.cautions, unit),
        figures=(_figure(found, unit),),
        curves="",
        others=(),
        sure=(
            f"{verdict_sentence(found)} In brackets: where the true value should lie, right "
            "nine times out of ten, if the statement is as good as said. Nobody measured the "
            "machine as it was.",
            *limits_of(found),
        ),
        done=job.notes,
        open=job.open,
        losses_head="What did not go as wished" if aim else "What is not known",
        losses=(
            f"It is {'faster' if rising else 'slower'} than stated, against the wish."
            if against
            else ONLY_STATED,
        ),
        unsettled="",
        cautions=tuple(
            {"label": GRAVITY_WORDS[gravity], **words}
            for gravity, _, words in told
            if gravity > DOUBT
        ),
        doubts=tuple(in_short(words) for gravity, _, words in told if gravity <= DOUBT),
        general=general,
        besides=(),
        predicted="",
        agreements=(),
        not_measured=f"{capital(joined(list(not_measured(found.noted))))}.",
        conditions_mark=sources.mark(CONDITIONS_SOURCE),
        sources=tuple(sources.listed),
        rides=tuple(sheet_ride("measured", ride) for ride in found.rides),
        check=CHECK_WORDS,
        version=__version__,
        last_day=last_day(found.rides),
    )


def _figure(found: AgainstStated, unit: SpeedUnit) -> SheetFigure:
    label, stated = SPEED.label(unit), found.stated
    within = f"good to {100.0 * stated.within:.0f} %"
    return SheetFigure(
        title="Top speed",
        explained=f"stated by {clean(stated.by)}, {within}" if stated.by else f"stated, {within}",
        before=f"{bare(stated.estimate, SPEED, unit)} {label}",
        after=f"{bare(found.after, SPEED, unit)} {label}",
        # As many times, not so much more: nobody may take it for what a change gained.
        change=f"{bare(found.ratio, RATIO, unit)} {RATIO.label(unit)}",
        percent=f"{bare(found.difference, SPEED, unit, signed=True)} {label}",
        bounds=bounds(found.ratio, RATIO, unit),
        verdict=verdict_sentence(found).rstrip("."),
        reason="",
    )


def stated_files(
    found: AgainstStated,
    unit: SpeedUnit,
    document: bytes,
    *,
    letterhead: Letterhead | None = None,
    note: str = "",
    aim: Aim | None = None,
    paper: str = "a4",
) -> tuple[dict[str, bytes], str]:
    """Return the sheet with what belongs to it, as ``sheet_pdf.sheet_files`` does for rides."""
    words = stated_sheet_words(found, unit, letterhead=letterhead, note=note, aim=aim)
    label = _label(found, unit)
    with drawing():
        flat = svg_of(_drawn(found, unit, _PAPER), name="sheet", label=label)
    files, lacking = paper_files(
        words, stated_picture(found, unit), flat, document, letterhead, paper
    )
    return {**files, "measures.csv": _csv(found)}, lacking


def stated_picture(found: AgainstStated, unit: SpeedUnit) -> Picture:
    """Return the picture: what was stated and what was measured, each with its range."""
    return draw_picture("runs", _label(found, unit), lambda shape: _drawn(found, unit, shape))


def _label(found: AgainstStated, unit: SpeedUnit) -> str:
    sides = zip(_SIDES, (found.stated.estimate, found.after), strict=True)
    told = [f"{name.lower()} {bounds(each, SPEED, unit)}" for name, each in sides]
    return f"Top speed, {SPEED.label(unit)}: {', '.join(told)}."


def _drawn(found: AgainstStated, unit: SpeedUnit, shape: Shape) -> Figure:
    figure = blank(shape, min(shape.height_in, _PAPER.height_in))
    axes = axes_in(figure, 0.9, 0.5, 0.2, 0.1)
    dress(axes, shape)
    sides = (found.stated.estimate, found.after)
    for place, (each, role) in enumerate(zip(sides, (LINE, MARK), strict=True)):
        x, left, right = SPEED.ends(each, unit)
        axes.errorbar(
            [x], [1 - place], xerr=[[x - left], [right - x]], fmt="D" if place else "o",
            markersize=8, linewidth=2.0, capsize=5, color=role.light, zorder=3,
        )  # fmt: skip
    axes.set_yticks([1, 0], labels=list(_SIDES))
    axes.tick_params(axis="y", labelcolor=INK.light, labelsize=shape.text_pt)
    axes.set_ylim(-0.6, 1.6)
    axes.set_xlim(left=0.0, right=1.08 * max(SPEED.ends(each, unit)[2] for each in sides))
    axes.set_xlabel(
        f"top speed, {unit.label}; bars: 9 of 10 within", fontsize=shape.small_pt,
        color=QUIET.light,
    )  # fmt: skip
    return figure


def _csv(found: AgainstStated) -> bytes:
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(("measure", "unit", "row", "value", "low", "high"))
    rows: tuple[tuple[str, str, Estimate], ...] = (
        ("stated", "m/s", found.stated.estimate),
        ("after", "m/s", found.after),
        ("difference", "m/s", found.difference),
        ("ratio", "1", found.ratio),
    )
    for name, measure_unit, each in rows:
        numbers = (f"{x:.6g}" for x in (each.value, each.low, each.high))
        writer.writerow((found.figure.name, measure_unit, name, *numbers))
    return stream.getvalue().encode()
