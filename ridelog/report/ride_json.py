"""Results as JSON: SI units, null where nothing can be said; what changed between two."""

import json
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from ridelog import __version__
from ridelog.analysis.ride import SUBJECTS
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.subject import MeasuredRide, RideSource
from ridelog.core.units import SI
from ridelog.present.json import as_json, sealed

RIDE_SCHEMA = "ridelog.ride/2"
SIGNAL_SCHEMA = "ridelog.signal/2"
COMPARE_SCHEMA = "ridelog.compare/1"
PREDICT_SCHEMA = "ridelog.predict/1"
OPTIONS_SCHEMA = "ridelog.options/1"


def ride_json(ride: MeasuredRide) -> dict[str, Any]:
    """Return one ride as the object that scripts read."""
    return {
        "schema": RIDE_SCHEMA,
        "ridelog_version": __version__,
        "settings": ride.settings.as_json(),
        "source": as_json(ride.source),
        **{
            key: as_json(part)
            for subject in SUBJECTS
            for key, part in subject.document(ride).items()
        },
        "figures": _listed(ride),
        "modes": [
            {"name": mode.name, "spans": as_json(mode.spans), "figures": _listed(mode.ride)}
            for mode in ride.modes
        ],
        "cautions": as_json(ride.cautions),
        "warnings": list(ride.warnings),
        "history": list(ride.history),
    }


def _listed(ride: MeasuredRide) -> list[dict[str, Any]]:
    return [
        {
            "name": figure.name,
            "title": figure.title_in(SI),
            "unit": figure.quantity.si,
            "value": as_json(figure.firm),
            "reason": figure.why_none,
        }
        for figure in ride.figures.values()
    ]


def read_with(columns: str) -> dict[str, Any]:
    """Return the member that tells how a table was read, none for a log whose head says it all.

    It is a part of what ``Settings`` are in a result of rides. ``columns`` is that of ``Settings``.
    """
    return {"settings": {"columns": columns}} if columns else {}


def signal_json(source: RideSource, signal: SignalQuality, columns: str = "") -> dict[str, Any]:
    """Return how good a log is as the object that scripts read.

    ``columns`` is that of ``Settings`` with which the log was read.
    """
    return {
        "schema": SIGNAL_SCHEMA,
        "ridelog_version": __version__,
        **read_with(columns),
        "source": as_json(source),
        "signal": as_json(signal),
    }


def to_bytes(document: dict[str, Any]) -> bytes:
    """Return a JSON document as UTF-8, with the digest of its content, and a newline at the end.

    ValueError if a number in it is not finite: that is a mistake in ridelog, never written to a
    file.
    """
    text = json.dumps(document, allow_nan=False, ensure_ascii=False)
    # A file name may hold a byte that is no UTF-8; it becomes a question mark.
    plain = json.loads(text.encode("utf-8", errors="replace"))
    text = json.dumps(sealed(plain), allow_nan=False, ensure_ascii=False, indent=1)
    return (text + "\n").encode("utf-8")


def schema_of(name: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of an object by its ``schema`` value."""
    stored = name.removeprefix("ridelog.").replace("/", "-") + ".json"
    text = (files("ridelog.report") / "schemas" / stored).read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


# A record of the result that tells what made it, not what was found.
_NOT_FIGURES = ("ridelog_version", "history", "warnings", "settings", "cautions")


@dataclass(frozen=True)
class Change:
    """One figure that came out different; None where a result does not hold it."""

    name: str
    before: float | str | None
    after: float | str | None


def changed_figures(before: dict[str, Any], after: dict[str, Any]) -> tuple[Change, ...]:
    """Return the figures that differ between two results, in the order of their names.

    Both are ``ridelog.ride/2`` objects of one ride.
    """
    one, two = dict(_figures(before, "")), dict(_figures(after, ""))
    return tuple(
        Change(name, one.get(name), two.get(name))
        for name in sorted(one.keys() | two.keys())
        if one.get(name) != two.get(name)
    )


def _figures(part: Any, name: str) -> list[tuple[str, float | str]]:
    if isinstance(part, dict):
        return [
            figure
            for key, value in part.items()
            if name or key not in _NOT_FIGURES
            for figure in _figures(value, f"{name}.{key}" if name else key)
        ]
    if isinstance(part, list):
        return [
            figure
            for index, value in enumerate(part)
            for figure in _figures(value, f"{name}[{index}]")
        ]
    # Sentences are no figures, but short words such as the state of reverse are answers.
    if isinstance(part, str):
        return [(name, part)] if len(part) < 30 else []
    if isinstance(part, int | float):
        return [(name, float(part))]
    return []
