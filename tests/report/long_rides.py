"""A ride repeated until it is an hour long, for tests of size and speed."""

from dataclasses import fields, replace
from typing import Any

import numpy as np

from ridelog.core.track import Track
from ridelog.filtering.motion import Motion


def hour_of(motion: Motion) -> Motion:
    """Return at least 36,000 rows of the same motion over and over."""
    times = -(-36_000 // len(motion.track))
    length_s = float(motion.track.time_s[-1]) + 0.1
    track_arrays = _tiled(motion.track, times)
    track_arrays["time_s"] = track_arrays["time_s"] + np.repeat(
        np.arange(times) * length_s, len(motion.track)
    )
    track = replace(motion.track, **track_arrays)
    return replace(motion, track=track, **_tiled(motion, times))


def _tiled(record: Motion | Track, times: int) -> dict[str, Any]:
    values = {field.name: getattr(record, field.name) for field in fields(record)}
    return {
        name: np.tile(value, times)
        for name, value in values.items()
        if isinstance(value, np.ndarray)
    }
