"""Short logs with a ride's worth of trouble through the whole report, on request.

    python tests/suites/fuzz_report.py [--rides 20000] [--seed S] [--jobs J] [--pages]
                                       [--findings DIR] [--record]

Each input is a log of 2 to 200 fixes, a stretch of a simulated ride or of a real receiver's log, as
a GPX file, with one to four things done to it: bytes flipped, lines cut or swapped, clock jumps,
positions in coarse steps or repeated, single spikes of place or speed, rates mixed, rows 1 ms
apart, hours of rest, all but a few fixes gone. It goes through reading, smoothing, every analysis,
the result as JSON against its schema, and the screen (with ``--pages`` the page with its pictures).
A number or a sentence must come out, within a minute of processor time and a GiB. A row for each
thing done. Inputs that break a rule are kept; ends with 1 if there is one.
"""

import argparse
import resource
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import cache, partial
from pathlib import Path

import jsonschema
import numpy as np
from false_readings import ARRAYS, cut
from fuzz_importers import REAL, keep
from log_in_memory import to_track
from log_mutations import spoilt
from random_rides import out_and_back
from receiver_presets import RECEIVER_KINDS, preset
from record import Record, add_options

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.core.errors import RideLogError
from ridelog.core.track import Track
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track, log_from_bytes, require_times
from ridelog.report.ride_json import ride_json, schema_of, to_bytes
from ridelog.report.ride_page import ride_files
from ridelog.report.screen import ride_lines

# The bounds that a report keeps. [s], [MiB]
MOST_S, MOST_MIB = 60.0, 1024
_MOST_FIXES = 200
_PART = 20
Rng = np.random.Generator


def written(track: Track) -> bytes:
    """Return a track as GPX 1.0, without rounding but that of a receiver's own digits."""
    points = []
    for i in range(len(track)):
        stamp = track.utc_text(float(track.time_s[i]))
        if not track.date_known:
            stamp = f"2024-06-08{stamp}"
        children = f"<time>{stamp}</time>" if stamp else ""
        for name, values in (("speed", track.speed_mps), ("hdop", track.hdop)):
            if np.isfinite(values[i]):
                children += f"<{name}>{values[i]:.3f}</{name}>"
        if np.isfinite(track.course_rad[i]):
            children += f"<course>{np.degrees(track.course_rad[i]):.2f}</course>"
        if np.isfinite(track.satellites[i]):
            children += f"<sat>{track.satellites[i]:.0f}</sat>"
        place = f'lat="{track.latitude_deg[i]:.8f}" lon="{track.longitude_deg[i]:.8f}"'
        points.append(f"<trkpt {place}>{children}</trkpt>\n")
    body = "".join(points)
    return f'<gpx version="1.0"><trk><trkseg>\n{body}</trkseg></trk></gpx>'.encode()


@cache
def real_tracks(folder: Path) -> tuple[Track, ...]:
    """Return the real logs that can be read."""
    found = []
    for path in sorted([*folder.glob("gpx/*"), *folder.glob("nmea/*")]):
        try:
            found.append(load_track(path))
        except RideLogError:
            continue
    return tuple(found)


def base(rng: Rng, real: Path) -> Track:
    """Return a stretch of a simulated ride, or of a real log."""
    logs = real_tracks(real)
    if logs and rng.random() < 0.4:
        track = logs[int(rng.integers(len(logs)))]
    else:
        ride = out_and_back(rng, passes=1, plateau_s=2.0)
        receiver = preset(
            RECEIVER_KINDS[int(rng.integers(4))], (1.0, 5.0, 10.0)[int(rng.integers(3))], rng,
            reports_speed=bool(rng.random() < 0.5),
        )  # fmt: skip
        track = to_track(receiver.observe(ride.truth, rng))
    count = int(rng.integers(2, 11)) if rng.random() < 0.15 else int(rng.integers(10, _MOST_FIXES))
    first = int(rng.integers(max(1, len(track) - count + 1)))
    return cut(track, first, first + count)


def _changed(track: Track, **arrays: np.ndarray) -> Track:
    return replace(track, **arrays)  # type: ignore[arg-type]  # names and types of the fields


