"""Down to which length does a log's best second hold? Short pieces of longer rides, on request.

    python tests/suites/cropped.py [--rides N] [--seed S] [--lengths 2,3,4] [--logs 10r,1p]
                                   [--sources satellites,late,odd,own] [--record]

Each ride is cut to each length twice: anywhere, and up to two seconds before a start. satellites:
machines and receivers of other_rides.py and satellite_receiver.py; late: the same, of the kinds
whose speed is a mean or lags, which no short log shows; odd: random_rides.py and
receiver_presets.py; own: tests/holds/own_rides.py, through files. "Weak" counts pieces that are
graded too weak or give no motion; of the rest the figures are counted. "Told" is how many are
narrow enough to stand as a figure, "far" how many intervals miss the truth by more than their own
length.
"""

import argparse
import copy
import sys
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from launches import LOGS
from log_in_memory import to_track
from random_rides import out_and_back, starts_and_stops
from receiver_presets import RECEIVER_KINDS, preset
from record import Cell, Record, add_options

sys.path.append(str(Path(__file__).parents[1] / "holds"))
import own_rides
from other_rides import passes, starts
from satellite_receiver import KINDS, drawn_receiver
from scores import Answers
from simulate.truth import STEP_S

from ridelog.analysis.acceleration.runs import draw_runs
from ridelog.analysis.launches.measure import measure_launches
from ridelog.analysis.launches.windows import parse_window
from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import Estimate
from ridelog.core.track import FloatArray, Track
from ridelog.core.units import MPS_PER_KMH
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

SOURCES = ("satellites", "odd", "own", "late")
LENGTHS_S = (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 15.0)
PLACES = ("anywhere", "a start")
_LATE = ("walker", "mean")
_GOAL_MPS = 20.0 * MPS_PER_KMH
_WINDOW = (parse_window("0-20 km/h"),)


@dataclass(frozen=True)
class Logged:
    """A whole log, and the true speed each STEP_S of its clock, from its first fix on. [m/s]"""

    track: Track
    speed_mps: FloatArray


@dataclass(frozen=True)
class Piece:
    """What a piece of a log gives, and the truth of it."""

    true_best: float
    true_start: float
    weak: bool = True
    best: Estimate | None = None
    start: Estimate | None = None


