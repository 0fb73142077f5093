"""Thirty NMEA logs that a receiver could send again: real ones, samples, simulated ones."""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from random_rides import out_and_back
from receiver_presets import RECEIVER_KINDS, preset
from simulate.write_log import nmea_text

ROOT = Path(__file__).resolve().parents[2]
REAL = ROOT.parent / "shared" / "real-tracks" / "nmea"
SAMPLES = ROOT / "sample_tracks"
LOGS = 30
_CLOCK = re.compile(rb"\$..(?:RMC|GGA),(\d\d)(\d\d)(\d\d(?:\.\d+)?),")


@dataclass(frozen=True)
class ListenedLog:
    """A log and what it is called; ``kind`` is "real", "sample" or "simulated"."""

    kind: str
    name: str
    data: bytes


def thinned(log: bytes, rate_hz: float) -> bytes:
    """Return the sentences of a log at whole multiples of a period: a slower receiver's."""
    kept, keeps = [], False
    for line in log.splitlines(keepends=True):
        if found := _CLOCK.match(line):
            seconds = 3600 * int(found[1]) + 60 * int(found[2]) + float(found[3])
            keeps = abs(seconds * rate_hz - round(seconds * rate_hz)) < 1e-6 * rate_hz
        if keeps:
            kept.append(line)
    return b"".join(kept)


def listened_logs(seed: int) -> list[ListenedLog]:
    """Return real logs where they lie beside the checkout, samples, and simulated ones up to 30."""
    found = [ListenedLog("real", path.name, path.read_bytes()) for path in sorted(REAL.glob("*"))]
    for name, rates in (("before-2.nmea", (1.0, 5.0)), ("after-2.nmea", (1.0, 5.0, 10.0))):
        data = (SAMPLES / name).read_bytes()
        found += [
            ListenedLog("sample", f"{name} at {rate:.0f} Hz", thinned(data, rate)) for rate in rates
        ]
    number = 0
    while len(found) < LOGS:
        rng = np.random.default_rng([seed, number])
        kind, rate_hz = RECEIVER_KINDS[number % 4], (1.0, 5.0, 10.0)[number % 3]
        ride = out_and_back(rng, top_mps=9.0, plateau_s=8.0, passes=2, pull_end="settles")
        seen = preset(kind, rate_hz, rng).observe(ride.truth, rng)
        name = f"{kind} {number} at {rate_hz:.0f} Hz"
        found.append(ListenedLog("simulated", name, nmea_text(seen).encode()))
        number += 1
    return found
