"""Short rides of every kind of log, whose figures are kept: each a ride, a receiver, a habit.

They come from ``own_rides``; what a receiver does beyond it is done to what was read of its log.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from own_rides import (
    STEP_S,
    Array,
    Kind,
    Ride,
    backed,
    braking,
    drive,
    pace_held,
    pulling,
    rest,
    ridden,
    ride_of,
    written,
)

from ridelog.core.track import Track
from ridelog.importer import load_track

SEED = 20261130
Change = Callable[[Track, np.random.Generator], Track]
# Forces per mass of one machine: rolling and air. [m/s²], [1/m]
_ROLLING, _AIR = 0.2, 0.004
# One window each of speed and of way tells of starts as much as the usual five.
_TWO: dict[str, Any] = {"windows": ("0-20 km/h", "0-30 m")}


def several(random: np.random.Generator) -> Ride:
    """Return three starts one way, each braked to rest, the brakes unlike."""
    speed, course, head = _standing(random, 5.0)
    for hard in (2.0, 3.0, 4.5):
        drive(speed, course, head, random.uniform(5.0, 6.5), _pull(random))
        drive(speed, course, head, 30.0, braking(hard, 0.2, _ROLLING))
        rest(speed, course, head, random.uniform(3.0, 4.0))
    return ride_of(speed, course, {})


def turning(random: np.random.Generator) -> Ride:
    """Return a ride of one circle to the right and a bend to the left, at a steady pace."""
    speed, course, head = _standing(random, 5.0)
    for radius_m, angle in ((np.inf, 0.0), (6.0, 2.0 * np.pi), (np.inf, 0.0), (-9.0, 2.0)):
        long_s = 4.0 if np.isinf(radius_m) else radius_m * angle / 3.5 * np.sign(radius_m)
        begin = len(speed)
        drive(speed, course, head, abs(long_s), pace_held(3.5, 1.5))
        gone = np.cumsum(speed[begin:]) * STEP_S
        course[begin:] = list(head + gone / radius_m)
        head = course[-1]
    drive(speed, course, head, 30.0, braking(2.0, 0.3, _ROLLING))
    rest(speed, course, head, 4.0)
    return ride_of(speed, course, {})


def rolled_out(random: np.random.Generator) -> Ride:
    """Return a pull after which the machine rolls, out and back."""
    speed, course, head = _standing(random, 5.0)
    for _ in (0, 1):
        drive(speed, course, head, 7.0, _pull(random))
        drive(speed, course, head, 14.0, lambda time_s, v: -_ROLLING - _AIR * v**2)
        drive(speed, course, head, 30.0, braking(2.5, 0.2, _ROLLING))
        rest(speed, course, head, 4.0)
        head += np.pi
    return ride_of(speed, course, {})


def walked(random: np.random.Generator) -> Ride:
    """Return a minute at walking pace."""
    speed, course, head = _standing(random, 1.0)
    drive(speed, course, head, 70.0, pace_held(1.2, 0.8))
    return ride_of(speed, course, {})


def _standing(random: np.random.Generator, long_s: float) -> tuple[list[float], list[float], float]:
    """Return speeds and courses of a stand with which a ride begins, and where it heads."""
    speed: list[float] = []
    course: list[float] = []
    head = random.uniform(0.0, 2.0 * np.pi)
    rest(speed, course, head, long_s)
    return speed, course, head


def _pull(random: np.random.Generator) -> Callable[[float, float], float]:
    return pulling(random.uniform(0.1, 0.4), 2.2, 9.0, _ROLLING, _AIR, 0.0)


def _aside(track: Track, east_m: Array, north_m: Array) -> Track:
    """Return a log with its positions moved."""
    per_degree_m = 111_320.0
    east = east_m / (per_degree_m * np.cos(np.radians(track.latitude_deg)))
    return replace(
        track,
        latitude_deg=track.latitude_deg + north_m / per_degree_m,
        longitude_deg=track.longitude_deg + east,
    )


def _rows(track: Track, kept: np.ndarray) -> Track:
    arrays = {k: v[kept] for k, v in vars(track).items() if isinstance(v, np.ndarray)}
    return replace(track, **arrays)


def coarse(track: Track, random: np.random.Generator) -> Track:
    """Five decimals of a degree, whole km/h."""
    return replace(
        track,
        latitude_deg=np.round(track.latitude_deg, 5),
        longitude_deg=np.round(track.longitude_deg, 5),
        speed_mps=np.round(track.speed_mps * 3.6) / 3.6,
    )


def climbing(track: Track, random: np.random.Generator) -> Track:
    """Heights of a hill, with errors that stay a while."""
    hill = 60.0 + 2.0 * np.sin(track.time_s / 9.0)
    error = np.cumsum(random.normal(0.0, 0.05, len(track)))
    return replace(track, height_m=np.round(hill + error, 1))


def spiked(track: Track, random: np.random.Generator) -> Track:
    """Speeds of a rider's pace while it stands, and positions far off."""
    speed, aside = track.speed_mps.copy(), np.zeros(len(track))
    speed[[12, 32]] = 3.0, 5.0
    aside[[18, 200]] = 9.0, -25.0
    return _aside(replace(track, speed_mps=speed), aside, 0.0 * aside)


