"""Are claims rare without a gain and sure with one? Simulated pairs of three rides a side.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/compare.py [--pairs N] [--seed S] [--kinds none,sprocket] [--rates 10,1]
                                   [--scatter 0.08] [--sides 3] [--synthetic] [--record]

Every pair has its own machine, its own receiver, a wind of its own on each side that helps one
direction and hinders the other, and rides that differ by 0.08 m/s in steady speed, or by each
``--scatter``; ``--sides`` is how many rides a side has. Kinds: none (no change), gain (1 m/s more
steady speed), sprocket (the machine of the samples at any steady speed, with the rear sprocket of
the samples after the change, or the two the other way round).

In which share of the pairs any figure was called better or worse; for each figure the same, with
bias, error, coverage and width of its difference, and without a change the share of p values below
0.1 and 0.5; for sprocket also the crossing of the pull curves. The rows of a kind are printed after
every tenth pair, so that a run that is ended early has told what it had.
With --synthetic the statistics alone are tried on normal figures, which takes seconds.
"""

import argparse
import itertools
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from labelled_rides import finish
from log_in_memory import to_track
from random_rides import random_machine
from receiver_presets import preset
from record import Cell, Record, add_options
from scores import Answers
from simulate import Machine, RideLayout, Surroundings
from simulate.sample_truth import crossing_speed_mps
from simulate.samples import AFTER, BEFORE, still_air

from ridelog.analysis.launches.windows import Window, parse_window
from ridelog.analysis.ride import analyse
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Compared, Comparison, compare
from ridelog.compare.difference import difference_of
from ridelog.compare.verdict import BETTER, WORSE
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import Estimate
from ridelog.filtering.smoother import estimate_motion

SCATTER_MPS = 0.08
GAIN_MPS = 1.0
RIDES_A_SIDE = 3
# Full throttle lasts this long in every run. [s]
RUN_S = 14.0
# Then the machine rolls out for so long. [s]
COAST_S = 7.0
# Rows are printed after so many pairs.
EVERY = 10
# Of the statistics alone.
TRIALS = 2000


@dataclass(frozen=True)
class Pair:
    """One simulated pair: what was found, and what is true of its machines."""

    comparison: Comparison
    before: Machine
    after: Machine

    @property
    def top_gain_mps(self) -> float:
        return top_in_a_run(self.after) - top_in_a_run(self.before)


def machines(kind: str, rng: np.random.Generator) -> tuple[Machine, Machine]:
    """Return the machine before and after the change."""
    if kind == "sprocket":
        larger = BEFORE.with_steady_speed(float(rng.uniform(9.0, 14.0)))
        smaller = replace(larger, rear_teeth=AFTER.rear_teeth)
        return (larger, smaller) if rng.random() < 0.5 else (smaller, larger)
    while True:
        before = random_machine(rng, float(rng.uniform(6.0, 11.0)))
        if kind == "none":
            return before, before
        try:
            after = before.with_steady_speed(before.steady_mps() + GAIN_MPS)
        except ValueError:
            continue  # power or grip cannot hold the higher speed: another machine
        # A machine that settles slowly does not reach its gain in a run of this length.
        if abs(top_in_a_run(after) - top_in_a_run(before) - GAIN_MPS) < 0.02:
            return before, after


def top_in_a_run(machine: Machine) -> float:
    """Return the best second of a run on the level in still air."""
    ride = RideLayout(machine, 1.1, Surroundings())
    ride.stand(1.0)
    ride.drive(for_s=RUN_S, build_s=0.3)
    return ride.build().best_mean_speed().speed_mps


def one_ride(
    machine: Machine,
    around: Surroundings,
    rate_hz: float,
    name: str,
    rng: np.random.Generator,
    scatter_mps: float = SCATTER_MPS,
) -> MeasuredRide:
    """Return one measured ride there and back: starts at full throttle, rolling out, stops."""
    ride = RideLayout(still_air(machine, rng, scatter_mps=scatter_mps), 1.1, around)
    ride.stand(float(rng.uniform(3.0, 5.0)))
    for _ in range(2):
        ride.drive(for_s=RUN_S, build_s=float(rng.uniform(0.15, 0.4)))
        ride.coast(until_mps=0.5 * ride.velocity_mps, for_s=COAST_S)
        ride.brake(decel_mps2=float(rng.uniform(2.4, 3.2)), build_s=0.25, ease_s=0.15)
        ride.stand(2.0)
        ride.shift(1.6, accel_mps2=0.8)
        ride.turn(np.pi, 3.0)
        ride.shift(0.0, accel_mps2=1.0)
        ride.stand(3.0)
    receiver = preset("clean", rate_hz, rng)
    track = to_track(receiver.observe(finish(ride, rng).truth, rng), name=name)
    motion = estimate_motion(track)
    return analyse(motion)


