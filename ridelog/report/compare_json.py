"""A comparison as the JSON object that scripts read: SI units, null where nothing can be said.

Its schema is made from the records here. Sentences in the JSON speak SI, as its figures do.
"""

from dataclasses import dataclass
from typing import Any

from ridelog import __version__
from ridelog.analysis.figure import Figure
from ridelog.analysis.settings import Settings
from ridelog.compare.cautions import cautions_of
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.curves import PullCurves
from ridelog.compare.difference import Method
from ridelog.compare.matching import Rides
from ridelog.compare.noted import not_measured
from ridelog.compare.predicted import Predicted
from ridelog.compare.stated import AgainstStated
from ridelog.compare.verdict import FAMILY_LEVEL, POWER, Word
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.quantity import rough_span
from ridelog.core.track import FloatArray
from ridelog.core.units import SI, SpeedUnit
from ridelog.present.json import as_json
from ridelog.report.compare_words import false_alarm_words, method_words, reason_words, tested_count
from ridelog.report.predict_json import agreements_json
from ridelog.report.predict_words import verdict_words
from ridelog.report.ride_json import COMPARE_SCHEMA

SHARED, OWN = "settings", "ride_settings"


@dataclass(frozen=True)
class RideReading:
    """One ride's figure, or why it has none."""

    estimate: Estimate | None
    reason: str


@dataclass(frozen=True)
class ComparedFigure:
    """One figure of a comparison under the names of the JSON; ``difference`` is after minus before.

    ``ratio`` is how many times what it was. ``before``, ``after``, ``percent`` and ``ratio`` are
    None for a figure of which only ranges may be told.
    """

    name: str
    title: str
    unit: str
    better_when: str
    runs_before: int
    runs_after: int
    before: Estimate | None
    after: Estimate | None
    difference: Estimate | None
    percent: Estimate | None
    ratio: Estimate | None
    verdict: Word
    reason: str
    method: Method | None
    p_value: float | None
    p_adjusted: float | None
    smallest_shown: float | None
    shown_share: float
    more_rides_a_side: int | None
    wind_part: float | None
    ride_sd_before: float | None
    ride_sd_after: float | None
    rides_before: tuple[RideReading, ...]
    rides_after: tuple[RideReading, ...]


@dataclass(frozen=True)
class ComparedPull:
    """Pull at every speed that both sides hold; ``crossing_mps`` is where the curves cross."""

    speed_mps: FloatArray
    before_mps2: tuple[Estimate, ...]
    after_mps2: tuple[Estimate, ...]
    difference_mps2: tuple[Estimate, ...]
    crossing_mps: Estimate | None
    harder_below: bool | None


@dataclass(frozen=True)
class FalseAlarms:
    """How false alarms among several figures are kept rare."""

    family_level: float
    figures_tested: int
    text: str


def compare_json(comparison: Comparison) -> dict[str, Any]:
    """Return a comparison as the object that scripts read."""
    noted = {"before": comparison.noted_before, "after": comparison.noted_after}
    tested = tested_count(comparison)
    members = {
        "round_in": comparison.unit.label,
        "noted": noted,
        "mismatches": [
            {"code": each.code, "text": each.text_in(SI)} for each in comparison.mismatches
        ],
        "level": LEVEL,
        "false_alarms": FalseAlarms(FAMILY_LEVEL, tested, false_alarm_words(comparison)),
        "intervals": method_words(comparison),
        "measures": compared_figures(comparison),
        "pull_curve": _pull(comparison.pull),
        "cautions": cautions_of(comparison),
        "not_measured": not_measured(comparison.noted_before, comparison.noted_after),
        "modes": comparison.modes,
    }
    return {
        "schema": COMPARE_SCHEMA,
        "ridelog_version": __version__,
        **settings_json(comparison.before, comparison.after),
        "before": [as_json(ride.source) for ride in comparison.before],
        "after": [as_json(ride.source) for ride in comparison.after],
        **as_json(members),
        "predicted": _predicted(comparison.predicted),
    }


def compared_figures(comparison: Comparison) -> tuple[ComparedFigure, ...]:
    """Return every figure as the JSON and the table have it."""
    tested = tested_count(comparison)
    return tuple(_figure(each, tested) for each in comparison.figures)


def _figure(compared: Compared, tested: int) -> ComparedFigure:
    figure, difference, verdict = compared.figure, compared.difference, compared.verdict
    firm = difference if not compared.doubt else None
    reason = reason_words(compared, SI, tested)
    if difference and not firm:
        sides = ((difference.before, "before"), (difference.after, "after"))
        ranges = [f"{rough_span(mean, compared.quantity, SI)} {name}" for mean, name in sides]
        reason += f" It lies somewhere from {' and '.join(ranges)}."
    return ComparedFigure(
        name=figure.name,
        title=figure.title_in(SI),
        unit=compared.quantity.si,
        better_when=compared.terms.better,
        runs_before=_held(compared.before),
        runs_after=_held(compared.after),
        before=firm.before if firm else None,
        after=firm.after if firm else None,
        difference=difference.difference if difference else None,
        percent=firm.percent if firm else None,
        ratio=_ratio(firm.percent) if firm else None,
        verdict=verdict.word,
        reason=reason,
        method=difference.method if difference else None,
        p_value=difference.p_value if difference and difference.contrast else None,
        p_adjusted=verdict.tested.adjusted if verdict.tested else None,
        smallest_shown=verdict.smallest_shown,
        shown_share=POWER,
        more_rides_a_side=verdict.more_rides,
        wind_part=difference.wind_part if difference else None,
        ride_sd_before=difference.sd_before if difference else None,
        ride_sd_after=difference.sd_after if difference else None,
        rides_before=_readings(compared.before),
        rides_after=_readings(compared.after),
    )


