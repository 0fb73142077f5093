"""Do the intervals hold? Random rides by random receivers, on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/intervals.py [--rides N] [--seed S] [--kinds clean,jumpy] [--logs 10r,1p]

Each line: bias and root mean square error of the best second (and on plateaus of 4 s and more), the
share of intervals that hold the truth, the same of the two-way mean, and the mean interval score
(Gneiting and Raftery, JASA 102 (2007) 359-378, section 6.2; less is better) beside the error of
the highest raw reading. The receivers differ in kind from the filter's model: see ridelog.simulate.
"""

import argparse
import secrets
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from ridelog.analysis.result import Estimate
from ridelog.analysis.top_speed import measure_top_speed
from ridelog.filtering.smoother import estimate_motion
from ridelog.simulate import RECEIVER_KINDS, preset, to_track
from ridelog.simulate.rides import out_and_back

# Name: fixes a second, whether the log reports speed, white noise of a position.
LOGS = {
    "10r": (10.0, True, 0.05),
    "5r": (5.0, True, 0.05),
    "1r": (1.0, True, 0.3),
    "10p": (10.0, False, 0.05),
    "5p": (5.0, False, 0.05),
    "1p": (1.0, False, 0.3),
}


@dataclass(frozen=True)
class Outcome:
    plateau_s: float
    true_mps: float
    found: Estimate | None
    raw_mps: float
    true_two_way_mps: float | None
    two_way: Estimate | None


def one_ride(log: str, kind: str, seed: int, number: int) -> Outcome:
    """Return what was found of one random ride."""
    rate_hz, reports, white_m = LOGS[log]
    rng = np.random.default_rng([seed, number])
    plateau = float(rng.choice([1.5, 3.0, 4.0, 6.0, 10.0, 20.0]))
    ride = out_and_back(rng, plateau_s=plateau)
    receiver = preset(
        kind,  # type: ignore[arg-type]  # checked by preset
        rate_hz, rng, reports_speed=reports, position_white_m=white_m,
    )  # fmt: skip
    top = measure_top_speed(estimate_motion(to_track(receiver.observe(ride.truth, rng))))
    both = ride.truth.two_way()
    return Outcome(
        plateau,
        ride.truth.best_mean_speed().speed_mps,
        top.best_1s,
        top.raw_peak_mps,
        both.mean_mps if both else None,
        top.two_way,
    )


def summary(outcomes: list[Outcome]) -> str:
    """Return one line of figures."""
    said = [(o, o.found) for o in outcomes if o.found is not None]
    error = np.array([e.value - o.true_mps for o, e in said])
    long = np.array([o.plateau_s >= 4.0 for o, _ in said])
    held = np.array([e.low <= o.true_mps <= e.high for o, e in said])
    miss = np.array(
        [max(e.low - o.true_mps, o.true_mps - e.high, 0.0) * 20.0 + e.high - e.low for o, e in said]
    )
    both = [
        o.two_way.low <= o.true_two_way_mps <= o.two_way.high
        for o in outcomes
        if o.two_way is not None and o.true_two_way_mps is not None
    ]
    raw = np.array([o.raw_mps - o.true_mps for o, _ in said])

    def rms(values: np.ndarray) -> float:
        return float(np.sqrt(np.mean(values**2))) if len(values) else float("nan")

    return (
        f"{len(said)}/{len(outcomes)} rides, bias {error.mean():+.3f}, rms {rms(error):.3f} "
        f"(4 s and more {rms(error[long]):.3f}), held {held.mean():.3f}, two-way held "
        f"{np.mean(both) if both else float('nan'):.3f}, score {miss.mean():.3f}, "
        f"raw peak rms {rms(raw):.3f} m/s"
    )


def main() -> None:
    """Run the suite and print a line for each kind."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=200)
    parser.add_argument("--seed", type=int, default=secrets.randbelow(10**9))
    parser.add_argument("--kinds", default=",".join(RECEIVER_KINDS))
    parser.add_argument("--logs", default=",".join(LOGS))
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}")
    with ProcessPoolExecutor() as pool:
        for log in chosen.logs.split(","):
            for kind in chosen.kinds.split(","):
                ride = partial(one_ride, log, kind, chosen.seed)
                print(log, kind, summary(list(pool.map(ride, range(chosen.rides)))), flush=True)


if __name__ == "__main__":
    main()
