"""Do a stated speed's ratio and the difference of two drive modes hold? Simulated machines.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/statements.py [--machines N] [--seed S] [--kinds stated,modes] [--record]

Kinds: stated (one to three rides of a machine that was changed, against a stated top speed of the
machine before it; the truth of the statement lies anywhere within its tolerance), modes (three logs
that each hold both modes of one machine, the second with more motor speed and torque; every log has
a wind, a slope and a steady speed of its own, which both modes share).

For each figure how often its interval held the truth, with bias and width, of the ratio in its own
unit and of differences in SI units; for modes also how often any difference was called that there
is not, where both modes are the same machine.
"""

import argparse
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from compare import one_ride, top_in_a_run
from labelled_rides import finish
from log_in_memory import to_track
from random_rides import random_machine
from receiver_presets import preset
from record import Cell, Record, add_options
from scores import Answers
from simulate import Machine, RideLayout, Surroundings
from simulate.samples import still_air

from ridelog.analysis.ride import analyse, settings_of_mode
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide, RideSource
from ridelog.compare.comparison import Comparison, compare
from ridelog.compare.stated import AgainstStated, StatedSpeed, against_stated
from ridelog.compare.verdict import BETTER, WORSE
from ridelog.core.estimate import Estimate
from ridelog.filtering.smoother import estimate_motion

LOGS, RUN_S, SCATTER_MPS = 3, 14.0, 0.08
# Share of the usual motor speed and torque in the slower mode.
SLOWER = 0.8


def held_against_a_statement(
    rides: int, rng: np.random.Generator
) -> tuple[AgainstStated, float, float]:
    """Return what some rides say of a statement, with the true speeds before and after."""
    machine = random_machine(rng, float(rng.uniform(6.0, 11.0)))
    within = float(rng.uniform(0.02, 0.2))
    was = float(rng.uniform(0.4, 0.9)) * top_in_a_run(machine)
    # The truth lies evenly within the tolerance of what is stated.
    stated = was / (1.0 + within * float(rng.uniform(-1.0, 1.0)))
    found = tuple(one_ride(machine, blown(rng, 0.4), 10.0, f"now-{k}", rng) for k in range(rides))
    return against_stated(StatedSpeed(stated, within), found), was, top_in_a_run(machine)


def blown(rng: np.random.Generator, scatter_mps: float) -> Surroundings:
    """Return a wind along the strip and a slope of one day."""
    wind = float(rng.normal(0.0, scatter_mps))
    return Surroundings(
        wind_east_mps=wind * np.sin(1.1), wind_north_mps=wind * np.cos(1.1),
        slope=float(rng.normal(0.0, 0.002)), slope_bearing_rad=1.1,
    )  # fmt: skip


def both_modes(
    first: Machine, second: Machine, name: str, rng: np.random.Generator
) -> tuple[MeasuredRide, MeasuredRide]:
    """Return one log that holds two runs there and back in each mode, measured mode by mode."""
    own = still_air(first, rng, scatter_mps=SCATTER_MPS)
    shared = own.steady_mps() - first.steady_mps()
    ride = RideLayout(own, 1.1, blown(rng, 1.2))
    ride.stand(5.0)
    spans = []
    for machine in (first, second):
        ride.machine = machine.with_steady_speed(machine.steady_mps() + shared)
        began = ride.now_s - 3.0
        for _ in range(2):
            ride.drive(for_s=RUN_S, build_s=float(rng.uniform(0.15, 0.4)))
            ride.brake(decel_mps2=float(rng.uniform(2.4, 3.2)), build_s=0.25, ease_s=0.15)
            ride.stand(2.0)
            ride.shift(1.6, accel_mps2=0.8)
            ride.turn(np.pi, 3.0)
            ride.shift(0.0, accel_mps2=1.0)
            ride.stand(4.0)
        spans.append((began, ride.now_s - 3.0))
    receiver = preset("clean", 10.0, rng)
    motion = estimate_motion(to_track(receiver.observe(finish(ride, rng).truth, rng), name=name))
    bare = MeasuredRide(motion, RideSource.of(motion), Settings())
    told = [analyse(motion, settings_of_mode(bare, [span])) for span in spans]
    return told[0], told[1]


def modes_compared(
    changed: bool, number: int, rng: np.random.Generator
) -> tuple[Comparison, float]:
    """Return two modes compared, with the true difference of their top speeds."""
    second = random_machine(rng, float(rng.uniform(6.0, 11.0)))
    first = replace(
        second, no_load_radps=SLOWER * second.no_load_radps,
        limit_torque_nm=SLOWER * second.limit_torque_nm,
    ) if changed else second  # fmt: skip
    logs = [both_modes(first, second, f"log-{number}-{k}", rng) for k in range(LOGS)]
    found = compare(
        tuple(one for one, _ in logs), tuple(other for _, other in logs), modes=("slow", "fast")
    )
    return found, top_in_a_run(second) - top_in_a_run(first)


def stated_rows(machines: int, seed: int) -> Iterator[dict[str, Cell]]:
    """Yield ratio and difference for one, two and three rides."""
    for rides in (1, 2, 3):
        ratios: list[tuple[Estimate | None, float]] = []
        apart: list[tuple[Estimate | None, float]] = []
        for number in range(machines):
            rng = np.random.default_rng([seed, rides, number])
            found, was, now = held_against_a_statement(rides, rng)
            ratios.append((found.ratio, now / was))
            apart.append((found.difference, now - was))
        for name, told in (("ratio", ratios), ("difference", apart)):
            yield {
                "kind": "stated",
                "figure": name,
                "rides": rides,
                **Answers.given(told).figures(),
            }


def mode_rows(machines: int, seed: int) -> Iterator[dict[str, Cell]]:
    """Yield the differences of two modes, and false claims between a mode and itself."""
    for changed in (True, False):
        told: list[tuple[Estimate | None, float]] = []
        claimed = 0
        for number in range(machines):
            rng = np.random.default_rng([seed, 9 + changed, number])
            found, truth = modes_compared(changed, number, rng)
            top = found.get("two_way_mps") or found.get("best_1s_mps")
            known = None if top is None else top.difference
            told.append((None if known is None else known.difference, truth))
            claimed += any(one.verdict.word in (BETTER, WORSE) for one in found.figures)
        kind = "modes, 0.8 of the motor" if changed else "one mode twice"
        yield {
            "kind": kind, "figure": "top speed", "rides": LOGS, "claimed": claimed / machines,
            **Answers.given(told).figures(),
        }  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--machines", type=int, default=100)
    parser.add_argument("--kinds", default="stated,modes")
    add_options(parser, "statements")
    chosen = parser.parse_args()
    record = Record("statements", chosen, rides=chosen.machines)
    kinds = {"stated": stated_rows, "modes": mode_rows}
    for kind in chosen.kinds.split(","):
        for row in kinds[kind](chosen.machines, chosen.seed):
            record.add(**row)
    record.save()


if __name__ == "__main__":
    main()
