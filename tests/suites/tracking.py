"""Do the intervals hold for receivers that filter? Random rides, on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/tracking.py [--rides N] [--seed S] [--jobs J] [--kinds sharp,smooth]
                                    [--logs 10r,1p] [--every] [--record]

Receivers whose positions and velocities come out of a filter of their own (tracking_presets.py).
Figures are those of rides whose signal is graded good; ``--every`` takes all rides that get one.
A ride is graded good wrongly if it gets a best second whose interval misses the truth by more than
half its own width, which a tenth of a hundred intervals that hold may do. With "pulse" in the name
of a log a lone reading of 0.45 m/s stands 2.5 s before each start.
"""

import argparse
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Protocol

import numpy as np
from braking import LEAST_DROP_MPS
from intervals import LONG_S, time_near_top
from labelled_rides import RandomRide
from launches import true_time
from log_in_memory import to_track
from random_rides import out_and_back, starts_and_stops
from record import Record, add_options
from reverse_rides import REVERSE_KINDS, reverse_ride
from scores import Answers
from simulate import Observation, Span, Truth
from tracking_presets import TRACKING_KINDS, tracking_preset

from ridelog.analysis.acceleration.runs import draw_runs
from ridelog.analysis.braking.measure import measure_brakings
from ridelog.analysis.launches.measure import measure_launches
from ridelog.analysis.launches.windows import parse_window
from ridelog.analysis.reverse.measure import find_reverse
from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.estimate import Estimate
from ridelog.core.units import MPS_PER_KMH
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion


class Ride(Protocol):
    """A ride with its truth and what is in it."""

    @property
    def truth(self) -> Truth:
        """Return the true motion."""

    @property
    def labels(self) -> dict[str, tuple[Span, ...]]:
        """Return launches, brakings and reverses."""


# Name: fixes a second, whether the log reports speed.
LOGS = {f"{rate:g}{kind}": (rate, kind == "r") for kind in "rp" for rate in (10.0, 5.0, 1.0)}
PULSE_S, PULSE_MPS = 2.5, 0.45
KMH = (20, 30)


@dataclass
class Outcome:
    """What one ride gave: figures with their truth, its grade, reverses there and found."""

    grade: str
    figures: list[tuple[str, Estimate | None, float]] = field(default_factory=list)
    reverses: int = 0
    found: int = 0


