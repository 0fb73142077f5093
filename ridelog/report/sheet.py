"""What the owner's sheet says, as plain records: both its HTML and its PDF are laid out from it."""

from dataclasses import dataclass
from typing import Any

from ridelog import __version__
from ridelog.analysis.subject import DOUBT, GRAVITY_WORDS, MeasuredRide
from ridelog.compare.cautions import cautions_of
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.predicted import agreements
from ridelog.compare.verdict import BETTER, FAMILY_LEVEL, WORSE
from ridelog.core.quantity import PERCENT, bare, bounds, text_or_span
from ridelog.core.units import SpeedUnit
from ridelog.machine.predict import PREDICTED_NAMES
from ridelog.present.html import laid_out
from ridelog.present.section import Picture
from ridelog.present.words import (
    capital,
    clean,
    clock_words,
    count_words,
    first_sentence,
    share_words,
    shortened,
)
from ridelog.report.aim import Aim
from ridelog.report.compare_words import (
    crossing_words,
    days_words,
    headline_figures,
    moved_words,
    reason_words,
    tested_count,
)
from ridelog.report.energy_words import at_known_mass
from ridelog.report.foremost import foremost_words
from ridelog.report.job import CHOICES_AFTER, job_of
from ridelog.report.letterhead import Letterhead
from ridelog.report.noted_words import conditions_words
from ridelog.report.owner_words import (
    as_wished,
    owner_sentence,
    unsettled,
    verdict_word,
)
from ridelog.report.pdf import last_day
from ridelog.report.predict_words import AgreementWords, agreement_words, verdict_words
from ridelog.report.ride_page import CONDITIONS_SOURCE, Sources
from ridelog.report.rounding import moved, rounding_words, side_words

CHECK_WORDS = (
    "Every figure can be computed again from the logs: ridelog verify result.json --logs "
    "FOLDER. A log is known by its SHA-256, a number that changes with any byte of it."
)
_AGAINST = " or against the wish"


@dataclass(frozen=True)
class SheetFigure:
    """One figure: name, what it is, before, after, how it moved, bounds, verdict and why.

    predicted : what the rides before the change predicted of it, where they did.
    """

    title: str
    explained: str
    before: str
    after: str
    change: str
    percent: str
    bounds: str
    verdict: str
    reason: str
    predicted: str = ""


@dataclass(frozen=True)
class SheetRide:
    """One ride behind the sheet: side, file, when, its signal in short, its hash."""

    side: str
    file: str
    when: str
    signal: str
    sha256: str


@dataclass(frozen=True)
class SheetWords:
    """Everything the sheet says, in the order in which it says it.

    cautions, general : text, source and the mark by which the list of sources names it; the
        particular ones with their gravity in a word as ``label``. doubts : what speaks against the
        measuring, not against the machine.
    missing : labels of what the title cannot name. done : what the notes say of the work, label and
        words, empty for what is not noted; open : what they leave to be done.
    foremost : what is dangerous, and that it is for no child, to stand at the headline.
    losses : what moved against the wish, under ``losses_head``; unsettled : what these rides leave
        open.
    sides, said : how the two are headed, and how they are called behind a figure.
    choices : what the owner may decide.
    predicted, agreements : whether the change did what was predicted of it, in a sentence and for
        the first figures and those that differ; empty without set-ups of both states.
    """

    title: str
    missing: tuple[str, ...]
    sides: tuple[str, str]
    said: tuple[str, str]
    choices: tuple[str, ...]
    workshop: str
    contact: str
    note: str
    days: str
    sentence: str
    foremost: tuple[str, ...]
    figures: tuple[SheetFigure, ...]
    curves: str
    others: tuple[SheetFigure, ...]
    sure: tuple[str, ...]
    done: tuple[tuple[str, str], ...]
    open: str
    losses_head: str
    losses: tuple[str, ...]
    unsettled: str
    cautions: tuple[dict[str, Any], ...]
    doubts: tuple[dict[str, Any], ...]
    general: tuple[dict[str, Any], ...]
    besides: tuple[str, ...]
    predicted: str
    agreements: tuple[AgreementWords, ...]
    not_measured: str
    conditions_mark: int | None
    sources: tuple[str, ...]
    rides: tuple[SheetRide, ...]
    check: str
    version: str
    last_day: str


