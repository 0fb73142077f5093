"""A comparison as the JSON object that scripts read: SI units, null where nothing can be said."""

from typing import Any

from ridelog import __version__
from ridelog.analysis.figure import Figure
from ridelog.analysis.ride import NOT_MEASURED
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.curves import PullCurves
from ridelog.compare.matching import Rides
from ridelog.compare.predicted import Foretold
from ridelog.compare.verdict import FAMILY_LEVEL, POWER
from ridelog.core.estimate import LEVEL
from ridelog.core.units import SI
from ridelog.report.predict_json import agreements_json
from ridelog.report.predict_words import verdict_words
from ridelog.report.ride_json import (
    COMPARE_SCHEMA,
    caution_json,
    estimate_json,
    number,
    source_json,
)
from ridelog.report.settings_json import settings_json
from ridelog.report.verdict_words import (
    false_alarm_words,
    method_words,
    reason_words,
    tested_count,
)

# Sentences in the JSON speak SI, as its figures do.


def compare_json(comparison: Comparison) -> dict[str, Any]:
    """Return a comparison as the object that scripts read."""
    count = tested_count(comparison)
    return {
        "schema": COMPARE_SCHEMA,
        "ridelog_version": __version__,
        **settings_json(comparison.before, comparison.after),
        "round_in": comparison.unit.label,
        "noted": {"before": comparison.noted_before, "after": comparison.noted_after},
        "before": [source_json(ride.source) for ride in comparison.before],
        "after": [source_json(ride.source) for ride in comparison.after],
        "mismatches": [{"code": each.code, "text": each.text} for each in comparison.mismatches],
        "level": LEVEL,
        "false_alarms": {
            "family_level": FAMILY_LEVEL,
            "figures_tested": count,
            "text": false_alarm_words(comparison),
        },
        "intervals": method_words(comparison),
        "measures": [_figure(each, count) for each in comparison.figures],
        "pull_curve": _pull(comparison.pull),
        "predicted": _predicted(comparison.foretold),
        "cautions": _cautions(comparison.after),
        "not_measured": list(NOT_MEASURED),
    }


def _figure(compared: Compared, count: int) -> dict[str, Any]:
    figure, difference, verdict = compared.figure, compared.difference, compared.verdict
    return {
        "name": figure.name,
        "title": figure.title_in(SI),
        "unit": figure.quantity.si,
        "better_when": compared.terms.better,
        "runs_before": _held(compared.before),
        "runs_after": _held(compared.after),
        "before": estimate_json(difference.before) if difference else None,
        "after": estimate_json(difference.after) if difference else None,
        "difference": estimate_json(difference.difference) if difference else None,
        "percent": estimate_json(difference.percent) if difference else None,
        "verdict": verdict.word,
        "reason": reason_words(compared, SI, count),
        "method": difference.method if difference else None,
        "p_value": difference.p_value if difference and difference.contrast else None,
        "p_adjusted": verdict.tested.adjusted if verdict.tested else None,
        "smallest_shown": verdict.smallest_shown,
        "shown_share": POWER,
        "more_rides_a_side": verdict.more_rides,
        "wind_part": difference.wind_part if difference else None,
        "ride_sd_before": number(difference.sd_before) if difference else None,
        "ride_sd_after": number(difference.sd_after) if difference else None,
        "rides_before": [_reading(reading) for reading in compared.before],
        "rides_after": [_reading(reading) for reading in compared.after],
    }


def _pull(curves: PullCurves | None) -> dict[str, Any] | None:
    if curves is None:
        return None
    crossing = curves.crossing
    return {
        "speed_mps": [float(speed) for speed in curves.speed_mps],
        "before_mps2": [each.before.as_json() for each in curves.differences],
        "after_mps2": [each.after.as_json() for each in curves.differences],
        "difference_mps2": [each.difference.as_json() for each in curves.differences],
        "crossing_mps": estimate_json(crossing.speed_mps) if crossing else None,
        "harder_below": crossing.harder_below if crossing else None,
    }


def _predicted(foretold: Foretold | None) -> dict[str, Any] | None:
    """Return the prediction with both set-ups, from which it can be computed again."""
    if foretold is None:
        return None
    prediction, ridden = foretold.prediction, foretold.ridden
    return {
        "setup_before": foretold.setup_before.given(),
        "setup_after": foretold.setup_after.given(),
        "changes": dict(prediction.change.asked),
        "text": verdict_words(prediction, ridden),
        "measures": agreements_json(prediction, ridden),
    }


def _held(readings: tuple[Figure, ...]) -> int:
    return sum(reading.estimate is not None for reading in readings)


def _reading(reading: Figure) -> dict[str, Any]:
    return {"estimate": estimate_json(reading.estimate), "reason": reading.reason}


def _cautions(rides: Rides) -> list[dict[str, Any]]:
    """Return the cautions of the rides after the change, each code once, the strongest value."""
    by_code: dict[str, dict[str, Any]] = {}
    for ride in rides:
        for caution in ride.cautions:
            known = by_code.get(caution.code)
            if known is None or (caution.value or 0.0) > (known["value"] or 0.0):
                by_code[caution.code] = caution_json(caution)
    return list(by_code.values())
