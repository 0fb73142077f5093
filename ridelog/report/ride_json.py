"""Results as JSON objects: SI units, null where nothing can be said, never NaN."""

import json
from importlib.resources import files
from typing import Any

from ridelog import __version__
from ridelog.analysis.ride import SUBJECTS
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.subject import Caution, MeasuredRide, RideSource
from ridelog.core.units import SI
from ridelog.present.digest import sealed

# Named here too for those who know them from here.
from ridelog.present.json import as_json
from ridelog.present.json import estimate_json as estimate_json
from ridelog.present.json import number as number

RIDE_SCHEMA = "ridelog.ride/2"
SIGNAL_SCHEMA = "ridelog.signal/2"
COMPARE_SCHEMA = "ridelog.compare/1"
PREDICT_SCHEMA = "ridelog.predict/1"


def ride_json(ride: MeasuredRide) -> dict[str, Any]:
    """Return one ride as the object that scripts read."""
    return {
        "schema": RIDE_SCHEMA,
        "ridelog_version": __version__,
        "settings": ride.settings.as_json(),
        "source": source_json(ride.source),
        **{
            key: as_json(part)
            for subject in SUBJECTS
            for key, part in subject.document(ride).items()
        },
        "figures": [
            {
                "name": figure.name,
                "title": figure.title_in(SI),
                "unit": figure.quantity.si,
                "value": as_json(figure.firm),
                "reason": figure.why_none,
            }
            for figure in ride.figures.values()
        ],
        "cautions": [caution_json(caution) for caution in ride.cautions],
        "warnings": list(ride.warnings),
        "history": list(ride.history),
    }


def signal_json(source: RideSource, signal: SignalQuality) -> dict[str, Any]:
    """Return how good a log is as the object that scripts read."""
    return {
        "schema": SIGNAL_SCHEMA,
        "ridelog_version": __version__,
        "source": source_json(source),
        "signal": as_json(signal),
    }


def source_json(source: RideSource) -> dict[str, Any]:
    """Return the log behind a result as a JSON object."""
    record: dict[str, Any] = as_json(source)
    return record


def caution_json(caution: Caution) -> dict[str, Any]:
    """Return one caution as a JSON object."""
    record: dict[str, Any] = as_json(caution)
    return record


def to_bytes(document: dict[str, Any]) -> bytes:
    """Return a JSON document as UTF-8, with the digest of its content, and a newline at the end.

    Raises
    ------
    ValueError
        If a number in it is not finite: that is a mistake in ridelog, never written to a file.
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
