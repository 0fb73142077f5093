"""Does it help that a receiver says how good each fix is, and harm when it says so wrongly?

    python tests/suites/accuracies.py [--rides 200] [--seed S] [--jobs J] [--record]

Random rides under trees: for stretches of 5 to 20 s every error of a fix alone, and the slow error
of its speed, is five times as large. Half of the rides are logged at 1 Hz, half at 5 Hz. Each log
is read four times, with the same errors in it:

    nothing stated
    stated                 with the accuracies of position and speed, half as large as they are
    stated, a third        a third of these: the size lies, the pattern does not
    pattern lies           three times too large or too small for stretches that have nothing to do
                           with the trees

"open" rides are the same without trees, where a lying pattern has nothing to be right about. A row
for each: share of intervals that hold the truth, their mean width and interval score (less is
better), of the speed in seconds drawn over the ride and of the best second. "width at level" is the
width that the intervals of the seconds would have if all were stretched alike until as many held as
they say; "trust" is how far the filter believed what was stated of speeds.
"""

import argparse
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial

import numpy as np
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset
from record import Record, add_options
from scores import Answers
from simulate import Truth

from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.errors import NotEnoughDataError
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.interval import estimate
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.smoother import estimate_motion

TREES, LIE = 5.0, 3.0
WINDOWS = 12
RATES_HZ = (1.0, 5.0)
Pairs = list[tuple[Estimate | None, float]]
Outcome = dict[str, tuple[Pairs, Pairs, float]]


def stretches(
    rng: np.random.Generator, duration_s: float, factor: float
) -> Callable[[FloatArray], FloatArray]:
    """Return what is 1 and ``factor`` in turn, for 5 to 20 s each."""
    lengths = rng.uniform(5.0, 20.0, int(duration_s / 5.0) + 2)
    edges = np.cumsum(lengths)
    first = int(rng.integers(2))

    def at(time_s: FloatArray) -> FloatArray:
        odd = (np.searchsorted(edges, time_s) + first) % 2 == 1
        return np.where(odd, factor, 1.0)

    return at


def versions(track: Track, rng: np.random.Generator) -> dict[str, Track]:
    """Return one log with nothing stated, with what its receiver states, and with lies."""
    blank = np.full(len(track), np.nan)
    duration_s = float(track.time_s[-1])
    lie = stretches(rng, duration_s, LIE**2)(track.time_s) / LIE

    def stated(factor: FloatArray | float) -> Track:
        return replace(
            track,
            position_sd_m=track.position_sd_m * factor,
            speed_sd_mps=track.speed_sd_mps * factor,
        )

    return {
        "nothing stated": replace(track, position_sd_m=blank.copy(), speed_sd_mps=blank.copy()),
        "stated": stated(1.0),
        "stated, a third": stated(1.0 / LIE),
        "pattern lies": stated(lie),
    }


def one_ride(seed: int, number: int, *, trees: bool) -> Outcome:
    """Return figures and truths of one ride by version of its log."""
    rng = np.random.default_rng([seed, number, int(trees)])
    rate_hz = RATES_HZ[number % len(RATES_HZ)]
    ride = out_and_back(rng, passes=2, top_mps=float(rng.uniform(4.0, 15.0)))
    receiver = replace(
        preset("clean", rate_hz, rng),
        claims_sd=0.5,
        claims_speed_sd=0.5,
        shade=stretches(rng, ride.truth.duration_s, TREES) if trees else None,
    )
    track = to_track(receiver.observe(ride.truth, rng))
    starts = np.sort(rng.uniform(1.0, ride.truth.duration_s - 2.0, WINDOWS))
    found: Outcome = {}
    for name, log in versions(track, rng).items():
        motion = estimate_motion(log)
        seconds: Pairs = []
        for start in starts:
            try:
                paths = motion.paths(float(start) - 0.5, float(start) + 1.5, spacing_s=0.1)
            except NotEnoughDataError:
                continue
            begin = int(np.searchsorted(paths.time_s, start))
            speed = paths.speed_mps[begin : begin + 11].mean(axis=0, keepdims=True)
            end_s = float(paths.time_s[min(begin + 10, len(paths.time_s) - 1)])
            true = mean_speed(ride.truth, float(paths.time_s[begin]), end_s)
            seconds.append((estimate(speed[0], smallest=0.0), true))
        best = (measure_top_speed(motion).best_1s_mps, ride.truth.best_mean_speed().speed_mps)
        trust = motion.noise.trusts[1]
        found[name] = (seconds, [best], float("nan") if trust is None else trust)
    return found


def stretched(answers: Answers) -> float:
    """Return the mean width if all were stretched alike until as many held as they say."""
    below, above = answers.value - answers.low, answers.high - answers.value
    off = answers.true - answers.value
    side = np.maximum(np.where(off < 0.0, below, above), 1e-9)
    return float(np.quantile(np.abs(off) / side, LEVEL)) * answers.width


def mean_speed(truth: Truth, start_s: float, end_s: float) -> float:
    """Return the mean speed between two times, at the instants that paths have. [m/s]"""
    time_s = np.linspace(start_s, end_s, 11)
    return float(np.abs(np.interp(time_s, truth.time_s, truth.velocity_mps)).mean())


def main() -> None:
    """Measure all rides and record a row for each version."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=1)
    add_options(parser, "accuracies")
    chosen = parser.parse_args()
    record = Record("accuracies", chosen, rides=chosen.rides)
    for place, trees in (("trees", True), ("open", False)):
        with ProcessPoolExecutor(chosen.jobs) as pool:
            run = pool.map if chosen.jobs > 1 else map
            rides = list(run(partial(one_ride, chosen.seed, trees=trees), range(chosen.rides)))
        for number, rate_hz in enumerate(RATES_HZ):
            for name in rides[0]:
                some = [ride[name] for ride in rides[number :: len(RATES_HZ)]]
                seconds = Answers.given(pair for ride in some for pair in ride[0])
                best = Answers.given(pair for ride in some for pair in ride[1])
                trusts = [trust for *_, trust in some if np.isfinite(trust)]
                record.add(
                    ride=place, rate_hz=rate_hz, log=name,
                    n=len(seconds), held=seconds.held, width=seconds.width, score=seconds.score,
                    width_at_level=stretched(seconds),
                    best_n=len(best), best_held=best.held, best_width=best.width,
                    best_score=best.score,
                    trust=float(np.mean(trusts)) if trusts else None,
                )  # fmt: skip
    record.save()


if __name__ == "__main__":
    main()