def sheet_words(
    comparison: Comparison,
    unit: SpeedUnit,
    *,
    letterhead: Letterhead | None = None,
    note: str = "",
    aim: Aim | None = None,
) -> SheetWords:
    """Return what the owner's sheet says about a comparison.

    ``note`` is free text; ``aim`` is what the owner wants, which decides what is called as wished.
    """
    comparison = at_known_mass(comparison)
    head, job = letterhead or Letterhead(), job_of(comparison)
    sources, cautions = Sources(), cautions_of(comparison)
    hurts = [caution for caution in cautions if not caution.general]
    particular = tuple(
        {"label": GRAVITY_WORDS[caution.gravity], **sources.told(caution, unit)}
        for caution in hurts
        if caution.gravity > DOUBT
    )
    doubts = tuple(
        in_short(sources.told(caution, unit)) for caution in hurts if caution.gravity <= DOUBT
    )
    general = tuple(sources.told(caution, unit) for caution in cautions if caution.general)
    conditions_mark = sources.mark(CONDITIONS_SOURCE)
    first = headline_figures(comparison)
    others = [each for each in comparison.figures if each not in first]
    names = comparison.names
    return SheetWords(
        title=job.title,
        missing=job.missing,
        sides=(capital(names.heads[0]), capital(names.heads[1])),
        said=names.said,
        choices=_choices(comparison),
        workshop=head.workshop,
        contact=head.contact,
        note=clean(note.strip()),
        days=_days(comparison),
        sentence=owner_sentence(comparison, unit, aim),
        foremost=foremost_words(hurts, unit),
        figures=tuple(_figure(each, comparison, unit, aim) for each in first),
        curves=crossing_words(comparison, unit),
        others=tuple(_figure(each, comparison, unit, aim) for each in others),
        sure=_sure(comparison, unit),
        done=job.notes,
        open=job.open,
        losses_head=_losses_head(comparison, aim),
        losses=_losses(comparison, unit, aim),
        unsettled=unsettled(comparison, unit),
        cautions=particular,
        doubts=doubts,
        general=general,
        besides=tuple(clean(each.text_in(unit)) for each in comparison.mismatches),
        predicted=_predicted(comparison),
        agreements=_agreements(comparison, unit),
        not_measured=conditions_words(comparison),
        conditions_mark=conditions_mark,
        sources=tuple(sources.listed),
        rides=tuple(
            sheet_ride(side, ride)
            for side, rides in zip(names.heads, (comparison.before, comparison.after), strict=True)
            for ride in rides
        ),
        check=CHECK_WORDS,
        version=__version__,
        last_day=last_day((*comparison.before, *comparison.after)),
    )


def in_short(told: dict[str, Any]) -> dict[str, Any]:
    """Return a caution in one sentence: the sheet has room for no more."""
    return {**told, "text": first_sentence(told["text"])}


def _figure(
    compared: Compared, comparison: Comparison, unit: SpeedUnit, aim: Aim | None
) -> SheetFigure:
    title = capital(compared.figure.title_in(unit))
    reason = reason_words(compared, unit, tested_count(comparison))
    verdict = verdict_word(compared, aim)
    explained = compared.figure.explained
    difference, quantity = compared.difference, compared.quantity
    change = moved(compared, unit)
    if difference is None or change is None:
        return SheetFigure(title, explained, "", "", "", "", "", verdict, reason)
    label = quantity.label(unit)
    before, after = (f"{side} {label}" for side in side_words(compared, unit))
    percent = None if compared.doubt else difference.percent
    return SheetFigure(
        title,
        explained,
        before,
        after,
        f"{bare(change, quantity, unit, signed=True)} {label}",
        f"{bare(percent, PERCENT, unit, signed=True)} %" if percent else "",
        bounds(change, quantity, unit, signed=True),
        verdict,
        reason,
        _predicted_of(compared, comparison, unit),
    )


def _days(comparison: Comparison) -> str:
    days = [days_words(rides) for rides in (comparison.before, comparison.after)]
    if comparison.modes is not None and days[0] == days[1]:
        return days[0]
    return "; ".join(f"{n}: {day}" for n, day in zip(comparison.names.heads, days, strict=True))


def _choices(comparison: Comparison) -> tuple[str, ...]:
    if comparison.modes is None:
        return CHOICES_AFTER
    return (*(f"ride it {said}" for said in comparison.names.said), "change it:")


