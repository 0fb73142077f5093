"""The JSON Schemas of rides, signals and comparisons, made from the records in the results.

``python -m ridelog.report.schema`` writes them to ``schemas/``; a test holds them equal.
"""

import json
from pathlib import Path
from typing import Any

from ridelog.analysis.figure import HIGHER, LOWER
from ridelog.analysis.ride import SUBJECTS
from ridelog.analysis.settings import Settings
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.subject import Caution, RideSource
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.present.json import ESTIMATE_SCHEMA, FIELD, schema_of_type
from ridelog.report.compare_json import OWN, SHARED, ComparedFigure, ComparedPull, FalseAlarms
from ridelog.report.options_json import FigureEnds, OptionFigure, OptionRecord
from ridelog.report.ride_json import COMPARE_SCHEMA, OPTIONS_SCHEMA, RIDE_SCHEMA, SIGNAL_SCHEMA

_TEXT = {"type": "string"}
_MAYBE_ESTIMATE = {"anyOf": [{"$ref": "#/$defs/estimate"}, {"type": "null"}]}
_DIGEST = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
# A log without a date has times of day alone.
_UTC = {"type": "string", "pattern": r"^((\d{4}-\d{2}-\d{2})?T\d{2}:\d{2}:\d{2}(\.\d+)?Z)?$"}
_FIGURE = {
    "type": "object",
    "description": "Any figure of a ride; without a value the reason says why.",
    "required": ["name", "title", "unit", "value", "reason"],
    "properties": {
        **dict.fromkeys(("name", "title", "unit", "reason"), _TEXT),
        "value": _MAYBE_ESTIMATE,
    },
}


def ride_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of what ``ridelog report`` writes."""
    members = {
        name: schema_of_type(kind) for subject in SUBJECTS for name, kind in subject.members.items()
    }
    return _document(
        RIDE_SCHEMA,
        "One ride: what ridelog report writes. SI units; times are seconds since the first fix "
        "with a valid time (source.start_utc).",
        {
            "settings": schema_of_type(Settings),
            "source": _source(),
            **members,
            "figures": _list(_FIGURE),
            "modes": _list(
                _object(
                    name=_TEXT,
                    spans=schema_of_type(tuple[tuple[float, float], ...]),
                    figures=_list(_FIGURE),
                )
            ),
            "cautions": _list(schema_of_type(Caution)),
            "warnings": _list(_TEXT),
            "history": _list(_TEXT),
        },
    )


def signal_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of what ``ridelog signal`` writes."""
    return _document(
        SIGNAL_SCHEMA,
        "How good one log is: what ridelog signal writes. SI units.",
        {"source": _source(), "signal": schema_of_type(SignalQuality)},
        # Only of a table whose columns had to be told.
        {SHARED: _object(columns=_TEXT)},
    )


def compare_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of what ``ridelog compare`` writes."""
    thing: dict[str, Any] = {"type": "object"}
    sources, notes = _list(_source()), {**thing, "additionalProperties": _TEXT}
    figure = schema_of_type(ComparedFigure)
    figure["properties"]["better_when"] = {"enum": [HIGHER, LOWER]}
    agreement = _object(
        **dict.fromkeys(("name", "unit"), _TEXT),
        **dict.fromkeys(("predicted", "measured", "difference"), schema_of_type(Estimate)),
        agrees={"type": "boolean"},
    )
    predicted = _object(
        setup_before=thing, setup_after=thing, changes=thing, text=_TEXT, measures=_list(agreement)
    )
    return _document(
        COMPARE_SCHEMA,
        "Rides before and after a change: what ridelog compare writes. SI units; difference is "
        "after minus before. What rides differ in of settings is in ride_settings.",
        {
            SHARED: thing,
            OWN: _object(before=_list(thing), after=_list(thing)),
            "before": sources,
            "after": sources | {"minItems": 1},
            "round_in": {"enum": list(SPEED_UNITS)},
            "noted": _object(before=notes, after=notes),
            "mismatches": _list(_object(code=_TEXT, text=_TEXT)),
            "level": {"type": "number"},
            "false_alarms": schema_of_type(FalseAlarms),
            "intervals": _TEXT,
            "measures": _list(figure),
            "pull_curve": schema_of_type(ComparedPull | None),
            "cautions": _list(schema_of_type(Caution)),
            "not_measured": _list(_TEXT),
            "modes": {"anyOf": [_list(_TEXT), {"type": "null"}]},
            "predicted": {"anyOf": [predicted, {"type": "null"}]},
        },
    )


def options_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of what ``ridelog options`` writes."""
    thing: dict[str, Any] = {"type": "object"}
    option = schema_of_type(OptionRecord)
    return _document(
        OPTIONS_SCHEMA,
        "Changes side by side, predicted from the same machine: what ridelog options writes. SI "
        "units; difference is to the machine as it is.",
        {
            SHARED: thing,
            "rides": _list(_source()),
            "round_in": {"enum": list(SPEED_UNITS)},
            "setup": thing,
            "windows": _list(_TEXT),
            "conditions": thing,
            "level": {"type": "number"},
            "currency": _TEXT,
            "now": _list(schema_of_type(OptionFigure)),
            "cautions_now": _list(schema_of_type(Caution)),
            "options": _list(option) | {"minItems": 2, "maxItems": 6},
            "ends": _list(schema_of_type(FigureEnds)),
            "notes": _list(_TEXT),
        },
    )


MADE = {
    RIDE_SCHEMA: ride_schema,
    SIGNAL_SCHEMA: signal_schema,
    COMPARE_SCHEMA: compare_schema,
    OPTIONS_SCHEMA: options_schema,
}


def stored_text(name: str) -> str:
    """Return a made schema as it is stored."""
    return json.dumps(MADE[name](), indent=1, ensure_ascii=False) + "\n"


def _document(
    name: str, title: str, properties: dict[str, Any], optional: dict[str, Any] | None = None
) -> dict[str, Any]:
    head = {"schema": {"const": name}, "ridelog_version": _TEXT}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:" + name.replace(".", ":").replace("/", ":"),
        "title": title,
        "$defs": {"estimate": ESTIMATE_SCHEMA},
        "type": "object",
        "required": [*head, *properties],
        "properties": {**head, **(optional or {}), **properties, FIELD: _DIGEST},
    }


def _object(**properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "required": list(properties), "properties": properties}


def _list(items: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": items}


def _source() -> dict[str, Any]:
    schema = schema_of_type(RideSource)
    schema["properties"] |= {
        "sha256": _DIGEST,
        "format": {"enum": ["gpx-1.0", "gpx-1.1", "nmea-0183", "ubx", "fit", "tcx", "csv"]},
        "start_utc": _UTC,
        "end_utc": _UTC,
        "speed_source": {"enum": ["reported", "positions"]},
    }
    return schema


if __name__ == "__main__":
    for each in MADE:
        stored = each.removeprefix("ridelog.").replace("/", "-") + ".json"
        (Path(__file__).parent / "schemas" / stored).write_text(stored_text(each), "utf-8")
