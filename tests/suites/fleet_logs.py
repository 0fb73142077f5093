"""The logs of a drawn fleet: short rides of many machines, stretches of real logs, broken ones.

    python tests/suites/fleet_logs.py FOLDER --logs 5000 [--seed S] [--jobs 2] [--real FOLDER]

Every ride is drawn for itself (machine, wind, passes, receiver, how the log is written) and lasts
40 to 90 s. One log in ten is a real one, whole or a drawn stretch, where a folder of real logs lies
beside the checkout; one in fifty is broken. The same seed and number give the same log.
"""

import argparse
import re
from concurrent.futures import ProcessPoolExecutor
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from functools import cache, partial
from pathlib import Path

import numpy as np
from random_rides import brake_anyhow, random_machine, start_ride, u_turn
from receiver_presets import RECEIVER_KINDS, preset
from simulate import Machine, Observation, Place, gpx_text, nmea_text
from simulate.vehicle import steady_hand

REAL = Path(__file__).resolve().parents[3] / "shared" / "real-tracks"
MACHINES = 60
SHORTEST_S, LONGEST_S = 40.0, 90.0
_REAL_EVERY, _BROKEN_EVERY = 10, 50
_RATES_HZ, _RATE_SHARES = (1.0, 5.0, 10.0), (0.85, 0.1, 0.05)
# A stretch of a real log holds so many lines or points.
_LEAST, _MOST = 60, 400
_POINT = re.compile(r"<trkpt.*?</trkpt>\s*", re.DOTALL)


def log_of(number: int, seed: int, real: Path, longest_s: float = LONGEST_S) -> tuple[str, bytes]:
    """Return the name and the bytes of one log of a fleet; a simulated one ends at longest_s."""
    rng = np.random.default_rng([seed, number])
    logs = real_logs(real)
    if number % _REAL_EVERY == _REAL_EVERY - 2 and logs:
        return _real(number, logs, rng)
    name, data = _simulated(number, seed, rng, longest_s)
    if number % _BROKEN_EVERY == _BROKEN_EVERY - 1:
        return f"broken/{Path(name).name}", _broken(data, rng)
    return name, data


@cache
def real_logs(folder: Path) -> tuple[Path, ...]:
    """Return the real logs below a folder, none if there is no such folder."""
    found = sorted(folder.rglob("*")) if folder.is_dir() else []
    return tuple(path for path in found if path.suffix in (".gpx", ".nmea", ".log"))


def _simulated(
    number: int, seed: int, rng: np.random.Generator, longest_s: float
) -> tuple[str, bytes]:
    kart = int(rng.integers(MACHINES))
    machine, top_mps = _machine(kart, seed)
    ride = start_ride(rng, machine, steady_mps=top_mps)
    ride.stand(float(rng.uniform(3.0, 8.0)))
    until_s = float(rng.uniform(SHORTEST_S, LONGEST_S)) - 8.0
    while True:
        share = float(rng.uniform(0.75, 0.93))
        ride.drive(until_mps=share * top_mps, for_s=15.0, build_s=float(rng.uniform(0.1, 0.5)))
        ride.hold(float(rng.uniform(1.5, 8.0)))
        stops = ride.now_s > until_s or rng.random() < 0.5
        brake_anyhow(ride, rng, 0.0 if stops else float(rng.uniform(1.0, 2.5)))
        if stops:
            ride.stand(float(rng.uniform(2.0, 5.0)))
        if ride.now_s > until_s:
            break
        if stops:
            ride.shift(float(rng.uniform(1.0, 2.0)), accel_mps2=float(rng.uniform(0.7, 1.5)))
        u_turn(ride, rng)
    if abs(ride.velocity_mps) > 1e-9:
        brake_anyhow(ride, rng)
    truth = ride.build(rng, (steady_hand(),))
    rate_hz = float(rng.choice(_RATES_HZ, p=_RATE_SHARES))
    kind = RECEIVER_KINDS[int(rng.integers(len(RECEIVER_KINDS)))]
    receiver = preset(kind, rate_hz, rng, reports_speed=bool(rng.random() < 0.7))
    seen = _until(receiver.observe(truth, rng), longest_s)
    place = Place(start_utc=datetime(2025, 4, 1, 9, tzinfo=UTC) + timedelta(minutes=97 * number))
    as_gpx = bool(rng.random() < 0.5)
    text = gpx_text(seen, place) if as_gpx else nmea_text(seen, place)
    teeth = 64 if rng.random() < 0.7 else 56
    ending = "gpx" if as_gpx else "nmea"
    return f"kart-{kart + 1:02d}/{teeth}-teeth/{number:06d}.{ending}", text.encode()


