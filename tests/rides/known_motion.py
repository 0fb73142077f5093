"""A ride whose motion is known by formula, as if a receiver and its smoother had erred by nothing.

Speeds run in straight lines between knots, so that means, distances and times can be worked out by
hand; the drawn paths are the same ride, faster or slower by a chosen error. Measurements of a
``Motion`` can be held against that without a log being smoothed.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from ridelog.core.geodesy import from_local
from ridelog.core.track import FloatArray, Source, Track
from ridelog.filtering.motion import Motion, NoiseSummary, Paths, Piece

ORIGIN_DEG = (52.0, 9.0)
_FINE_S = 0.01


@dataclass(frozen=True)
class _Known:
    """The truth on a fine grid; a speed below zero goes backwards."""

    time_s: FloatArray
    velocity_mps: FloatArray
    position_m: FloatArray
    error_mps: float

    def at(self, time_s: FloatArray, values: FloatArray) -> FloatArray:
        return np.stack([np.interp(time_s, self.time_s, each) for each in values.T], axis=1)

    def paths(self, start_s: float, end_s: float, draws: int, spacing_s: float) -> Paths:
        """Return the truth, and as draws the truth at a little less speed and a little more."""
        count = int(np.floor((end_s - start_s) / spacing_s + 1e-6)) + 1
        time_s: FloatArray = start_s + spacing_s * np.arange(count, dtype=np.float64)
        # Of one deviation, slower and faster in turn.
        errors = self.error_mps * np.append(0.0, np.tile(np.resize([-1.0, 1.0], draws), 2))
        velocity = self.at(time_s, self.velocity_mps)
        speed = np.hypot(*velocity.T)[:, None]
        unit = velocity / np.where(speed > 1e-9, speed, 1.0)
        drawn = velocity[:, :, None] + unit[:, :, None] * errors
        gone = self.at(time_s, self.position_m)
        moved = (time_s - time_s[0])[:, None, None] * unit[:, :, None] * errors
        accel = np.gradient(velocity, spacing_s, axis=0)
        return Paths(
            time_s, gone[:, :, None] + moved, drawn, np.repeat(accel[:, :, None], len(errors), 2)
        )


def known_motion(
    knots: list[tuple[float, float]],
    *,
    turns: list[tuple[float, float]] | None = None,
    rate_hz: float = 10.0,
    sd_mps: float = 0.02,
    error_mps: float = 0.05,
    pieces: list[tuple[float, float]] | None = None,
    **changes: Any,
) -> Motion:
    """Return a ride through (time, speed) knots; ``turns`` are (time, course in degrees) ones.

    It starts north. ``pieces`` are the spans that the log covers, all if left out; ``changes`` are
    fields of the motion.
    """
    knot_s, speeds = np.array(knots).T
    fine_s = np.arange(knot_s[0], knot_s[-1] + 0.5 * _FINE_S, _FINE_S)
    speed = np.interp(fine_s, knot_s, speeds)
    when_s, course_deg = np.array(turns or [(0.0, 0.0)]).T
    course = np.radians(np.interp(fine_s, when_s, course_deg))
    velocity = speed[:, None] * np.stack([np.sin(course), np.cos(course)], axis=1)
    steps = 0.5 * _FINE_S * (velocity[1:] + velocity[:-1])
    position = np.concatenate([np.zeros((1, 2)), np.cumsum(steps, axis=0)])
    known = _Known(fine_s, velocity, position, error_mps)
    spans = pieces or [(float(knot_s[0]), float(knot_s[-1]))]
    time_s = np.arange(knot_s[0], knot_s[-1] + 1e-6, 1.0 / rate_hz)
    time_s = time_s[np.any([(time_s > a - 1e-6) & (time_s < b + 1e-6) for a, b in spans], axis=0)]
    here = known.at(time_s, velocity)
    place = known.at(time_s, position)
    accel = known.at(time_s, np.gradient(velocity, _FINE_S, axis=0))
    over_ground = np.hypot(*here.T)
    turned = np.interp(time_s, fine_s, np.gradient(course, _FINE_S))
    n = len(time_s)
    nothing, zero = np.full(n, np.nan), np.zeros(n, dtype=np.int64)
    latitude, longitude = from_local(place[:, 0], place[:, 1], *ORIGIN_DEG)
    track = Track(
        source=Source("known.gpx", "0" * 64, "gpx-1.1", 0),
        start_utc=datetime(2024, 6, 8, tzinfo=UTC), date_known=True, time_s=time_s,
        latitude_deg=latitude, longitude_deg=longitude,
        height_m=np.full(n, 80.0), speed_mps=over_ground.copy(),
        course_rad=np.arctan2(*here.T) % (2.0 * np.pi), hdop=nothing.copy(),
        satellites=nothing.copy(), fix_kind=zero.copy(), position_sd_m=nothing.copy(),
        speed_sd_mps=nothing.copy(), source_line=zero + np.arange(1, n + 1), segment=zero.copy(),
        flags=np.zeros(n, dtype=np.uint32),
    )  # fmt: skip
    along = np.sum(here * accel, axis=1) / np.where(over_ground > 1e-9, over_ground, 1.0)
    gaps = tuple((a[1], b[0]) for a, b in zip(spans, spans[1:], strict=False))
    motion = Motion(
        track=track, flags=np.zeros(n, dtype=np.uint32), used=np.ones(n, dtype=bool),
        origin_deg=ORIGIN_DEG, east_m=place[:, 0], north_m=place[:, 1],
        velocity_east_mps=here[:, 0], velocity_north_mps=here[:, 1], speed_mps=over_ground,
        speed_sd_mps=np.full(n, sd_mps), accel_mps2=along, accel_sd_mps2=np.full(n, 0.1),
        yaw_rate_radps=turned, course_rad=np.arctan2(*here.T),
        pieces=tuple(Piece(*span) for span in spans), gaps=gaps, settled_s=float(time_s[0]),
        settling_factor=float("nan"), rate_hz=rate_hz, speed_source="reported",
        noise=NoiseSummary(0.1, 0.05, 0.03, 0.02), history=(), warnings=(), posterior=known,
    )  # fmt: skip
    return replace(motion, **changes)
