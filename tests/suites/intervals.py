"""Do the intervals hold? Random rides by random receivers, on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/intervals.py [--rides N] [--seed S] [--jobs J] [--kinds clean] [--logs 10r]
                                     [--record]

Machines of 4-25 m/s, plateaus of 1.5-20 s, receivers that differ in kind from the filter's model
(see receiver_presets.py). A row for each figure: rides answered, bias, root mean square error and
share of intervals that hold the truth. "Best second" is told of all rides, of plateaus of 4 s and
more (long), of shorter ones, and against the best second after the receiver had settled (from
before that no figure is taken). "Out of order" counts rides in which the best five seconds, the
two-way mean or a run exceeds the best second by its value or by an end of its interval. "Score" is
the mean interval score (Gneiting and Raftery 2007, equation 43; less is better) of ridelog and of
three baselines on the same rides:

    smoother  plain_smoother.py, the interval its own posterior gives
    reported  highest reported speed, an interval without width: it claims to be the figure
    raw       highest speed between neighbouring positions, without width likewise
"""

import argparse
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np
from log_in_memory import to_track
from plain_smoother import best_second, fitted, log_of
from random_rides import out_and_back
from receiver_presets import RECEIVER_KINDS, preset
from record import Cell, Record, add_options
from scores import Answers, Interval
from simulate import Truth

from ridelog.analysis.top_speed.measure import TopSpeed, measure_top_speed
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.filtering.smoother import estimate_motion

# Name: fixes a second, whether the log reports speed, white noise of a position.
LOGS = {
    "10r": (10.0, True, 0.05),
    "5r": (5.0, True, 0.05),
    "1r": (1.0, True, 0.3),
    "10p": (10.0, False, 0.05),
    "5p": (5.0, False, 0.05),
    "1p": (1.0, False, 0.3),
}
LONG_S = 4.0
Row = dict[str, Cell]


@dataclass(frozen=True)
class Outcome:
    """What one ride gave; intervals are value, low, high. [m/s]

    ``plateau_s`` is how long the truth stayed near its best second, not what was asked for: a pull
    that ends in braking has none.
    """

    plateau_s: float
    true_mps: float
    settled_mps: float
    found: Interval | None
    true_5s_mps: float | None
    five: Interval | None
    true_two_way_mps: float | None
    two_way: Interval | None
    out_of_order: bool
    baselines: dict[str, Interval]


def one_ride(log: str, kind: str, seed: int, number: int, *, baselines: bool = True) -> Outcome:
    """Return what was found of one random ride."""
    rate_hz, reports, white_m = LOGS[log]
    rng = np.random.default_rng([seed, number])
    plateau = float(np.exp(rng.uniform(np.log(1.5), np.log(20.0))))
    ride = out_and_back(rng, plateau_s=plateau)
    receiver = preset(
        kind,  # type: ignore[arg-type]  # checked by preset
        rate_hz, rng, reports_speed=reports, position_white_m=white_m,
    )  # fmt: skip
    track = to_track(receiver.observe(ride.truth, rng))
    motion = estimate_motion(track)
    top = measure_top_speed(motion)
    both = ride.truth.two_way()
    true = ride.truth.best_mean_speed().speed_mps
    seen = log_of(track)
    others: dict[str, Interval] = {}
    if baselines:
        others["smoother"] = best_second(seen, fitted(seen)[1], LEVEL)
        if reports:
            others["reported"] = (float(np.nanmax(track.speed_mps)),) * 3
        way = np.hypot(*np.diff(seen.position_m, axis=0).T)
        others["raw"] = (float(np.max(way / np.diff(seen.time_s))),) * 3
    settled = motion.settled_s if np.isfinite(motion.settled_s) else 0.0
    late = settled + 1.0 < ride.truth.duration_s
    return Outcome(
        time_near_top(ride.truth),
        true,
        ride.truth.best_mean_speed(start_s=settled).speed_mps if late else true,
        _interval(top.best_1s_mps),
        ride.truth.best_mean_speed(5.0).speed_mps if ride.truth.duration_s > 5.0 else None,
        _interval(top.best_5s_mps),
        both.mean_mps if both else None,
        _interval(top.two_way_mps),
        out_of_order(top),
        others,
    )


def time_near_top(truth: Truth) -> float:
    """Return how long the speed stayed within 0.3 m/s of the best second, around it. [s]"""
    best = truth.best_mean_speed()
    slow = np.abs(truth.velocity_mps) < best.speed_mps - 0.3
    middle = int(np.searchsorted(truth.time_s, best.start_s + 0.5))
    before, after = np.flatnonzero(slow[:middle]), np.flatnonzero(slow[middle:])
    first = before[-1] if len(before) else 0
    last = middle + after[0] if len(after) else len(slow) - 1
    return float(truth.time_s[last] - truth.time_s[first])


def _interval(found: Estimate | None) -> Interval | None:
    return None if found is None else (found.value, found.low, found.high)


def out_of_order(top: TopSpeed) -> bool:
    """Return whether a part of the best second exceeds it, by its value or either bound."""
    best = top.best_1s_mps
    parts = [top.best_5s_mps, top.two_way_mps, *(run.speed_mps for run in top.two_way_runs)]
    return best is not None and any(
        getattr(part, end) > getattr(best, end)
        for part in parts
        if part is not None
        for end in ("value", "low", "high")
    )


def rows(outcomes: list[Outcome]) -> Iterator[Row]:
    """Yield a row for each figure, then one for each baseline."""
    said = [(o, o.found) for o in outcomes if o.found is not None]
    found = Answers.of_intervals((o.true_mps, e) for o, e in said)
    settled = Answers.of_intervals((o.settled_mps, e) for o, e in said)
    long = np.array([o.plateau_s >= LONG_S for o, _ in said], dtype=bool)
    count, wrong = len(outcomes), sum(o.out_of_order for o in outcomes)
    yield {
        "figure": "best second",
        "rides": count,
        **found.figures(),
        "score": found.score,
        "out of order": wrong,
    }
    for name, part in (
        ("best second, long", found.of(long)),
        ("best second, short", found.of(~long)),
        ("best second, settled", settled),
        ("best five", Answers.of_intervals((o.true_5s_mps, o.five) for o in outcomes)),
        ("two-way", Answers.of_intervals((o.true_two_way_mps, o.two_way) for o in outcomes)),
    ):
        yield {"figure": name, "rides": count, **part.figures()}
    # The same rides for all, so that no score profits from a ride left out.
    for name in ("smoother", "reported", "raw"):
        other = Answers.of_intervals((o.true_mps, o.baselines.get(name)) for o, _ in said)
        if len(other):
            figure = f"best second by {name}"
            yield {"figure": figure, "rides": count, **other.figures(), "score": other.score}


def main() -> None:
    """Run the suite and print the rows of each kind."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=200)
    add_options(parser, "intervals")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    parser.add_argument("--kinds", default=",".join(RECEIVER_KINDS))
    parser.add_argument("--logs", default=",".join(LOGS))
    parser.add_argument("--without-baselines", action="store_true", help="a third faster")
    chosen = parser.parse_args()
    record = Record("intervals", chosen, rides=chosen.rides)
    with ProcessPoolExecutor(chosen.jobs) as pool:
        run = pool.map if chosen.jobs > 1 else map
        for log in chosen.logs.split(","):
            for kind in chosen.kinds.split(","):
                ride = partial(
                    one_ride, log, kind, chosen.seed, baselines=not chosen.without_baselines
                )
                for row in rows(list(run(ride, range(chosen.rides)))):
                    record.add(log=log, receiver=kind, **row)
    record.save()


if __name__ == "__main__":
    main()
