"""The JSON Schemas of a ride and of a signal, made from the records that the results hold.

``python -m ridelog.report.schema`` writes them to ``schemas/``; a test holds them equal.
"""

import json
from pathlib import Path
from typing import Any

from ridelog.analysis.ride import SUBJECTS
from ridelog.analysis.settings import Settings
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.subject import Caution, RideSource
from ridelog.present.digest import FIELD
from ridelog.present.json import ESTIMATE_SCHEMA, schema_of_type
from ridelog.report.ride_json import RIDE_SCHEMA, SIGNAL_SCHEMA

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
            "figures": {"type": "array", "items": _FIGURE},
            "cautions": {"type": "array", "items": schema_of_type(Caution)},
            "warnings": {"type": "array", "items": _TEXT},
            "history": {"type": "array", "items": _TEXT},
        },
    )


def signal_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of what ``ridelog signal`` writes."""
    return _document(
        SIGNAL_SCHEMA,
        "How good one log is: what ridelog signal writes. SI units.",
        {"source": _source(), "signal": schema_of_type(SignalQuality)},
    )


MADE = {RIDE_SCHEMA: ride_schema, SIGNAL_SCHEMA: signal_schema}


def stored_text(name: str) -> str:
    """Return a made schema as it is stored."""
    return json.dumps(MADE[name](), indent=1, ensure_ascii=False) + "\n"


def _document(name: str, title: str, properties: dict[str, Any]) -> dict[str, Any]:
    head = {"schema": {"const": name}, "ridelog_version": _TEXT}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "urn:" + name.replace(".", ":").replace("/", ":"),
        "title": title,
        "$defs": {"estimate": ESTIMATE_SCHEMA},
        "type": "object",
        "required": [*head, *properties],
        "properties": {**head, **properties, FIELD: _DIGEST},
    }


def _source() -> dict[str, Any]:
    schema = schema_of_type(RideSource)
    schema["properties"] |= {
        "sha256": _DIGEST,
        "format": {"enum": ["gpx-1.0", "gpx-1.1", "nmea-0183"]},
        "start_utc": _UTC,
        "end_utc": _UTC,
        "speed_source": {"enum": ["reported", "positions"]},
    }
    return schema


if __name__ == "__main__":
    for each in MADE:
        stored = each.removeprefix("ridelog.").replace("/", "-") + ".json"
        (Path(__file__).parent / "schemas" / stored).write_text(stored_text(each), "utf-8")