def slid_in(track: Track, random: np.random.Generator) -> Track:
    """Positions that come in from aside in the first seconds."""
    away = 20.0 * np.exp(-track.time_s / 1.5)
    return _aside(track, away, -0.6 * away)


def paused(track: Track, random: np.random.Generator) -> Track:
    """No fix for 12 s while it rides, and for half a second before."""
    t = track.time_s
    return _rows(track, ((t < 17.0) | (t > 29.0)) & ((t < 12.0) | (t > 12.5)))


def behind(track: Track, random: np.random.Generator) -> Track:
    """A speed and course told a quarter of a second late."""
    late = track.time_s - 0.25
    way = np.interp(late, track.time_s, np.unwrap(track.course_rad))
    speed = np.interp(late, track.time_s, track.speed_mps)
    return replace(track, speed_mps=speed, course_rad=way % (2.0 * np.pi))


def long_behind(track: Track, random: np.random.Generator) -> Track:
    """A speed told half a second late."""
    return behind(behind(track, random), random)


def without_course(track: Track, random: np.random.Generator) -> Track:
    """A speed without its course."""
    return replace(track, course_rad=np.full(len(track), np.nan))


def higher(track: Track, random: np.random.Generator) -> Track:
    """A speed told 0.4 m/s too high while it rides."""
    riding = track.speed_mps > 1.0
    return replace(track, speed_mps=track.speed_mps + 0.4 * riding)


def wandering(track: Track, random: np.random.Generator) -> Track:
    """Positions that walk by half a metre in a second."""
    sd_m = 0.5 * np.sqrt(np.gradient(track.time_s))
    return _aside(track, *np.cumsum(sd_m * random.normal(size=(2, len(track))), axis=1))


def held_still(track: Track, random: np.random.Generator) -> Track:
    """A receiver that says nought and keeps its place when it is slow."""
    still = track.speed_mps < 0.35
    last = np.maximum.accumulate(np.where(still, 0, np.arange(len(track))))
    return replace(
        track,
        speed_mps=np.where(still, 0.0, track.speed_mps),
        latitude_deg=track.latitude_deg[last],
        longitude_deg=track.longitude_deg[last],
    )


def stated(track: Track, random: np.random.Generator) -> Track:
    """Sizes of its errors that the receiver tells, and errors as large for a while."""
    worse: Array = np.where(np.abs(track.time_s - 20.0) < 4.0, 5.0, 1.0)
    errors = 0.3 * (worse - 1.0) * random.normal(size=(2, len(track)))
    return replace(
        _aside(track, *errors),
        position_sd_m=0.3 * worse,
        speed_sd_mps=0.06 * worse,
        speed_mps=np.abs(track.speed_mps + 0.05 * (worse - 1.0) * random.normal(size=len(track))),
    )


def scaled(track: Track, random: np.random.Generator) -> Track:
    """A speed that is told too high by a fiftieth throughout."""
    return replace(track, speed_mps=1.02 * track.speed_mps)


def bare(track: Track, random: np.random.Generator) -> Track:
    """No speed told after all."""
    none = np.full(len(track), np.nan)
    return replace(track, speed_mps=none, course_rad=none.copy())


def contradicted(track: Track, random: np.random.Generator) -> Track:
    """A speed that is told too high by an eighth in one pull."""
    high = np.where(np.abs(track.time_s - 30.0) < 8.0, 1.125, 1.0)
    return replace(track, speed_mps=track.speed_mps * high)


def averaged(track: Track, random: np.random.Generator) -> Track:
    """Positions that are means of five fixes."""
    five = np.ones(5) / 5.0
    lat, lon = (
        np.convolve(np.pad(one - one[0], 2, mode="edge"), five, mode="valid") + one[0]
        for one in (track.latitude_deg, track.longitude_deg)
    )
    return replace(track, latitude_deg=lat, longitude_deg=lon)


