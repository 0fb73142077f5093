"""Does a false reading become a figure? Stray fixes, pauses and false speeds, on request.

    python tests/suites/false_readings.py [--rides 2000] [--seed S] [--jobs J] [--kinds bump,ramp]
                                          [--record]

Every variant is a ride, simulated or recorded by a real receiver, with one thing made false:

    stray    one fix moved, to 0, 0 or by 100 m to 3,000 km: the first, the last, one beside a pause
             or one within
    pause    15 min to 25 h without a fix, at rest or not, ended at the same place or at another
    step     reported speed false by the same amount for 1 to 10 s while positions go on as before
    bump     the same, rising and falling smoothly
    ramp     the same, rising or falling evenly and ending at once
    still    step, bump or ramp while the machine stands
    rest     a log of nothing but rest, one fix of it moved

A row for each kind and each sort of log: how many variants, how many tell a top speed, and how many
of these claim too much: their interval lies wholly above the truth by more than 5 %. Of a real log
the truth is the upper end of what the unchanged log tells. "Too weak" counts the grade. Ends with 1
if anything claims too much or breaks down.
"""

import argparse
import sys
import traceback
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path

import numpy as np
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset
from record import Record, add_options

from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.errors import RideLogError
from ridelog.core.geodesy import from_local
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

REAL = Path(__file__).resolve().parents[3] / "shared" / "real-tracks"
KINDS = ("stray", "pause", "step", "bump", "ramp", "still", "rest")
SPEED_KINDS = ("step", "bump", "ramp", "still")
# Beyond the truth by this share and this much a claim is false. [m/s]
TOO_MUCH, LEAST_MPS = 1.05, 0.3
_MOST_FIXES = 900
# Longest stretch of a real log that is used, and the least it must hold. Own choices.
_LEAST_FIXES = 60


@dataclass(frozen=True)
class Base:
    """A ride before anything is made false; truths in m/s, None where it has none."""

    name: str
    track: Track
    one_mps: float
    five_mps: float | None
    both_mps: float | None


@dataclass(frozen=True)
class Variant:
    """What became of one variant."""

    kind: str
    log: str
    told: bool
    grade: str
    excess: float
    trouble: str
    what: str


def cut(track: Track, first: int, stop: int) -> Track:
    """Return some rows of a track in a row."""
    return _with(track, {name: getattr(track, name)[first:stop].copy() for name in ARRAYS})


ARRAYS = (
    "time_s", "latitude_deg", "longitude_deg", "height_m", "speed_mps", "course_rad", "hdop",
    "satellites", "fix_kind", "position_sd_m", "speed_sd_mps", "source_line", "segment", "flags",
)  # fmt: skip


def _with(track: Track, arrays: dict[str, np.ndarray]) -> Track:
    return replace(track, **arrays)  # type: ignore[arg-type]  # names and types of the fields


@cache
def real_bases(folder: Path) -> tuple[Base, ...]:
    """Return the real logs that tell a top speed, cut short."""
    found = []
    for path in sorted([*folder.glob("gpx/*"), *folder.glob("nmea/*")]):
        try:
            track = load_track(path)
            track = cut(track, 0, _MOST_FIXES) if len(track) > _MOST_FIXES else track
            motion = estimate_motion(track)
            top = measure_top_speed(motion)
        except (RideLogError, np.linalg.LinAlgError):
            continue
        if len(track) < _LEAST_FIXES or top.best_1s_mps is None:
            continue
        five, both = top.best_5s_mps, top.two_way_mps
        found.append(
            Base(
                path.name, track, top.best_1s_mps.high, five.high if five else None,
                both.high if both else None,
            )
        )  # fmt: skip
    return tuple(found)


def simulated(rng: np.random.Generator, rate_hz: float, reports: bool) -> Base:
    """Return a random ride and log."""
    ride = out_and_back(rng, passes=2, plateau_s=float(rng.uniform(2.0, 10.0)))
    kind = ("clean", "clean", "drifting")[int(rng.integers(3))]
    receiver = preset(kind, rate_hz, rng, reports_speed=reports)  # type: ignore[arg-type]
    track = to_track(receiver.observe(ride.truth, rng), decimals=int(rng.integers(6, 9)))
    truth, both = ride.truth, ride.truth.two_way()
    five = truth.best_mean_speed(5.0).speed_mps if truth.duration_s > 5.0 else None
    one = truth.best_mean_speed().speed_mps
    return Base("simulated", track, one, five, both.mean_mps if both else None)


def resting(rng: np.random.Generator, rate_hz: float, reports: bool) -> Base:
    """Return a log of nothing but rest, its noise drawn anew."""
    count = int(rng.uniform(30.0, 120.0) * rate_hz)
    base = simulated(rng, rate_hz, reports)
    track = cut(base.track, 0, min(count, len(base.track)))
    n = len(track)
    noise_m = 10.0 ** rng.uniform(-2.0, 0.5)
    east, north = noise_m * rng.standard_normal((2, n))
    speed = np.abs(0.05 * rng.standard_normal(n))
    return Base("rest", _moved(track, east, north, replace_all=True, speed=speed), 0.0, 0.0, 0.0)


