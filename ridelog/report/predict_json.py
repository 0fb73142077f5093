"""A prediction as the JSON object that scripts read: SI units, null where nothing can be said."""

from collections.abc import Mapping
from typing import Any

from ridelog import __version__
from ridelog.compare.predicted import MeasuredAfter, agreements
from ridelog.core.estimate import LEVEL
from ridelog.core.units import SI
from ridelog.machine.conditions import Conditions, SpeedAsked
from ridelog.machine.possible import PredictedFigure
from ridelog.machine.predict import Prediction
from ridelog.present.json import as_json
from ridelog.report.ride_json import PREDICT_SCHEMA


def predict_json(prediction: Prediction, after: MeasuredAfter | None = None) -> dict[str, Any]:
    """Return a prediction as the object that scripts read.

    ``setup``, ``changes`` and ``changed_setup`` hold the set-up file's own keys, whose names carry
    their units; every figure is in SI units.
    """
    members = {
        "setup": prediction.setup.given(),
        "changes": prediction.change.asked,
        "changed_setup": prediction.change.setup.given(),
        "fitted_from": ", ".join(prediction.rides) if prediction.rides else None,
        "rides": prediction.rides,
        "currency": prediction.cost.currency,
        "price": prediction.cost.price,
        "hours": prediction.cost.hours,
        "level": LEVEL,
        "measures": [_figure(one) for one in prediction.figures],
        "sweep": None if not prediction.sweep_key else _sweep(prediction),
        "ridden": after and {"rides": after.names, "measures": agreements_json(prediction, after)},
        "unknowns": [
            {
                "name": one.unknown.name,
                "title": one.unknown.words,
                "unit": one.unknown.quantity.si,
                "value": one.estimate,
                "told_by_rides": bool(one.told),
                "prior_source": one.unknown.source,
            }
            for one in prediction.known
        ],
        "would_narrow": [
            {"name": one.name, "text": one.words, "remaining": one.remaining}
            for one in prediction.narrowings
        ],
        "conditions": conditions_json(prediction.conditions),
        "strips": [
            {
                "rides": strip.rides,
                "course_deg": strip.course_deg,
                "slope": strip.slope,
                "winds_mps": strip.winds_mps,
                "both_ways": strip.both_ways,
            }
            for strip in prediction.strips
        ],
        "notes": prediction.notes,
        "cautions": prediction.cautions,
    }
    return {"schema": PREDICT_SCHEMA, "ridelog_version": __version__, **as_json(members)}


def conditions_json(asked: Conditions) -> dict[str, Any]:
    """Return what a prediction was asked for."""
    charge, ridden = asked.charge, asked.rides_charge
    return {
        "slope": asked.slope,
        "surface": asked.surface,
        "charge": charge and charge[0],
        "charge_sd": charge and charge[1],
        "rides_charge": ridden and ridden[0],
        "rides_charge_sd": ridden and ridden[1],
        "at": [
            {"name": one.name, "label": one.label, "speed_mps": one.speed_mps} for one in asked.at
        ],
        "believed": sorted(asked.believed),
    }


def conditions_in(document: Mapping[str, Any]) -> Conditions:
    """Return what a prediction on file was asked for.

    LookupError, TypeError or ValueError if it cannot be read.
    """
    charge, ridden = (
        None if document[key] is None else (float(document[key]), float(document[f"{key}_sd"]))
        for key in ("charge", "rides_charge")
    )
    return Conditions(
        slope=document["slope"],
        surface=document["surface"],
        charge=charge,
        at=tuple(SpeedAsked(one["name"], one["label"], one["speed_mps"]) for one in document["at"]),
        rides_charge=ridden,
        believed=frozenset(document["believed"]),
    )


def agreements_json(prediction: Prediction, after: MeasuredAfter) -> list[dict[str, Any]]:
    """Return what was predicted beside what was measured, figure by figure."""
    return [
        {
            "name": one.name,
            "unit": one.predicted.figure.quantity.si,
            "predicted": as_json(one.predicted.changed),
            "measured": one.measured.as_json(),
            "difference": one.apart.as_json(),
            "agrees": one.agrees,
        }
        for one in agreements(prediction, after)
    ]


def _sweep(prediction: Prediction) -> dict[str, Any]:
    points = [
        {
            "value": point.value,
            "present": point.present,
            "measures": [_figure(one) for one in point.figures],
        }
        for point in prediction.sweep
    ]
    return {"key": prediction.sweep_key, "points": points}


def _figure(one: PredictedFigure) -> dict[str, Any]:
    return {
        "name": one.figure.name,
        "title": one.figure.short_in(SI),
        "unit": one.figure.quantity.si,
        "now": one.now,
        "changed": one.changed,
        "difference": one.difference,
        "limited_by": one.limited_by or None,
        "limited_by_share": one.share,
        "limited_by_now": one.limited_now or None,
        "reason": one.figure.reason,
    }