def _clock(track: Track, rng: Rng) -> Track:
    time_s = track.time_s.copy()
    row = int(rng.integers(len(time_s)))
    time_s[row:] += float(rng.choice([-57600.0, -1.0, 0.5, 3.0, 60.0, 3600.0, 90_000.0]))
    return _changed(track, time_s=time_s)


def _near(track: Track, rng: Rng) -> Track:
    time_s = track.time_s.copy()
    row, count = int(rng.integers(len(time_s))), int(rng.integers(1, 8))
    step = float(rng.choice([0.001, 0.002, 0.01]))
    time_s[row : row + count] = time_s[row] + step * np.arange(len(time_s[row : row + count]))
    return _changed(track, time_s=time_s)


def _rates(track: Track, rng: Rng) -> Track:
    time_s = track.time_s.copy()
    row = int(rng.integers(len(time_s)))
    factor = float(rng.choice([0.1, 0.2, 2.0, 5.0, 10.0]))
    time_s[row:] = time_s[row] + factor * (time_s[row:] - time_s[row])
    return _changed(track, time_s=np.round(time_s, 3))


def _coarse(track: Track, rng: Rng) -> Track:
    decimals = int(rng.integers(2, 7))
    return _changed(
        track,
        latitude_deg=np.round(track.latitude_deg, decimals),
        longitude_deg=np.round(track.longitude_deg, decimals),
    )


def _repeated(track: Track, rng: Rng) -> Track:
    latitude, longitude = track.latitude_deg.copy(), track.longitude_deg.copy()
    row, count = int(rng.integers(len(latitude))), int(rng.integers(1, 60))
    latitude[row : row + count], longitude[row : row + count] = latitude[row], longitude[row]
    return _changed(track, latitude_deg=latitude, longitude_deg=longitude)


def _spike(track: Track, rng: Rng) -> Track:
    latitude, longitude = track.latitude_deg.copy(), track.longitude_deg.copy()
    row = int(rng.choice([0, len(latitude) - 1, int(rng.integers(len(latitude)))]))
    away = 10.0 ** rng.uniform(-5.0, 1.5)
    latitude[row] = np.clip(latitude[row] + away * rng.uniform(-1.0, 1.0), -89.0, 89.0)
    longitude[row] = (longitude[row] + away + 180.0) % 360.0 - 180.0
    return _changed(track, latitude_deg=latitude, longitude_deg=longitude)


def _speed(track: Track, rng: Rng) -> Track:
    speed = track.speed_mps.copy()
    row, count = int(rng.integers(len(speed))), int(rng.integers(1, 30))
    speed[row : row + count] = rng.choice([0.0, 0.4, 9.0, 51.0, 149.0, np.nan])
    return _changed(track, speed_mps=speed)


def _rest(track: Track, rng: Rng) -> Track:
    """Stand for hours: a fix a minute, or none at all, at one place."""
    row = int(rng.integers(len(track)))
    count, step_s = int(rng.integers(1, 120)), float(rng.choice([1.0, 60.0, 600.0]))
    rows = np.concatenate([np.arange(row), np.full(count, row), np.arange(row, len(track))]).astype(
        np.int64
    )
    arrays = {name: getattr(track, name)[rows].copy() for name in ARRAYS}
    arrays["time_s"][row : row + count] += step_s * np.arange(count)
    arrays["time_s"][row + count :] += step_s * count
    arrays["speed_mps"][row : row + count] *= 0.0
    return _changed(track, **arrays)


def _few(track: Track, rng: Rng) -> Track:
    rows = np.sort(rng.permutation(len(track))[: int(rng.integers(1, 11))])
    return _changed(track, **{name: getattr(track, name)[rows].copy() for name in ARRAYS})


def _swapped(track: Track, rng: Rng) -> Track:
    rows = np.arange(len(track))
    for _ in range(int(rng.integers(1, 5))):
        one, other = rng.integers(len(rows), size=2)
        rows[[one, other]] = rows[[other, one]]
    return _changed(track, **{name: getattr(track, name)[rows].copy() for name in ARRAYS})


DONE: dict[str, Callable[[Track, Rng], Track]] = {
    "clock jump": _clock, "rows 1 ms apart": _near, "mixed rates": _rates,
    "coarse positions": _coarse, "repeated positions": _repeated, "stray place": _spike,
    "false speed": _speed, "hours of rest": _rest, "a few fixes": _few, "swapped fixes": _swapped,
}  # fmt: skip


