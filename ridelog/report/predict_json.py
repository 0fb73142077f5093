"""A prediction as the JSON object that scripts read: SI units, null where nothing can be said."""

from typing import Any

from ridelog import __version__
from ridelog.core.estimate import LEVEL
from ridelog.core.units import SI
from ridelog.machine.loop import agreements
from ridelog.machine.measured_after import Ridden
from ridelog.machine.predict import Measure, Prediction
from ridelog.report.predict_words import title_words
from ridelog.report.ride_json import PREDICT_SCHEMA, caution_json, estimate_json


def predict_json(prediction: Prediction, ridden: Ridden | None = None) -> dict[str, Any]:
    """Return a prediction as the object that scripts read.

    ``setup``, ``changes`` and ``changed_setup`` hold the set-up file's own keys, whose names carry
    their units; every measure is in SI units.
    """
    return {
        "schema": PREDICT_SCHEMA,
        "ridelog_version": __version__,
        "setup": prediction.setup.given(),
        "changes": dict(prediction.change.asked),
        "changed_setup": prediction.change.setup.given(),
        "fitted_from": ", ".join(prediction.rides) if prediction.rides else None,
        "rides": list(prediction.rides),
        "level": LEVEL,
        "measures": [_measure(one) for one in prediction.measures],
        "sweep": None
        if not prediction.sweep_key
        else {
            "key": prediction.sweep_key,
            "points": [
                {
                    "value": point.value,
                    "present": point.present,
                    "measures": [_measure(one) for one in point.measures],
                }
                for point in prediction.sweep
            ],
        },
        "ridden": None if ridden is None else _ridden(prediction, ridden),
        "unknowns": [
            {
                "name": name,
                "title": words,
                "unit": unit,
                "value": estimate_json(estimate),
                "told_by_rides": bool(prediction.rides) and words not in prediction.untold,
                "prior_source": source,
            }
            for name, words, unit, estimate, source in prediction.unknowns
        ],
        "would_narrow": [
            {"name": one.name, "text": one.words, "remaining": one.remaining}
            for one in prediction.narrowings
        ],
        "notes": list(prediction.notes),
        "cautions": [caution_json(caution) for caution in prediction.cautions],
    }


def _ridden(prediction: Prediction, ridden: Ridden) -> dict[str, Any]:
    return {
        "rides": list(ridden.names),
        "measures": agreements_json(prediction, ridden),
    }


def agreements_json(prediction: Prediction, ridden: Ridden) -> list[dict[str, Any]]:
    """Return what was predicted beside what was measured, figure by figure."""
    return [
        {
            "name": one.name,
            "unit": one.unit,
            "predicted": one.predicted.as_json(),
            "measured": one.measured.as_json(),
            "difference": one.apart.as_json(),
            "agrees": one.agrees,
        }
        for one in agreements(prediction, ridden.measured)
    ]


def _measure(measure: Measure) -> dict[str, Any]:
    return {
        "name": measure.name,
        "title": title_words(measure, SI),
        "unit": measure.unit,
        "now": estimate_json(measure.now),
        "changed": estimate_json(measure.changed),
        "difference": estimate_json(measure.difference),
        "limited_by": measure.limited_by or None,
        "limited_by_share": measure.share,
        "limited_by_now": measure.limited_now or None,
        "reason": measure.reason,
    }