def one_ride(log: str, kind: str, seed: int, number: int) -> Outcome:
    """Return the figures of one ride: of a third each pass, start and stop, or back up."""
    pulse = log.endswith("pulse")
    rate_hz, reports = LOGS[log.removesuffix("pulse")]
    rng = np.random.default_rng([seed, number])
    what = number % 3
    if what == 0:
        ride = out_and_back(rng, plateau_s=float(np.exp(rng.uniform(np.log(1.5), np.log(20.0)))))
    elif what == 1 or pulse:
        ride = starts_and_stops(rng, at_once=rng.random() < 1.0 / 3.0)
    else:
        ride = reverse_ride(rng, REVERSE_KINDS[number // 3 % len(REVERSE_KINDS)])
    receiver, decimals = tracking_preset(kind, rate_hz, rng, reports_speed=reports)  # type: ignore[arg-type]  # by name
    seen = receiver.observe(ride.truth, rng)
    if pulse:
        seen = _with_pulse(seen, ride)
    motion = estimate_motion(to_track(seen, decimals=decimals))
    return outcome_of(motion, ride, backs=what == 2 and not pulse)


def outcome_of(motion: Motion, ride: Ride, *, backs: bool) -> Outcome:
    """Return the figures of a ride: of its reverses if it ``backs``, of all else if not."""
    outcome = Outcome(judge_signal(motion).grade)
    if backs:
        _reverses(outcome, motion, ride)
        return outcome
    _top(outcome, motion, ride)
    _starts(outcome, motion, ride)
    _brakings(outcome, motion, ride)
    return outcome


def _with_pulse(seen: Observation, ride: RandomRide) -> Observation:
    speed = seen.speed_mps.copy()
    for start in ride.labels["launches"]:
        at = int(np.searchsorted(seen.time_s, start.start_s - PULSE_S))
        speed[at] = PULSE_MPS if np.isfinite(speed[at]) else np.nan
    return replace(seen, speed_mps=speed)


def _top(outcome: Outcome, motion: Motion, ride: Ride) -> None:
    top = measure_top_speed(motion)
    best, both = ride.truth.best_mean_speed().speed_mps, best_pair(ride.truth)
    outcome.figures.append(("best second", top.best_1s_mps, best))
    if time_near_top(ride.truth) >= LONG_S:
        outcome.figures.append(("best second, long", top.best_1s_mps, best))
    outcome.figures.append(
        ("best five", top.best_5s_mps, ride.truth.best_mean_speed(5.0).speed_mps)
    )
    if np.isfinite(both):
        outcome.figures.append(("two-way", top.two_way_mps, both))


def best_pair(truth: Truth) -> float:
    """Return the highest mean of two seconds ridden opposite ways, NaN if there are none. [m/s]

    Of all such pairs; the fastest second of the ride need not be of it.
    """
    every = 5
    means = truth.window_means(1.0)[::every]
    course = truth.heading_rad[50 : 50 + every * len(means) : every]
    fast = np.argsort(means)[::-1]
    best = float("nan")
    for one in fast:
        # What is left cannot make a better pair.
        if 0.5 * (means[one] + means[fast[0]]) <= best or means[one] <= 0.0:
            break
        opposite = np.cos(course - course[one]) <= -np.cos(np.radians(20.0))
        if opposite.any():
            pair = 0.5 * float(means[one] + means[opposite].max())
            best = pair if np.isnan(best) else max(best, pair)
    return best


def _starts(outcome: Outcome, motion: Motion, ride: Ride) -> None:
    windows = tuple(parse_window(f"0-{kmh} km/h") for kmh in KMH)
    launches = measure_launches(draw_runs(motion, windows=windows), windows=windows).launches
    starts = [span.start_s for span in ride.labels["launches"]]
    settled = motion.settled_s if np.isfinite(motion.settled_s) else np.inf
    for span in ride.labels["launches"]:
        if span.start_s < settled + 2.0:
            continue
        near = [one for one in launches if abs(one.start_s - span.start_s) < 4.0]
        after = min((s for s in starts if s > span.start_s), default=np.inf)
        for place, kmh in enumerate(KMH):
            true = true_time(ride.truth, span.start_s, kmh * MPS_PER_KMH, None)
            if np.isfinite(true) and span.start_s + true < after:
                told = near[0].windows[place].time_s if near else None
                outcome.figures.append((f"0-{kmh} km/h", told, true))


def _brakings(outcome: Outcome, motion: Motion, ride: Ride) -> None:
    found = measure_brakings(motion).each
    for true in ride.labels["brakings"]:
        if true.from_mps - true.to_mps < LEAST_DROP_MPS:
            continue
        told = [
            one.mean_decel_mps2
            for one in found
            if min(one.end_s, true.end_s) - max(one.start_s, true.start_s)
            > 0.5 * (true.end_s - true.start_s)
        ]
        decel = (true.from_mps**2 - true.to_mps**2) / (2.0 * true.distance_m)
        outcome.figures.append(("deceleration", told[0] if told else None, decel))


def _reverses(outcome: Outcome, motion: Motion, ride: Ride) -> None:
    truth, segments = ride.truth, find_reverse(motion).segments
    for span in ride.labels["reverses"]:
        inside = (truth.time_s >= span.start_s) & (truth.time_s <= span.end_s)
        if np.count_nonzero(truth.velocity_mps[inside] <= -0.5) * 0.01 < 2.0:
            continue
        before = truth.velocity_mps[truth.time_s < span.start_s]
        behind = truth.velocity_mps[truth.time_s > span.end_s]
        if max(before.max(initial=0.0), 0.0) < 1.0 or max(behind.max(initial=0.0), 0.0) < 1.0:
            continue
        match = [s for s in segments if s.start_s < span.end_s and span.start_s < s.end_s]
        outcome.reverses += 1
        if any(one.state == "found" for one in match):
            outcome.found += 1
            best = truth.best_mean_speed(
                start_s=span.start_s, end_s=span.end_s, reverse=True
            ).speed_mps
            one = next(one for one in match if one.state == "found")
            outcome.figures.append(("reverse top", one.top_speed_mps, best))


def main() -> None:
    """Run the suite and print the rows of each kind."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=200)
    add_options(parser, "tracking")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    parser.add_argument("--kinds", default=",".join(TRACKING_KINDS))
    parser.add_argument("--logs", default=",".join(LOGS))
    parser.add_argument("--every", action="store_true", help="rides of any grade but too weak")
    chosen = parser.parse_args()
    record = Record("tracking", chosen, rides=chosen.rides)
    with ProcessPoolExecutor(chosen.jobs) as pool:
        run = pool.map if chosen.jobs > 1 else map
        for log in chosen.logs.split(","):
            for kind in chosen.kinds.split(","):
                outcomes = list(run(partial(one_ride, log, kind, chosen.seed), range(chosen.rides)))
                rows_of(record, log, kind, outcomes, every=chosen.every)
    record.save()


def rows_of(record: Record, log: str, kind: str, outcomes: list[Outcome], *, every: bool) -> None:
    """Add the rows of one kind of receiver and log."""
    good = [o for o in outcomes if o.grade == "good"]
    record.add(
        log=log, receiver=kind, figure="graded good", rides=len(outcomes), n=len(good),
        wrongly=sum(_far_off(o) for o in good),
        reverses=sum(o.reverses for o in outcomes), found=sum(o.found for o in outcomes),
    )  # fmt: skip
    grouped: dict[str, list[tuple[Estimate | None, float]]] = defaultdict(list)
    for one in outcomes if every else good:
        if one.grade != "too weak":
            for name, told, true in one.figures:
                grouped[name].append((told, true))
    for name, pairs in grouped.items():
        answers = Answers.given(pairs)
        record.add(
            log=log, receiver=kind, figure=name, asked=len(pairs), **answers.figures(),
            score=answers.score,
        )  # fmt: skip


def _far_off(one: Outcome) -> bool:
    for name, told, true in one.figures:
        if name == "best second" and told is not None:
            spare = 0.5 * (told.high - told.low)
            return not told.low - spare <= true <= told.high + spare
    return False


if __name__ == "__main__":
    main()