def _losses_head(comparison: Comparison, aim: Aim | None) -> str:
    if comparison.modes is not None:
        return f"What is worse{'' if aim is None else _AGAINST} {comparison.names.said[1]}"
    return "What got worse" if aim is None else "What got worse or went against the wish"


def _sure(comparison: Comparison, unit: SpeedUnit) -> tuple[str, ...]:
    tested = tested_count(comparison)
    n, m, names = len(comparison.before), len(comparison.after), comparison.names
    if n == m == 1:
        return (
            f"One ride {names.said[0]} and one {names.said[1]}. The brackets tell what the "
            "receiver leaves open within these two rides. How far two rides differ by themselves "
            "is not known, so nothing here is called better or worse. Two more rides on each side "
            "would tell.",
            *filter(None, (rounding_words(comparison.figures, unit),)),
        )
    rides = f"{count_words(n, 'ride')} {names.said[0]} and {m} {names.said[1]}"
    words = [
        f"{rides}. In brackets: where the true change should lie, right nine times out of ten. "
        "They allow for the receiver's errors and for how much rides differ by themselves."
    ]
    if tested > 1:
        words.append(
            f"If nothing had been changed, chance would call any of the {tested} figures better or "
            f"worse in at most {100 * FAMILY_LEVEL:.0f} comparisons of 100."
        )
    words.append(rounding_words(comparison.figures, unit))
    return tuple(filter(None, words))


def _losses(comparison: Comparison, unit: SpeedUnit, aim: Aim | None) -> tuple[str, ...]:
    shown = [each for each in comparison.figures if each.verdict.word in (BETTER, WORSE)]
    lost = [each for each in shown if not as_wished(each, aim)]
    names = {each.figure.name for each in lost}
    # The mean of both directions tells it already, freed from the wind.
    told = [e for e in lost if e.figure.name != "best_1s_mps" or "two_way_mps" not in names]
    if not lost and tested_count(comparison):
        return (
            f"No figure was shown to be {'worse' if aim is None else 'worse or against the wish'}.",
        )
    return tuple(
        f"{capital(moved_words(each, unit))}."
        if not each.doubt
        else f"The {each.figure.title_in(unit)} became worse; by how much these rides leave open."
        for each in told
    )


def _predicted_of(compared: Compared, comparison: Comparison, unit: SpeedUnit) -> str:
    told, name = comparison.predicted, compared.figure.name
    name = PREDICTED_NAMES.get(name, name)
    found = told.prediction.get(name) if told else None
    if found is None or found.changed is None:
        return ""
    return f"predicted {text_or_span(found.changed, compared.quantity, unit)}"


def _predicted(comparison: Comparison) -> str:
    told = comparison.predicted
    if told is None:
        return ""
    return f"{verdict_words(told.prediction, told.after)} Predicted from the rides before it."


def _agreements(comparison: Comparison, unit: SpeedUnit) -> tuple[AgreementWords, ...]:
    """Return the figures named first beside their prediction, and every one that differs."""
    told = comparison.predicted
    if told is None:
        return ()
    names = [each.figure.name for each in headline_figures(comparison)]
    first = {PREDICTED_NAMES.get(name, name) for name in names}
    found = agreements(told.prediction, told.after)
    words = agreement_words(told.prediction, told.after, unit)
    return tuple(
        word for one, word in zip(found, words, strict=True) if one.name in first or not one.agrees
    )


def sheet_ride(side: str, ride: MeasuredRide) -> SheetRide:
    """Return a ride as the sheet lists it."""
    source, signal = ride.source, ride["signal"]
    usable = share_words(signal.usable_share)
    return SheetRide(
        side=side,
        file=shortened(clean(source.file), 48),
        when=clock_words(source.start_utc, source.end_utc),
        signal=f"{signal.grade}, {source.rate_hz:.3g} Hz, {usable} usable",
        sha256=source.sha256,
    )


def sheet_html(words: SheetWords, picture: Picture | None, logo: str = "") -> str:
    """Return the sheet as an HTML page that stands alone: no script, network or coordinates.

    ``logo`` is that of the workshop as a data URL.
    """
    return laid_out("sheet.html", words=words, picture=picture, logo=logo)