@cache
def _machine(kart: int, seed: int) -> tuple[Machine, float]:
    """Return a machine of the fleet and the speed at which it settles. [m/s]"""
    rng = np.random.default_rng([seed, kart, 1])
    top_mps = float(rng.uniform(4.5, 11.0))
    return random_machine(rng, top_mps), top_mps


def _until(seen: Observation, end_s: float) -> Observation:
    keep = seen.time_s <= end_s
    given = {item.name: getattr(seen, item.name) for item in fields(seen)}
    arrays = {name: each[keep] for name, each in given.items() if isinstance(each, np.ndarray)}
    return replace(seen, **arrays)  # type: ignore[arg-type]  # arrays stay arrays


def _real(number: int, logs: tuple[Path, ...], rng: np.random.Generator) -> tuple[str, bytes]:
    """Return the real logs whole, once each in their order, then stretches drawn from them."""
    turn = number // _REAL_EVERY
    if turn < len(logs):
        return f"real/{number:06d}-{logs[turn].name}", logs[turn].read_bytes()
    while True:
        log = logs[int(rng.integers(len(logs)))]
        text = log.read_bytes().decode("utf-8-sig", "replace")
        gpx = log.suffix == ".gpx"
        parts = [match.group() for match in _POINT.finditer(text)] if gpx else text.splitlines(True)
        if len(parts) > 2 * _LEAST:
            break
    count = int(rng.integers(_LEAST, min(_MOST, len(parts) - 1)))
    first = int(rng.integers(len(parts) - count))
    if gpx:
        kept = iter([False] * first + [True] * count + [False] * len(parts))
        text = _POINT.sub(lambda match: match.group() if next(kept) else "", text)
    else:
        text = "".join(parts[first : first + count])
    return f"real/{number:06d}-{log.name}", text.encode()


def _broken(data: bytes, rng: np.random.Generator) -> bytes:
    """Return a log that was broken in one of five ways: no fix of it, or no time, can be read."""
    how = int(rng.integers(5))
    if how == 0:
        return data[: int(rng.integers(20, 60))]  # the card was pulled out
    if how == 1:
        return bytes(rng.integers(0, 256, len(data), dtype=np.uint8))
    if how == 2:
        return bytes(len(data))  # a file system's zeros
    if how == 3:
        return b"date,distance,battery\n" + data.hex().encode()  # another file by that name
    text = re.sub(r"\*..\r\n", "*ZZ\r\n", data.decode())
    return re.sub(r"<time>[^<]*</time>", "", text).encode()


def write(
    folder: Path,
    numbers: range,
    seed: int,
    jobs: int = 1,
    real: Path = REAL,
    longest_s: float = LONGEST_S,
) -> int:
    """Write logs of a fleet into a folder; return how many bytes they are."""
    total = 0
    with ProcessPoolExecutor(jobs) as pool:
        one = partial(log_of, seed=seed, real=real, longest_s=longest_s)
        made = pool.map(one, numbers, chunksize=20) if jobs > 1 else map(one, numbers)
        for name, data in made:
            place = folder / name
            place.parent.mkdir(parents=True, exist_ok=True)
            place.write_bytes(data)
            total += len(data)
    return total


def main() -> None:
    """Write what the command line asks for."""
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("folder", type=Path)
    words.add_argument("--logs", type=int, default=5000)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--jobs", type=int, default=1)
    words.add_argument("--real", type=Path, default=REAL)
    asked = words.parse_args()
    total = write(asked.folder, range(asked.logs), asked.seed, asked.jobs, asked.real)
    print(f"{asked.logs} logs, {total / 1e6:.0f} MB")


if __name__ == "__main__":
    main()
