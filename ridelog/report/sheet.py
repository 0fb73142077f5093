"""What the owner's sheet says, as plain records: both its HTML and its PDF are laid out from it."""

from dataclasses import dataclass

from ridelog import __version__
from ridelog.analysis.ride import NOT_MEASURED
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.verdict import CANNOT_SAY, FAMILY_LEVEL, NOT_SHOWN, WORSE
from ridelog.core.units import SpeedUnit
from ridelog.machine.loop import COUNTERPARTS, agreements
from ridelog.present.measure_words import (
    bounds_of,
    change_words,
    factor_and_label,
    number_words,
    percent_words,
    places,
)
from ridelog.present.words import (
    clean,
    clock_words,
    count_words,
    joined,
    shortened,
)
from ridelog.report.headline import headline, headline_measures, moved_words
from ridelog.report.predict_words import AgreementWords, agreement_words, verdict_words
from ridelog.report.sheet_cautions import general_words, particular_words
from ridelog.report.verdict_words import crossing_words, reason_words, tested_count


@dataclass(frozen=True)
class SheetFigure:
    """One figure: name, what it is, before, after, how it moved, bounds, verdict and why."""

    title: str
    explained: str
    before: str
    after: str
    change: str
    percent: str
    bounds: str
    verdict: str
    reason: str


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

    foretold, agreements : whether the change did what was predicted of it, in a sentence and for
        the first figures and those that differ; empty without set-ups of both states.
    """

    title: str
    workshop: str
    note: str
    days: str
    sentence: str
    figures: tuple[SheetFigure, ...]
    curves: str
    others: tuple[SheetFigure, ...]
    sure: tuple[str, ...]
    costs: tuple[str, ...]
    cautions: tuple[str, ...]
    general: tuple[str, ...]
    besides: tuple[str, ...]
    foretold: str
    agreements: tuple[AgreementWords, ...]
    not_measured: str
    rides: tuple[SheetRide, ...]
    check: str
    version: str
    last_day: str


def sheet_words(
    comparison: Comparison, unit: SpeedUnit, *, workshop: str = "", note: str = ""
) -> SheetWords:
    """Return what the owner's sheet says about a comparison.

    Parameters
    ----------
    comparison : Comparison
        Both sides with their verdicts.
    unit : SpeedUnit
        In which speeds are told.
    workshop, note : str
        Free text from the workshop; empty for none.
    """
    first = headline_measures(comparison)
    others = [each for each in comparison.figures if each not in first]
    tested = tested_count(comparison)
    return SheetWords(
        title="What the change did",
        workshop=clean(workshop.strip()),
        note=clean(note.strip()),
        days=_days(comparison),
        sentence=headline(comparison, unit),
        figures=tuple(_figure(each, unit, tested) for each in first),
        curves=crossing_words(comparison, unit),
        others=tuple(_figure(each, unit, tested) for each in others),
        sure=_sure(comparison, tested),
        costs=_costs(comparison, unit),
        cautions=particular_words(comparison, unit),
        general=general_words(),
        besides=tuple(clean(each.text) for each in comparison.mismatches),
        foretold=_foretold(comparison),
        agreements=_agreements(comparison, unit),
        not_measured=(
            f"{_capital(joined(list(NOT_MEASURED)))}. Another day, rider or charge can move these "
            "figures by more than their bounds; only what is the same on both sides cancels."
        ),
        rides=tuple(
            _ride(side, ride)
            for side, rides in (("before", comparison.before), ("after", comparison.after))
            for ride in rides
        ),
        check=(
            "Every figure can be computed again from the logs: ridelog verify result.json --logs "
            "FOLDER. A log is known by its SHA-256, a number that changes with any byte of it."
        ),
        version=__version__,
        last_day=_last_day(comparison),
    )


def _figure(compared: Compared, unit: SpeedUnit, tested: int) -> SheetFigure:
    title = _capital(compared.figure.title_in(unit))
    reason = reason_words(compared, unit, tested)
    verdict, explained = compared.verdict.word, compared.figure.explained
    difference, si = compared.difference, compared.figure.quantity.si
    if difference is None:
        return SheetFigure(title, explained, "", "", "", "", "", verdict, reason)
    factor, label = factor_and_label(si, unit)
    # Both sides to the same decimals, those of the rougher one.
    count = min(places(side, factor) for side in (difference.before, difference.after))
    before, after = (
        f"{number_words(factor * side.value, count)} {label}"
        for side in (difference.before, difference.after)
    )
    return SheetFigure(
        title,
        explained,
        before,
        after,
        change_words(difference.difference, si, unit),
        percent_words(difference.percent),
        bounds_of(difference.difference, si, unit, signed=True),
        verdict,
        reason,
    )


def _sure(comparison: Comparison, tested: int) -> tuple[str, ...]:
    n, m = len(comparison.before), len(comparison.after)
    if n == m == 1:
        return (
            "One ride before and one after. The bounds tell what the receiver leaves open within "
            "these two rides. How far two rides differ by themselves is not known, so nothing here "
            "is called better or worse. Two more rides a side would tell.",
        )
    rides = f"{count_words(n, 'ride')} before and {m} after"
    words = [
        f"{rides}. The bounds allow for the receiver's errors and for how much rides differ by "
        "themselves: made this way they hold the truth nine times out of ten."
    ]
    if tested > 1:
        words.append(
            f"{tested} figures were looked at together, so each must differ clearly: with an "
            f"unchanged machine, any of them would be called better or worse in at most "
            f"{100 * FAMILY_LEVEL:.0f} comparisons of 100."
        )
    return tuple(words)


def _costs(comparison: Comparison, unit: SpeedUnit) -> tuple[str, ...]:
    worse = [each for each in comparison.figures if each.verdict.word == WORSE]
    names = {each.figure.name for each in worse}
    # The mean of both directions tells it already, freed from the wind.
    told = [e for e in worse if e.figure.name != "best_1s_mps" or "two_way_mps" not in names]
    words = [f"{_capital(moved_words(each, unit))}." for each in told]
    open_ones = [
        each.figure.title_in(unit)
        for each in comparison.figures
        if each.verdict.word in (NOT_SHOWN, CANNOT_SAY)
    ]
    if not worse and tested_count(comparison):
        words.append("No figure was shown to be worse.")
    if open_ones:
        words.append(f"Not settled by these rides: {joined(open_ones)}.")
    return tuple(words)


def _foretold(comparison: Comparison) -> str:
    told = comparison.foretold
    if told is None:
        return ""
    return f"{verdict_words(told.prediction, told.ridden)} Predicted from the rides before it."


def _agreements(comparison: Comparison, unit: SpeedUnit) -> tuple[AgreementWords, ...]:
    """Return the figures named first beside their prediction, and every one that differs."""
    told = comparison.foretold
    if told is None:
        return ()
    names = [each.figure.name for each in headline_measures(comparison)]
    first = {COUNTERPARTS.get(name, name) for name in names}
    found = agreements(told.prediction, told.ridden.measured)
    words = agreement_words(told.prediction, told.ridden, unit)
    return tuple(
        word for one, word in zip(found, words, strict=True) if one.name in first or not one.agrees
    )


def _days(comparison: Comparison) -> str:
    sides = []
    for name, rides in (("before", comparison.before), ("after", comparison.after)):
        days = list(dict.fromkeys(_day(ride) for ride in rides))
        sides.append(f"{name}: {joined(days)}")
    return "; ".join(sides)


def _last_day(comparison: Comparison) -> str:
    """Return the day of the last ride as YYYY-MM-DD, empty if no log tells it."""
    sources = [ride.source for ride in (*comparison.before, *comparison.after)]
    return max((s.end_utc[:10] for s in sources if s.date_known), default="")


def _day(ride: MeasuredRide) -> str:
    source = ride.source
    return clock_words(source.start_utc, source.end_utc).split(",")[0]


def _ride(side: str, ride: MeasuredRide) -> SheetRide:
    source, signal = ride.source, ride["signal"]
    return SheetRide(
        side=side,
        file=shortened(clean(source.file), 48),
        when=clock_words(source.start_utc, source.end_utc),
        signal=f"{signal.grade}, {source.rate_hz:.3g} Hz, {100 * signal.usable_share:.0f} % usable",
        sha256=source.sha256,
    )


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