def _pull(curves: PullCurves | None) -> ComparedPull | None:
    if curves is None:
        return None
    crossing = curves.crossing
    return ComparedPull(
        curves.speed_mps,
        tuple(each.before for each in curves.differences),
        tuple(each.after for each in curves.differences),
        tuple(each.difference for each in curves.differences),
        crossing.speed_mps if crossing else None,
        crossing.harder_below if crossing else None,
    )


def _predicted(predicted: Predicted | None) -> dict[str, Any] | None:
    """Return the prediction with both set-ups, from which it can be computed again."""
    if predicted is None:
        return None
    prediction, after = predicted.prediction, predicted.after
    return {
        "setup_before": prediction.setup.given(),
        "setup_after": prediction.change.setup.given(),
        "changes": dict(prediction.change.asked),
        "text": verdict_words(prediction, after),
        "measures": agreements_json(prediction, after),
    }


def _ratio(percent: Estimate | None) -> Estimate | None:
    if percent is None:
        return None
    ends = (1.0 + each / 100.0 for each in (percent.value, percent.low, percent.high))
    return Estimate(*ends)


def stated_json(found: AgainstStated, reader: SpeedUnit) -> dict[str, Any]:
    """Return rides held against a stated speed as the same object, with ``stated`` beside."""
    figure = ComparedFigure(
        name=found.figure.name,
        title=found.figure.title_in(SI),
        unit=found.figure.quantity.si,
        better_when=found.figure.terms.better,
        runs_before=0,
        runs_after=_held(found.readings),
        before=found.stated.estimate,
        after=found.after,
        difference=found.difference,
        percent=None,
        ratio=found.ratio,
        verdict=found.verdict,
        reason="",
        method=None,
        p_value=None,
        p_adjusted=None,
        smallest_shown=None,
        shown_share=POWER,
        more_rides_a_side=None,
        wind_part=None,
        ride_sd_before=None,
        ride_sd_after=None,
        rides_before=(),
        rides_after=_readings(found.readings),
    )
    members = {
        "round_in": reader.label,
        "noted": {"before": {}, "after": dict(found.noted)},
        "mismatches": [],
        "level": LEVEL,
        "false_alarms": FalseAlarms(FAMILY_LEVEL, 1, ""),
        "intervals": "",
        "measures": (figure,),
        "pull_curve": None,
        "cautions": found.cautions,
        "not_measured": not_measured(found.noted),
        "modes": None,
    }
    return {
        "schema": COMPARE_SCHEMA,
        "ridelog_version": __version__,
        **settings_json((), found.rides),
        "stated": as_json(found.stated),
        "before": [],
        "after": [as_json(ride.source) for ride in found.rides],
        **as_json(members),
        "predicted": None,
    }


def _held(readings: tuple[Figure, ...]) -> int:
    return sum(reading.estimate is not None for reading in readings)


def _readings(figures: tuple[Figure, ...]) -> tuple[RideReading, ...]:
    return tuple(RideReading(figure.estimate, figure.reason) for figure in figures)


def settings_json(before: Rides, after: Rides) -> dict[str, Any]:
    """Return the members that carry the settings of a comparison.

    ``settings`` holds what every ride was measured with, ``ride_settings`` for each ride what the
    rides differ in: the marks of one ride mean nothing on another.
    """
    every = [ride.settings.as_json() for ride in (*before, *after)]
    shared = {key: value for key, value in every[0].items() if all(s[key] == value for s in every)}
    own = [{key: value for key, value in s.items() if key not in shared} for s in every]
    return {SHARED: shared, OWN: {"before": own[: len(before)], "after": own[len(before) :]}}


def settings_in(document: dict[str, Any], count: int) -> list[Settings]:
    """Return the settings of every ride of a result on file, those before the change first.

    The document is of one ride or of several, ``count`` in all.

    Raises
    ------
    ValueError, TypeError, AttributeError
        If they cannot be read, or are not those of so many rides.
    """
    shared = document.get(SHARED) or {}
    sides = document.get(OWN)
    own = [{}] * count if sides is None else [*sides["before"], *sides["after"]]
    if len(own) != count:
        raise ValueError(f"{len(own)} settings for {count} rides")
    return [Settings.from_json({**shared, **each}) for each in own]
