"""Results as JSON objects: SI units, null where nothing can be said, never NaN."""

import json
import math
from importlib.resources import files
from typing import Any

from ridelog import __version__
from ridelog.analysis.braking.json import (
    brakings_json,
    coasting_json,
    phases_json,
    stopping_json,
)
from ridelog.analysis.cautions import Caution
from ridelog.analysis.handling.json import handling_json
from ridelog.analysis.launches.json import launches_json, pull_json
from ridelog.analysis.reverse.json import reverse_json
from ridelog.analysis.ride import RideResult, RideSource
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.top_speed.measure import TopSpeed
from ridelog.present.digest import sealed

# Named here too for those who know them from here.
from ridelog.present.json import estimate_json as estimate_json
from ridelog.present.json import number as number

RIDE_SCHEMA = "ridelog.ride/1"
SIGNAL_SCHEMA = "ridelog.signal/1"
COMPARE_SCHEMA = "ridelog.compare/1"
PREDICT_SCHEMA = "ridelog.predict/1"
_SCHEMA_FILES = {
    RIDE_SCHEMA: "ride-1.json",
    SIGNAL_SCHEMA: "signal-1.json",
    COMPARE_SCHEMA: "compare-1.json",
    "ridelog.verify/1": "verify-1.json",
    PREDICT_SCHEMA: "predict-1.json",
}


def ride_json(result: RideResult) -> dict[str, Any]:
    """Return one ride as the object that scripts read."""
    return {
        "schema": RIDE_SCHEMA,
        "ridelog_version": __version__,
        "settings": result.settings.as_json(),
        "source": source_json(result.source),
        "signal": _signal_part(result.signal),
        "top_speed": _top_speed(result.top_speed),
        **launches_json(result.launches),
        "pull": pull_json(result.pull),
        "reverse": reverse_json(result.reverse),
        "brakings": brakings_json(result.brakings),
        "brakings_reason": result.brakings.reason,
        "stopping": stopping_json(result.stopping),
        "coasting": coasting_json(result.coasting),
        "phases": phases_json(result.phases),
        "handling": handling_json(result.handling),
        "cautions": [caution_json(caution) for caution in result.cautions],
        "warnings": list(result.warnings),
        "history": list(result.history),
    }


def signal_json(source: RideSource, signal: SignalQuality) -> dict[str, Any]:
    """Return how good a log is as the object that scripts read."""
    return {
        "schema": SIGNAL_SCHEMA,
        "ridelog_version": __version__,
        "source": source_json(source),
        "signal": _signal_part(signal),
    }


def source_json(source: RideSource) -> dict[str, Any]:
    """Return the log behind a result as a JSON object."""
    return {
        "file": source.file,
        "sha256": source.sha256,
        "format": source.format,
        "fixes_read": source.fixes_read,
        "fixes_used": source.fixes_used,
        "start_utc": source.start_utc,
        "end_utc": source.end_utc,
        "date_known": source.date_known,
        "duration_s": source.duration_s,
        "rate_hz": number(source.rate_hz),
        "speed_source": source.speed_source,
    }


def caution_json(caution: Caution) -> dict[str, Any]:
    """Return one caution as a JSON object."""
    return {
        "code": caution.code,
        "text": caution.text,
        "value": caution.value,
        "limit": caution.limit,
        "source": caution.source,
        "general": caution.general,
    }


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
    text = (files("ridelog.report") / "schemas" / _SCHEMA_FILES[name]).read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def _signal_part(signal: SignalQuality) -> dict[str, Any]:
    return {
        "grade": signal.grade,
        "verdict": signal.verdict,
        "usable_share": signal.usable_share,
        "settled_s": number(signal.settled_s),
        "reason": "" if math.isfinite(signal.settled_s) else "the receiver never settled",
        "longest_step_s": number(signal.longest_step_s),
        "speed_sd_mps": number(signal.speed_sd_mps),
        "hdop_median": number(signal.hdop_median),
        "satellites_median": number(signal.satellites_median),
        "void_epochs": signal.void_epochs,
        "gaps": [{"start_s": start, "end_s": end} for start, end in signal.gaps],
        "counts": signal.counts,
        "supports": list(signal.supports),
        "cannot_support": list(signal.cannot_support),
    }


def _top_speed(top: TopSpeed) -> dict[str, Any]:
    return {
        "best_1s_mps": estimate_json(top.best_1s),
        "best_5s_mps": estimate_json(top.best_5s),
        "at_s": number(top.at_s),
        "raw_peak_mps": number(top.raw_peak_mps),
        "raw_peak_kind": top.raw_peak_kind,
        "two_way_mps": estimate_json(top.two_way),
        "two_way_runs": [
            {
                "start_s": run.start_s,
                "end_s": run.end_s,
                "course_deg": run.course_deg,
                "speed_mps": run.speed.as_json(),
            }
            for run in top.runs
        ],
        "reason": top.reason,
    }