def one_pair(
    kind: str,
    rate_hz: float,
    seed: int,
    number: int,
    scatter_mps: float = SCATTER_MPS,
    rides_a_side: int = RIDES_A_SIDE,
) -> Pair:
    """Return one pair of some rides a side."""
    rng = np.random.default_rng([seed, number])
    before, after = machines(kind, rng)
    slope = float(rng.normal(0.0, 0.002))
    sides = []
    for side, machine in (("before", before), ("after", after)):
        wind = float(rng.normal(0.0, 1.2))
        rides = []
        for k in range(rides_a_side):
            blow = wind + float(rng.normal(0.0, 0.4))
            around = Surroundings(
                wind_east_mps=blow * np.sin(1.1),
                wind_north_mps=blow * np.cos(1.1),
                slope=slope,
                slope_bearing_rad=1.1,
            )
            rides.append(
                one_ride(machine, around, rate_hz, f"{side}-{number}-{k}", rng, scatter_mps)
            )
        sides.append(tuple(rides))
    # Without the rides, whose draws would fill the memory.
    # Nothing but the change differs, the charge included.
    full = {"charge": "full"}
    found = compare(sides[0], sides[1], noted_before=full, noted_after=full)
    return Pair(replace(found, before=(), after=()), before, after)


def rows(pairs: list[Pair], kind: str) -> Iterator[dict[str, Cell]]:
    """Yield how often anything was claimed, then a row for each figure."""
    count = len(pairs)
    claims = [{kind_of(one.figure.name) for one in claimed(pair)} for pair in pairs]
    told = [pair.comparison.get("two_way_mps") for pair in pairs]
    least = [one.verdict.smallest_shown for one in told if one and one.verdict.smallest_shown]
    yield {
        "figure": "any figure",
        "pairs": count,
        "claimed": share(map(bool, claims)),
        "two-way change that shows": float(np.median(least)) if least else None,
    }
    names = [kind_of(each.figure.name) for pair in pairs for each in pair.comparison.figures]
    for name in dict.fromkeys(names):
        yield {
            "figure": name,
            "pairs": count,
            "claimed": share(name in one for one in claims),
            **differences(pairs, name),
        }
    if kind == "sprocket":
        yield from sprocket_rows(pairs)


def claimed(pair: Pair) -> list[Compared]:
    """Return the figures that were called better or worse."""
    return [one for one in pair.comparison.figures if one.verdict.word in (BETTER, WORSE)]


def share(answers: Iterable[bool]) -> float:
    """Return the share of what is true."""
    return float(np.mean(list(answers)))


def word_of(pair: Pair, name: str) -> str:
    found = pair.comparison.get(name)
    return found.verdict.word if found else "missing"


def kind_of(name: str) -> str:
    """Return a measure's name without the speed at which these rides could be compared."""
    return "coasting" if name.startswith("coasting") else name


def differences(pairs: list[Pair], name: str) -> dict[str, Cell]:
    """Return bias and coverage of one measure's differences, and its p values without a change."""
    told, chance = [], []
    for pair in pairs:
        measures = pair.comparison.figures
        found = next((each for each in measures if kind_of(each.figure.name) == name), None)
        if found is None or found.difference is None:
            continue
        told.append((found.difference.difference, true_difference(name, pair)))
        if found.difference.contrast is not None:
            chance.append(found.difference.p_value)
    figures = Answers.given(told).figures()
    if chance and all(pair.before == pair.after for pair in pairs):
        for level in (0.1, 0.5):
            figures[f"p below {level:g}"] = share(p < level for p in chance)
    return figures


def true_difference(name: str, pair: Pair) -> float:
    """Return what the change did to a measure, on the level in still air."""
    if pair.before == pair.after or name.startswith(("mean_braking", "coasting")):
        return 0.0
    if name in ("two_way_mps", "best_1s_mps"):
        return pair.top_gain_mps
    if name == "pull_at_2_mps":
        return pull(pair.after, 2.0) - pull(pair.before, 2.0)
    label = name.removesuffix(" distance")
    try:
        window = parse_window(label)
    except RideLogError:
        return float("nan")  # what the driver does, not the machine, has no truth here
    figures = [start(machine, window) for machine in (pair.before, pair.after)]
    return figures[1][label != name] - figures[0][label != name]