def logged(source: str, log: str, seed: int, number: int, folder: Path) -> Logged:
    """Return one ride of a source as a kind of log has it."""
    rate_hz, reports, white_m = LOGS[log]
    rng = np.random.default_rng([seed, SOURCES.index(source), number])
    if source == "own":
        kind = own_rides.Kind(log, rate_hz, reports, nmea=bool(number % 2))
        ride = own_rides.ridden(rng)
        every = round(1.0 / (rate_hz * own_rides.STEP_S))
        first = int(copy.deepcopy(rng).integers(0, every))  # as the writer is about to draw it
        track = load_track(own_rides.written(ride, kind, rng, folder))
        step = round(STEP_S / own_rides.STEP_S)
        return Logged(track, np.abs(ride.speed[first::step]))
    if source == "odd":
        truth = (out_and_back, starts_and_stops)[number % 2](rng).truth
        receiver = preset(
            RECEIVER_KINDS[number // 2 % 4], rate_hz, rng,
            reports_speed=reports, position_white_m=white_m,
        )  # fmt: skip
        return Logged(to_track(receiver.observe(truth, rng)), truth.speed_mps)
    truth = (passes, starts)[number % 2](rng).truth
    names = [name for name in KINDS if (name in _LATE) == (source == "late")]
    name = names[number // 2 % len(names)]
    chip, decimals = drawn_receiver(name, rate_hz, rng, reports_speed=reports)
    return Logged(to_track(chip.observe(truth, rng), decimals=decimals), truth.speed_mps)


def begin_s(one: Logged, place: str, length_s: float, rng: np.random.Generator) -> float | None:
    """Return where a piece begins, None if the ride has no such place. [s]"""
    end_s = STEP_S * (len(one.speed_mps) - 1) - length_s
    if end_s <= 0.0:
        return None
    if place == "anywhere":
        return float(rng.uniform(0.0, end_s))
    moves = one.speed_mps > 1e-3
    leaves_s = STEP_S * np.flatnonzero(moves[1:] & ~moves[:-1])
    before_s = float(rng.uniform(0.0, 2.0))
    fits = leaves_s[(leaves_s > before_s) & (leaves_s - before_s < end_s)]
    return float(rng.choice(fits)) - before_s if len(fits) else None


def measured(one: Logged, first_s: float, length_s: float) -> Piece:
    """Return what the piece of a log gives that lasts from one time for so long. [s]"""
    track = one.track
    # From a fix on: a piece of two seconds at a fix a second has three.
    first_s = float(track.time_s[np.argmax(track.time_s >= first_s - 1e-6)])
    kept = (track.time_s >= first_s - 1e-6) & (track.time_s <= first_s + length_s + 1e-2)
    arrays: dict[str, Any] = {
        k: v[kept] for k, v in vars(track).items() if isinstance(v, np.ndarray)
    }
    from_s, to_s = float(arrays["time_s"][0]), float(arrays["time_s"][-1])
    arrays["time_s"] = arrays["time_s"] - from_s
    speed = one.speed_mps[round(from_s / STEP_S) : round(to_s / STEP_S) + 1]
    nothing = Piece(_best(speed), _start(speed))
    try:
        motion = estimate_motion(replace(track, **arrays))
    except RideLogError:
        return nothing
    if judge_signal(motion).grade == "too weak":
        return nothing
    launches = measure_launches(draw_runs(motion, windows=_WINDOW), windows=_WINDOW).launches
    start = launches[0].windows[0].time_s if launches else None
    best = measure_top_speed(motion).best_1s_mps
    return replace(nothing, weak=False, best=best, start=start)


def _best(speed: FloatArray) -> float:
    way = np.append(0.0, np.cumsum(0.5 * (speed[1:] + speed[:-1]))) * STEP_S
    count = round(1.0 / STEP_S)
    return float((way[count:] - way[:-count]).max()) if len(way) > count else float("nan")


def _start(speed: FloatArray) -> float:
    """Return the time over 0-20 km/h of a piece that begins at rest, NaN without it. [s]"""
    moving, fast = np.flatnonzero(speed > 1e-3), np.flatnonzero(speed >= _GOAL_MPS)
    if not len(fast) or moving[0] == 0:
        return float("nan")
    leaves = moving[0]
    # The first of it all the way, without a stop between.
    return STEP_S * (fast[0] - leaves) if (speed[leaves : fast[0]] > 1e-3).all() else float("nan")


def main() -> None:
    """Cut, measure and print the rows of each source, log, place and length."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--rides", type=int, default=60)
    add_options(parser, "cropped")
    parser.add_argument("--sources", default=",".join(SOURCES))
    parser.add_argument("--logs", default=",".join(LOGS))
    parser.add_argument("--lengths", default=",".join(f"{one:g}" for one in LENGTHS_S))
    chosen = parser.parse_args()
    record = Record("cropped", chosen, rides=chosen.rides)
    lengths = [float(one) for one in chosen.lengths.split(",")]
    with tempfile.TemporaryDirectory() as folder:
        for log in chosen.logs.split(","):
            for source in chosen.sources.split(","):
                found: dict[float, list[Piece]] = defaultdict(list)
                for number in range(chosen.rides):
                    one = logged(source, log, chosen.seed, number, Path(folder))
                    rng = np.random.default_rng([chosen.seed, number])
                    for length_s, piece in _pieces(one, lengths, rng):
                        found[length_s].append(piece)
                for length_s, pieces in sorted(found.items()):
                    _add_rows(record, {"log": log, "source": source, "length_s": length_s}, pieces)
    record.save()


def _pieces(
    one: Logged, lengths: list[float], rng: np.random.Generator
) -> Iterator[tuple[float, Piece]]:
    for place in PLACES:
        for length_s in lengths:
            first_s = begin_s(one, place, length_s, rng)
            if first_s is not None:
                yield length_s, measured(one, first_s, length_s)


def _add_rows(record: Record, which: dict[str, Cell], pieces: list[Piece]) -> None:
    for name, figure in (("best second", "best"), ("0-20 km/h", "start")):
        asked = [one for one in pieces if np.isfinite(getattr(one, f"true_{figure}"))]
        pairs = [(getattr(one, figure), getattr(one, f"true_{figure}")) for one in asked]
        if not pairs:
            continue
        answers = Answers.given(pairs)
        off = np.maximum(answers.low - answers.true, answers.true - answers.high)
        record.add(
            **which, figure=name, asked=len(asked), weak=sum(one.weak for one in asked),
            **answers.figures(), told=sum(bool(one and one.firm) for one, _ in pairs),
            far=int(np.sum(off > answers.high - answers.low)),
        )  # fmt: skip


if __name__ == "__main__":
    main()
