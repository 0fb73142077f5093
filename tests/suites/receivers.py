"""Receivers with habits: what recognising them is worth, on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/receivers.py [--rides N] [--seed S] [--habits late,held] [--rates 10,1]
                                     [--record]

Each habit twice on the same rides, recognised and not: bias, root mean square error and share held
of the best second; then those of the speed at every fix, above and below 1 m/s.
"""

import argparse
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from unittest import mock

import numpy as np
from log_in_memory import to_track
from odd_receiver import OddReceiver
from random_rides import out_and_back
from receiver_presets import preset
from record import Cell, Record, add_options
from scores import Answers

from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.estimate import Estimate
from ridelog.core.track import FloatArray
from ridelog.core.units import MPS_PER_KMH, MPS_PER_KNOT
from ridelog.filtering.receiver.habits import ReceiverHabits
from ridelog.filtering.smoother import estimate_motion

HABITS: dict[str, Callable[[OddReceiver, np.random.Generator], OddReceiver]] = {
    "none": lambda receiver, rng: receiver,
    "late": lambda receiver, rng: replace(
        receiver,
        lag_s=float(rng.uniform(0.3, 1.5)),
        lag_kind=str(rng.choice(["mean", "delay", "first order"])),  # type: ignore[arg-type]  # one of its kinds
    ),
    "held": lambda receiver, rng: replace(receiver, hold_mps=float(rng.uniform(0.4, 1.2))),
    "km/h": lambda receiver, rng: replace(receiver, speed_step_mps=MPS_PER_KMH),
    "knot": lambda receiver, rng: replace(receiver, speed_step_mps=0.1 * MPS_PER_KNOT),
}


def rows(
    habit: str, rate_hz: float, seed: int, rides: int, *, recognise: bool
) -> Iterator[dict[str, Cell]]:
    """Yield the best second, then the speed of every fix, of one habit at one rate."""
    best: list[tuple[Estimate | None, float]] = []
    error: list[FloatArray] = []
    half: list[FloatArray] = []
    pace: list[FloatArray] = []
    for number in range(rides):
        rng = np.random.default_rng([seed, number])
        ride = out_and_back(rng, plateau_s=float(np.exp(rng.uniform(np.log(1.5), np.log(20.0)))))
        receiver = HABITS[habit](preset("clean", rate_hz, rng), rng)
        log = receiver.observe(ride.truth, rng)
        with ExitStack() as stack:
            if not recognise:
                where = "ridelog.filtering.smoother."
                ignore = lambda seen, track: (seen, ReceiverHabits(()))  # noqa: E731  # one use
                stack.enter_context(mock.patch(where + "recognised", ignore))
                for name in ("lasting_rounding", "rounding_sd"):
                    stack.enter_context(mock.patch(where + name, lambda step: 0.0))
            motion = estimate_motion(to_track(log))
            top = measure_top_speed(motion).best_1s_mps
        best.append((top, ride.truth.best_mean_speed().speed_mps))
        known = np.isfinite(motion.speed_mps)
        speed = np.interp(log.true_time_s, ride.truth.time_s, ride.truth.speed_mps)[known]
        pace.append(speed)
        error.append(motion.speed_mps[known] - speed)
        half.append(1.645 * motion.speed_sd_mps[known])
    yield {"figure": "best second", "rides": rides, **Answers.given(best).figures()}
    every, wide, speed = np.concatenate(error), np.concatenate(half), np.concatenate(pace)
    fixes = Answers(np.zeros_like(every), every, every - wide, every + wide)
    for name, which in (("riding", speed > 1.0), ("slow", (speed > 0.05) & (speed <= 1.0))):
        figure = f"speed of a fix, {name}"
        yield {"figure": figure, "rides": rides, **fixes.of(which).figures()}


def main() -> None:
    """Run the suite and print the rows of each habit and rate."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rides", type=int, default=40)
    add_options(parser, "receivers")
    parser.add_argument("--habits", default=",".join(HABITS))
    parser.add_argument("--rates", default="10,1")
    chosen = parser.parse_args()
    record = Record("receivers", chosen, rides=chosen.rides)
    for habit in chosen.habits.split(","):
        for rate in map(float, chosen.rates.split(",")):
            for recognise in (False, True):
                words = "recognised" if recognise else "ignored"
                for row in rows(habit, rate, chosen.seed, chosen.rides, recognise=recognise):
                    record.add(habit=habit, rate_hz=rate, its_habit=words, **row)
    record.save()


if __name__ == "__main__":
    main()