def displaced(track: Track, random: np.random.Generator) -> Track:
    """Some fixes in a row that lie aside by the same."""
    aside = np.zeros(len(track))
    for at, count, way_m in ((60, 2, 2.0), (90, 3, -3.0), (130, 4, 2.5)):
        aside[at : at + count] = way_m
    return _aside(track, aside, 0.5 * aside)


def displaced_once(track: Track, random: np.random.Generator) -> Track:
    """Three fixes a second apart that lie aside by the same, and one alone."""
    row = np.arange(len(track))
    aside = np.where((row >= 18) & (row < 21), 7.0, np.where(row == 45, -9.0, 0.0))
    return _aside(track, aside, 0.5 * aside)


def improving(track: Track, random: np.random.Generator) -> Track:
    """HDOP that falls and satellites that come while errors become small."""
    bad = np.exp(-track.time_s / 3.0)
    errors = 3.0 * bad * random.normal(size=(2, len(track)))
    return replace(
        _aside(track, *errors),
        hdop=np.round(0.8 + 7.0 * bad, 1),
        satellites=np.round(12.0 - 8.0 * bad),
    )


@dataclass(frozen=True)
class KeptRide:
    """A ride, the receiver that logs it, what that one does besides, and what is asked of it."""

    name: str
    ridden: Callable[[np.random.Generator], Ride]
    rate_hz: float
    reports: bool
    changes: Sequence[Change] = ()
    settings: dict[str, Any] = field(default_factory=lambda: _TWO)

    def track(self, folder: Path) -> Track:
        """Return its log as it is read, from files in a folder."""
        random = np.random.default_rng([SEED, *self.name.encode()])
        # Both formats take turns; only one has heights.
        nmea = len(self.name) % 2 == 0
        kind = Kind(self.name, self.rate_hz, self.reports, nmea)
        track = load_track(written(self.ridden(random), kind, random, folder))
        for change in self.changes:
            track = change(track, random)
        return track


_TOLD, _BARE = True, False
RIDES = (
    KeptRide("ten a second", ridden, 10, _TOLD, (), {}),
    KeptRide("five a second", ridden, 5, _TOLD),
    KeptRide("two and a half a second", ridden, 2.5, _TOLD, (climbing,)),
    KeptRide("one a second", ridden, 1, _TOLD),
    KeptRide("ten places a second", ridden, 10, _BARE),
    KeptRide("five places a second", ridden, 5, _BARE, (climbing,)),
    KeptRide("one place a second", ridden, 1, _BARE, (), {}),
    KeptRide("backwards", backed, 10, _TOLD, (), {"rollout_m": 0.3, **_TWO}),
    KeptRide("backwards by places", backed, 5, _BARE),
    KeptRide("starts", several, 10, _TOLD, (), {"windows": ("0-15 km/h", "0-10 m", "5-15 km/h")}),
    KeptRide("starts by places", several, 5, _BARE),
    KeptRide("turns", turning, 10, _TOLD, (), {"track_width_m": 1.0, "cg_height_m": 0.5, **_TWO}),
    KeptRide("turns by places", turning, 5, _BARE),
    KeptRide("rolled out", rolled_out, 5, _TOLD),
    KeptRide("coarse", several, 5, _TOLD, (coarse,)),
    KeptRide("coarse places", several, 5, _BARE, (coarse,)),
    KeptRide("spiked", several, 10, _TOLD, (spiked,)),
    KeptRide("slid in", ridden, 5, _BARE, (slid_in,)),
    KeptRide("paused", several, 10, _TOLD, (paused,)),
    KeptRide("behind", several, 10, _TOLD, (behind,)),
    KeptRide("held still", several, 10, _TOLD, (held_still,)),
    KeptRide("places held still", several, 10, _TOLD, (held_still, bare)),
    KeptRide("scaled", ridden, 5, _TOLD, (scaled,)),
    KeptRide("sizes stated", several, 5, _TOLD, (stated,)),
    KeptRide("contradicted", several, 10, _TOLD, (contradicted,)),
    KeptRide("averaged places", several, 10, _BARE, (averaged,)),
    KeptRide("displaced places", several, 10, _BARE, (displaced,)),
    KeptRide("long behind", several, 10, _TOLD, (long_behind,)),
    KeptRide("without a course", turning, 10, _TOLD, (without_course,)),
    KeptRide("higher", ridden, 5, _TOLD, (higher,)),
    KeptRide("wandering at a walk", walked, 2.5, _BARE, (wandering,)),
    KeptRide("displaced places a second apart", ridden, 1, _BARE, (displaced_once,)),
    KeptRide("improving", several, 5, _TOLD, (improving,)),
)
