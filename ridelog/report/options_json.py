"""Options side by side as the JSON object that scripts read: SI units, null where nothing is known.

It holds all that is needed to compute it again; its schema is made from the records here.
"""

from dataclasses import dataclass
from typing import Any

from ridelog import __version__
from ridelog.analysis.subject import Caution
from ridelog.compare.matching import Rides
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.units import SI, SpeedUnit
from ridelog.machine.options import OptionOutcome, OptionsPredicted
from ridelog.machine.possible import PredictedFigure
from ridelog.present.json import as_json
from ridelog.report.compare_json import SHARED, settings_json
from ridelog.report.predict_json import conditions_json
from ridelog.report.ride_json import OPTIONS_SCHEMA

AS_IT_IS = "as it is"


@dataclass(frozen=True)
class OptionFigure:
    """One figure of one option; ``difference`` is to the machine as it is, None for itself."""

    name: str
    title: str
    unit: str
    value: Estimate | None
    difference: Estimate | None
    limited_by: str | None
    reason: str


@dataclass(frozen=True)
class FigureEnds:
    """Who has least and most of a figure, several where the rides do not tell them apart."""

    name: str
    least: tuple[str, ...]
    most: tuple[str, ...]


@dataclass(frozen=True)
class OptionRecord:
    """One option; ``changes`` and ``changed_setup`` hold keys of the set-up file."""

    name: str
    note: str
    changes: dict[str, Any]
    changed_setup: dict[str, Any]
    price: float | None
    hours: float | None
    figures: tuple[OptionFigure, ...]
    cautions: tuple[Caution, ...]
    open: tuple[str, ...]


def options_json(found: OptionsPredicted, rides: Rides, unit: SpeedUnit) -> dict[str, Any]:
    """Return options side by side as the object that scripts read.

    ``rides`` are those that the machine was fitted from.
    """
    names = [AS_IT_IS, *(one.option.name for one in found.outcomes)]
    members = {
        "rides": [ride.source for ride in rides],
        "round_in": unit.label,
        "setup": found.setup.given(),
        "windows": found.windows,
        "conditions": conditions_json(found.conditions),
        "level": LEVEL,
        "currency": found.currency,
        "now": [_figure(one, one.now, None) for one in found.now],
        "cautions_now": found.cautions_now,
        "options": [_option(one) for one in found.outcomes],
        "ends": [
            FigureEnds(
                one.name, tuple(names[n] for n in one.least), tuple(names[n] for n in one.most)
            )
            for one in found.ends
        ],
        "notes": found.notes,
    }
    settings = settings_json(rides, ()) if rides else {SHARED: {}}
    return {
        "schema": OPTIONS_SCHEMA,
        "ridelog_version": __version__,
        **settings,
        **as_json(members),
    }


def _option(one: OptionOutcome) -> OptionRecord:
    return OptionRecord(
        name=one.option.name,
        note=one.option.note,
        changes=dict(one.option.asked),
        changed_setup=one.change.setup.given(),
        price=one.option.price,
        hours=one.option.hours,
        figures=tuple(_figure(each, each.changed, each.difference) for each in one.figures),
        cautions=one.cautions,
        open=one.open,
    )


def _figure(
    one: PredictedFigure, value: Estimate | None, difference: Estimate | None
) -> OptionFigure:
    return OptionFigure(
        name=one.figure.name,
        title=one.figure.short_in(SI),
        unit=one.figure.quantity.si,
        value=value,
        difference=difference,
        limited_by=one.limited_by or None,
        reason=one.figure.reason,
    )