def start(machine: Machine, window: Window) -> tuple[float, float]:
    """Return time and way of a start with the throttle open at once, over a window."""
    speed = np.linspace(window.from_mps, 0.999 * machine.steady_mps(), 20001)
    slowness = 1.0 / machine.acceleration_mps2(speed)
    steps = 0.5 * (slowness[1:] + slowness[:-1]) * np.diff(speed)
    time_s = np.append(0.0, np.cumsum(steps))
    way_m = np.append(0.0, np.cumsum(0.5 * (speed[1:] + speed[:-1]) * steps))
    if window.distance_m is not None:
        # A slow machine has its steady speed before the way ends.
        rest_m = max(window.distance_m - way_m[-1], 0.0)
        taken_s = float(np.interp(window.distance_m, way_m, time_s)) + rest_m / speed[-1]
        return taken_s, window.distance_m
    reached = window.to_mps or np.nan
    return float(np.interp(reached, speed, time_s)), float(np.interp(reached, speed, way_m))


def sprocket_rows(pairs: list[Pair]) -> Iterator[dict[str, Cell]]:
    """Yield what became of the trade-off: words and crossing."""
    right, crossings = [], []
    for pair in pairs:
        taller = pair.after.rear_teeth < pair.before.rear_teeth
        wanted = (BETTER, WORSE) if taller else (WORSE, BETTER)
        right.append((word_of(pair, "two_way_mps"), word_of(pair, "pull_at_2_mps")) == wanted)
        curves = pair.comparison.pull
        if curves is not None and curves.crossing is not None:
            true = crossing_speed_mps(pair.before, pair.after)
            crossings.append((curves.crossing.speed_mps, true))
    both = "top speed against pull, both told the right way"
    yield {"figure": both, "pairs": len(pairs), "claimed": share(right)}
    yield {"figure": "crossing", "pairs": len(pairs), **Answers.given(crossings).figures()}


def pull(machine: Machine, speed_mps: float) -> float:
    return float(machine.acceleration_mps2(np.asarray([speed_mps]))[0])


def synthetic(trials: int, seed: int) -> Iterator[dict[str, Cell]]:
    """Yield the coverage of the statistics alone, on normal figures of known spread."""
    rng = np.random.default_rng(seed)
    for n, m in ((1, 3), (2, 2), (2, 3), (3, 3), (2, 5), (5, 5)):
        for scatter in (0.0, 0.5, 1.0, 3.0):
            told = []
            for _ in range(trials):
                sides = []
                for count in (n, m):
                    values = rng.normal(0.0, np.hypot(1.0, scatter), count)
                    sides.append([Estimate(v, v - 1.6449, v + 1.6449) for v in map(float, values)])
                told.append((difference_of(sides[0], sides[1]).difference, 0.0))
            yield {
                "before": n,
                "after": m,
                "scatter / receiver's": scatter,
                **Answers.given(told).figures(),
            }


def main() -> None:
    """Run the suite and print its rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=200)
    add_options(parser, "compare")
    parser.add_argument("--kinds", default="none,gain,sprocket")
    parser.add_argument("--rates", default="10,1")
    parser.add_argument("--scatter", default=f"{SCATTER_MPS:g}", help="ride to ride, m/s")
    parser.add_argument("--sides", type=int, default=RIDES_A_SIDE)
    parser.add_argument("--synthetic", action="store_true")
    chosen = parser.parse_args()
    record = Record("compare", chosen, rides=TRIALS if chosen.synthetic else chosen.pairs)
    for row in synthetic(TRIALS, chosen.seed) if chosen.synthetic else ():
        record.add(**row)
    if chosen.synthetic:
        record.save()
        return
    for rate, kind, scatter in itertools.product(
        map(float, chosen.rates.split(",")),
        chosen.kinds.split(","),
        map(float, chosen.scatter.split(",")),
    ):
        heads: dict[str, Cell] = {"rate_hz": rate, "change": kind, "scatter": scatter}
        pairs: list[Pair] = []
        for number in range(chosen.pairs):
            pairs.append(one_pair(kind, rate, chosen.seed, number, scatter, chosen.sides))
            if len(pairs) % EVERY == 0 and len(pairs) < chosen.pairs:
                for row in rows(pairs, kind):
                    record.show(**heads, **row)
        for row in rows(pairs, kind):
            record.add(**heads, **row)
    record.save()


if __name__ == "__main__":
    main()
