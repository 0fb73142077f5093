"""Do the intervals hold for receivers and machines of another make than ours? On request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/sensors.py [--rides N] [--seed S] [--jobs J] [--kinds plain,walker]
                                   [--logs 10r,1p] [--every] [--record]

Machines of other_rides.py seen by receivers of satellite_receiver.py, neither of which shares a law
with the rides and receivers that the filter grew up with. Rows as in tracking.py; of a third of the
rides each pass, start and stop, or back up. "All kinds" are the rides of every kind together.
"Invented" counts reverses found in rides that have none.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
from log_in_memory import to_track
from other_rides import backings, passes, starts
from record import Record, add_options
from satellite_receiver import KINDS, drawn_receiver
from tracking import LOGS, Outcome, outcome_of, rows_of

from ridelog.analysis.reverse.measure import find_reverse
from ridelog.filtering.smoother import estimate_motion


def one_ride(log: str, kind: str, seed: int, number: int) -> tuple[Outcome, int]:
    """Return the figures of one ride, and how many reverses were invented in it."""
    rate_hz, reports = LOGS[log]
    rng = np.random.default_rng([seed, KINDS.index(kind), number])
    what = number % 3
    ride = (passes, starts, backings)[what](rng)
    receiver, decimals = drawn_receiver(kind, rate_hz, rng, reports_speed=reports)
    motion = estimate_motion(to_track(receiver.observe(ride.truth, rng), decimals=decimals))
    outcome = outcome_of(motion, ride, backs=what == 2)
    if what == 2:
        return outcome, 0
    told = find_reverse(motion).segments
    return outcome, sum(one.state == "found" for one in told)


def main() -> None:
    """Run the suite and print the rows of each kind."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=60)
    add_options(parser, "sensors")
    parser.add_argument("--jobs", type=int, default=1, help="processes side by side")
    parser.add_argument("--kinds", default=",".join(KINDS))
    parser.add_argument("--logs", default=",".join(LOGS))
    parser.add_argument("--every", action="store_true", help="rides of any grade but too weak")
    chosen = parser.parse_args()
    record = Record("sensors", chosen, rides=chosen.rides)
    with ProcessPoolExecutor(chosen.jobs) as pool:
        run = pool.map if chosen.jobs > 1 else map
        for log in chosen.logs.split(","):
            of_all: list[Outcome] = []
            for kind in chosen.kinds.split(","):
                ride = partial(one_ride, log, kind, chosen.seed)
                told = list(run(ride, range(chosen.rides)))
                outcomes = [one for one, _ in told]
                of_all += outcomes
                rows_of(record, log, kind, outcomes, every=chosen.every)
                record.add(
                    log=log, receiver=kind, figure="reverse invented", rides=len(told),
                    n=sum(count for _, count in told),
                )  # fmt: skip
            rows_of(record, log, "all kinds", of_all, every=chosen.every)
    record.save()


if __name__ == "__main__":
    main()