def made(rng: Rng, real: Path) -> tuple[str, bytes]:
    """Return what was done first, and the log."""
    track = base(rng, real)
    names = sorted(DONE)
    first = (*names, "bytes and lines")[int(rng.integers(len(names) + 1))]
    chosen = [first] if first in DONE else []
    chosen += [names[int(rng.integers(len(names)))] for _ in range(int(rng.integers(0, 3)))]
    for name in chosen:
        if len(track):
            track = DONE[name](track, rng)
    data = written(track)
    return first, spoilt(rng, data, [data]) if first == "bytes and lines" else data


def outcome(data: bytes, *, pages: bool) -> str:
    """Return "told", "refused", or what went wrong in one line."""
    start = time.process_time()
    try:
        result = analyse(
            estimate_motion(require_times(log_from_bytes("ride.gpx", data))), Settings()
        )
        document = ride_json(result)
        to_bytes(document)
        jsonschema.validate(document, schema_of(document["schema"]))
        for unit in SPEED_UNITS.values():
            ride_lines(result, unit)
        if pages:
            ride_files(result, next(iter(SPEED_UNITS.values())), show_coordinates=False)
        end = "told"
    except RideLogError as error:
        end = "refused" if "\n" not in str(error) else f"no one sentence: {str(error)[:200]!r}"
    except Exception as error:  # that is what is sought
        last = traceback.extract_tb(error.__traceback__)[-1]
        where = next(
            (one for one in reversed(traceback.extract_tb(error.__traceback__))
             if "ridelog" in Path(one.filename).parts), last,
        )  # fmt: skip
        said = " ".join(str(error).split())[:120]
        return f"{type(error).__name__}: {said} ({Path(where.filename).name}:{where.lineno})"
    spent = time.process_time() - start
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if spent > MOST_S or memory > MOST_MIB:
        return f"took {spent:.0f} s and {memory:.0f} MiB"
    return end


def some(
    real: Path, findings: Path, pages: bool, seed: int, part: int
) -> tuple[Counter[tuple[str, str]], Counter[str]]:
    """Try the inputs of one part; return how each thing done ended, and what went wrong."""
    counts: Counter[tuple[str, str]] = Counter()
    troubles: Counter[str] = Counter()
    for number in range(part * _PART, (part + 1) * _PART):
        what, data = made(np.random.default_rng([seed, number]), real)
        end = outcome(data, pages=pages)
        if end not in ("told", "refused"):
            keep(findings, data, f"{what}, number {number}: {end}")
            troubles[end] += 1
            end = "broke a rule"
        counts[what, end] += 1
    return counts, troubles


def main() -> None:
    """Try all inputs and count how they end."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=1000, help="inputs")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    parser.add_argument("--pages", action="store_true", help="make the page of each too")
    parser.add_argument("--real", type=Path, default=REAL, help="folder of real logs")
    parser.add_argument("--findings", type=Path, default=Path(tempfile.gettempdir()) / "findings")
    add_options(parser, "fuzz_report")
    chosen = parser.parse_args()
    record = Record("fuzz_report", chosen, rides=chosen.rides)
    counts: Counter[tuple[str, str]] = Counter()
    troubles: Counter[str] = Counter()
    try_some = partial(some, chosen.real, chosen.findings, chosen.pages, chosen.seed)
    start = time.monotonic()
    with ProcessPoolExecutor(chosen.jobs) as pool:
        run = pool.map if chosen.jobs > 1 else map
        for ended, wrong in run(try_some, range(-(-chosen.rides // _PART))):
            counts += ended
            for what in wrong:
                if what not in troubles:
                    print(f"FINDING {what}", flush=True)
            troubles += wrong
            if counts.total() % (10 * _PART) == 0:
                print(f"{counts.total():,}, {time.monotonic() - start:.0f} s", flush=True)
    for what in sorted({what for what, _ in counts}):
        ends = {end: counts[what, end] for end in ("told", "refused", "broke a rule")}
        record.add(done=what, inputs=sum(ends.values()), **ends)
    record.save()
    for trouble, number in troubles.most_common():
        print(f"{number} x {trouble}")
    print(f"{sum(troubles.values())} of {counts.total():,} inputs broke a rule")
    sys.exit(1 if troubles else 0)


if __name__ == "__main__":
    main()