def _moved(
    track: Track,
    east_m: FloatArray,
    north_m: FloatArray,
    *,
    replace_all: bool = False,
    speed: FloatArray | None = None,
) -> Track:
    latitude, longitude = track.latitude_deg.copy(), track.longitude_deg.copy()
    origin = float(latitude[0]), float(longitude[0])
    there, across = from_local(east_m, north_m, *origin)
    if replace_all:
        latitude[:], longitude[:] = 0.0, 0.0
    else:
        there, across = there - origin[0], across - origin[1]
    latitude += there
    longitude += across
    longitude = (longitude + 180.0) % 360.0 - 180.0
    known = np.isfinite(track.speed_mps)
    reported = track.speed_mps if speed is None else np.where(known, speed, np.nan)
    return _with(
        track,
        {"latitude_deg": np.clip(latitude, -89.0, 89.0), "longitude_deg": longitude,
         "speed_mps": reported.copy()},
    )  # fmt: skip


def stray(track: Track, rng: np.random.Generator, row: int) -> tuple[Track, str]:
    """Move one fix: to 0, 0 or far away."""
    latitude, longitude = track.latitude_deg.copy(), track.longitude_deg.copy()
    if rng.random() < 0.25:
        latitude[row], longitude[row] = 0.0, 0.0
        return _with(track, {"latitude_deg": latitude, "longitude_deg": longitude}), "to 0, 0"
    away_m = 10.0 ** rng.uniform(2.0, 6.48)
    bearing = rng.uniform(0.0, 2.0 * np.pi)
    degrees = np.degrees(away_m / 6_371_000.0)
    latitude[row] = np.clip(latitude[row] + degrees * np.cos(bearing), -89.0, 89.0)
    longitude[row] = (longitude[row] + degrees * np.sin(bearing) + 180.0) % 360.0 - 180.0
    moved = _with(track, {"latitude_deg": latitude, "longitude_deg": longitude})
    return moved, f"by {away_m:,.0f} m"


def paused(track: Track, rng: np.random.Generator) -> tuple[Track, int, str]:
    """Insert a pause; return the row after it too."""
    row = int(rng.integers(2, len(track) - 2))
    pause_s = float(np.exp(rng.uniform(np.log(900.0), np.log(90_000.0))))
    time_s = track.time_s.copy()
    time_s[row:] += pause_s
    found = _with(track, {"time_s": time_s})
    if rng.random() < 0.3:
        away = rng.uniform(-2000.0, 2000.0, 2)
        after = np.arange(len(track)) >= row
        found = _moved(found, away[0] * after, away[1] * after)
    return found, row, f"{pause_s / 60.0:.0f} min at row {row}"


def false_speed(
    track: Track, rng: np.random.Generator, shape: str, *, still: bool, top_mps: float
) -> tuple[Track, str]:
    """Falsify the reported speed over 1 to 10 s."""
    speed, course = track.speed_mps.copy(), track.course_rad.copy()
    time_s = track.time_s
    places = np.flatnonzero(np.isfinite(speed) & np.isfinite(time_s))
    if still:
        slow = places[speed[places] < 0.3]
        places = slow if len(slow) else places
    length_s = float(rng.uniform(1.0, 10.0))
    start_s = float(time_s[rng.choice(places)]) - (0.5 * length_s if rng.random() < 0.5 else 0.0)
    share = (time_s - start_s) / length_s
    with np.errstate(invalid="ignore"):
        inside = (share >= 0.0) & (share <= 1.0)
    form = {
        "step": np.ones(len(share)),
        "bump": 0.5 - 0.5 * np.cos(2.0 * np.pi * share),
        "ramp": share if rng.random() < 0.5 else 1.0 - share,
    }[shape]
    peak = float(np.exp(rng.uniform(np.log(1.15), np.log(6.0)))) * max(top_mps, 3.0)
    peak = min(peak, 51.0)
    if rng.random() < 0.5:  # to a speed; else by so much
        false = speed + form * np.maximum(peak - speed, 0.0)
    else:
        false = speed + form * (peak - top_mps)
    speed[inside] = np.round(false[inside], 2)
    # A receiver that claims a speed claims a course.
    known = np.isfinite(course)
    fill = course[known][0] if known.any() else 0.0
    course[inside & ~known] = fill
    what = f"{shape} to {peak:.1f} m/s for {length_s:.1f} s at {start_s:.1f} s"
    return _with(track, {"speed_mps": speed, "course_rad": course}), what


