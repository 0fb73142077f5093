"""The quality of the log as the JSON object that scripts read."""

import math
from typing import Any

from ridelog.analysis.signal.measure import SignalQuality
from ridelog.present.json import number


def signal_json(signal: SignalQuality) -> dict[str, Any]:
    """Return how good a log is."""
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