def varied(base: Base, kind: str, rng: np.random.Generator) -> tuple[Track, str]:
    """Return the ride with one thing of a kind made false, and what."""
    track = base.track
    if kind in ("stray", "rest"):
        place = ("first", "last", "before a pause", "after a pause", "within")[int(rng.integers(5))]
        row = {"first": 0, "last": len(track) - 1}.get(place, int(rng.integers(1, len(track) - 1)))
        if "pause" in place:
            track, after, _ = paused(track, rng)
            row = after - 1 if place.startswith("before") else after
        track, what = stray(track, rng, row)
        return track, f"{place}, {what}"
    if kind == "pause":
        track, _, what = paused(track, rng)
        return track, what
    shape = ("step", "bump", "ramp")[int(rng.integers(3))] if kind == "still" else kind
    return false_speed(track, rng, shape, still=kind == "still", top_mps=base.one_mps)


def one_variant(kinds: tuple[str, ...], real: Path, seed: int, number: int) -> Variant:
    """Make one variant and see what is told of it."""
    rng = np.random.default_rng([seed, number])
    kind = kinds[number % len(kinds)]
    rate_hz = (1.0, 5.0, 10.0)[int(rng.integers(3))]
    if kind == "pause":
        rate_hz = (1.0, 2.0, 3.0, 5.0, 10.0)[int(rng.integers(5))]
    reports = kind in SPEED_KINDS or bool(rng.random() < 0.5)
    base = (resting if kind == "rest" else simulated)(rng, rate_hz, reports)
    if kind != "rest" and rng.random() < 0.3 and real_bases(real):
        fit = [
            one for one in real_bases(real)
            if kind not in SPEED_KINDS or np.isfinite(one.track.speed_mps).mean() > 0.5
        ]  # fmt: skip
        base = fit[int(rng.integers(len(fit)))]
        reports = bool(np.isfinite(base.track.speed_mps).any())
        log = f"real, {'r' if reports else 'p'}"
    else:
        log = f"{rate_hz:.0f}{'r' if reports else 'p'}"
    if kind == "pause" and base.name == "simulated" and rng.random() < 0.2:
        log, base = "0.5" + log[-1], replace(base, track=_thinned(base.track, rate_hz))
    track, what = varied(base, kind, rng)
    told, grade, excess, trouble = False, "none", -1.0, ""
    try:
        motion = estimate_motion(track)
        grade = judge_signal(motion).grade
        top = measure_top_speed(motion)
    except RideLogError:
        return Variant(kind, log, told, grade, excess, trouble, f"{number} {base.name} {what}")
    except Exception as error:  # that is what is sought
        last = traceback.extract_tb(error.__traceback__)[-1]
        trouble = f"{type(error).__name__}: {error} ({Path(last.filename).name}:{last.lineno})"
        return Variant(kind, log, told, grade, excess, trouble, f"{number} {base.name} {what}")
    for found, truth in (
        (top.best_1s_mps, base.one_mps), (top.best_5s_mps, base.five_mps),
        (top.two_way_mps, base.both_mps),
    ):  # fmt: skip
        if found is None or truth is None or grade == "too weak":
            continue
        told = True
        excess = max(excess, found.low / max(TOO_MUCH * truth, truth + LEAST_MPS) - 1.0)
    return Variant(kind, log, told, grade, excess, trouble, f"{number} {base.name} {what}")


def _thinned(track: Track, rate_hz: float) -> Track:
    step = round(rate_hz / 0.5)
    return _with(track, {name: getattr(track, name)[::step].copy() for name in ARRAYS})


def rows(variants: list[Variant]) -> Iterator[dict[str, str | int | float | None]]:
    """Yield a row for each kind and sort of log, then one for all."""
    groups: dict[tuple[str, str], list[Variant]] = {}
    for one in variants:
        groups.setdefault((one.kind, one.log), []).append(one)
    for (kind, log), some in [*sorted(groups.items()), (("all", "all"), variants)]:
        claims = [one for one in some if one.excess > 0.0]
        yield {
            "false": kind,
            "log": log,
            "variants": len(some),
            "told": sum(one.told for one in some),
            "too weak": sum(one.grade == "too weak" for one in some),
            "claim too much": len(claims),
            "largest excess": max((one.excess for one in claims), default=None),
            "broke down": sum(bool(one.trouble) for one in some),
        }


def main() -> None:
    """Make the variants and count."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=2000, help="variants, of all kinds together")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--real", type=Path, default=REAL, help="folder of real logs")
    add_options(parser, "false_readings")
    chosen = parser.parse_args()
    record = Record("false_readings", chosen, rides=chosen.rides)
    make = partial(one_variant, tuple(chosen.kinds.split(",")), chosen.real, chosen.seed)
    with ProcessPoolExecutor(chosen.jobs) as pool:
        run = pool.map if chosen.jobs > 1 else map
        variants = []
        for one in run(make, range(chosen.rides)):
            variants.append(one)
            if one.excess > 0.0 or one.trouble:
                print(
                    f"{one.kind} {one.log} {one.what}: {one.excess:+.2f} {one.trouble}", flush=True
                )
    for row in rows(variants):
        record.add(**row)
    record.save()
    bad = sum(one.excess > 0.0 or bool(one.trouble) for one in variants)
    print(f"{bad} of {len(variants)} variants claim too much or break down")
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
