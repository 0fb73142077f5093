"""Are claims rare without a gain and sure with one? Simulated pairs of three rides a side.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/compare.py [--pairs N] [--seed S] [--kinds none,sprocket] [--rates 10,1]

Every pair has its own machine, its own receiver, a wind of its own on each side that helps one
direction and hinders the other, and rides that differ by 0.08 m/s in steady speed. Kinds: none (no
change), gain (1 m/s more steady speed), sprocket (the machine of the samples at any steady speed,
with the rear sprocket of the samples after the change, or the two the other way round).

Each line: in how many pairs any figure was called better or worse, in how many the top speed was;
for each difference the share of intervals that hold the truth, bias, spread, width, and without a
change how many p values lie below 0.1 and 0.5; for sprocket also the crossing of the pull curves.
The lines of a kind are printed after every tenth pair, so that a run that is ended early has told
what it had.
With --synthetic the statistics alone are tried on normal figures, which takes seconds.
"""

import argparse
import secrets
from dataclasses import dataclass, replace

import numpy as np

from ridelog.analysis.launches.windows import Window, parse_window
from ridelog.analysis.ride import analyse
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Comparison, compare
from ridelog.compare.difference import difference_of
from ridelog.compare.verdict import BETTER, WORSE
from ridelog.core.estimate import Estimate
from ridelog.filtering.smoother import estimate_motion
from ridelog.simulate import preset, to_track
from ridelog.simulate.labels import finish
from ridelog.simulate.machine import Machine, random_machine
from ridelog.simulate.rides import still_air
from ridelog.simulate.sample_truth import crossing_speed_mps
from ridelog.simulate.samples import AFTER, BEFORE
from ridelog.simulate.spans import Surroundings
from ridelog.simulate.vehicle import Ride

SCATTER_MPS = 0.08
GAIN_MPS = 1.0
RIDES_A_SIDE = 3
# Full throttle lasts this long in every run. [s]
RUN_S = 14.0
# Then the machine rolls out for so long. [s]
COAST_S = 7.0
# Lines are printed after so many pairs.
EVERY = 10


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
    ride = Ride(machine, 1.1, Surroundings())
    ride.stand(1.0)
    ride.drive(for_s=RUN_S, build_s=0.3)
    return ride.build().best_mean_speed().speed_mps


def one_ride(
    machine: Machine, around: Surroundings, rate_hz: float, name: str, rng: np.random.Generator
) -> MeasuredRide:
    """Return one measured ride there and back: starts at full throttle, rolling out, stops."""
    ride = Ride(still_air(machine, rng, scatter_mps=SCATTER_MPS), 1.1, around)
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


def one_pair(kind: str, rate_hz: float, seed: int, number: int) -> Pair:
    """Return one pair of three rides a side."""
    rng = np.random.default_rng([seed, number])
    before, after = machines(kind, rng)
    slope = float(rng.normal(0.0, 0.002))
    sides = []
    for side, machine in (("before", before), ("after", after)):
        wind = float(rng.normal(0.0, 1.2))
        rides = []
        for k in range(RIDES_A_SIDE):
            blow = wind + float(rng.normal(0.0, 0.4))
            around = Surroundings(
                wind_east_mps=blow * np.sin(1.1),
                wind_north_mps=blow * np.cos(1.1),
                slope=slope,
                slope_bearing_rad=1.1,
            )
            rides.append(one_ride(machine, around, rate_hz, f"{side}-{number}-{k}", rng))
        sides.append(tuple(rides))
    # Without the rides, whose draws would fill the memory.
    found = compare(sides[0], sides[1])
    return Pair(replace(found, before=(), after=()), before, after)


def summary(pairs: list[Pair], kind: str) -> list[str]:
    """Return the lines of one kind."""
    claimed = [
        any(each.verdict.word in (BETTER, WORSE) for each in pair.comparison.figures)
        for pair in pairs
    ]
    top = [word_of(pair, "two_way_mps") in (BETTER, WORSE) for pair in pairs]
    best = [word_of(pair, "best_1s_mps") in (BETTER, WORSE) for pair in pairs]
    lines = [
        f"any figure claimed {np.mean(claimed):.3f}, top speed {np.mean(top):.3f}, best second "
        f"{np.mean(best):.3f} of {len(pairs)} pairs"
    ]
    names = [each.figure.name for pair in pairs for each in pair.comparison.figures]
    for name in sorted(set(map(kind_of, names)), key=[kind_of(name) for name in names].index):
        lines.append(f"  {name}: {held(pairs, name)}")
    if kind == "sprocket":
        lines += sprocket_lines(pairs)
    return lines


def word_of(pair: Pair, name: str) -> str:
    found = pair.comparison.get(name)
    return found.verdict.word if found else "missing"


def kind_of(name: str) -> str:
    """Return a measure's name without the speed at which these rides could be compared."""
    return "coasting" if name.startswith("coasting") else name


def held(pairs: list[Pair], name: str) -> str:
    """Return the coverage of one measure's differences, with bias and mean width."""
    inside, error, width, chance = [], [], [], []
    for pair in pairs:
        measures = pair.comparison.figures
        found = next((each for each in measures if kind_of(each.figure.name) == name), None)
        if found is None or found.difference is None:
            continue
        interval, true = found.difference.difference, true_difference(name, pair)
        inside.append(interval.low <= true <= interval.high)
        error.append(interval.value - true)
        width.append(interval.high - interval.low)
        if found.difference.contrast is not None:
            chance.append(found.difference.p_value)
    if not inside:
        return "none told"
    words = (
        f"{len(inside)} told, held {np.mean(inside):.3f}, bias {np.mean(error):+.3f}, sd "
        f"{np.std(error):.3f}, width {np.mean(width):.3f}"
    )
    if not chance or any(pair.before != pair.after for pair in pairs):
        return words
    below = [np.mean(np.less(chance, level)) for level in (0.1, 0.5)]
    return f"{words}, p below 0.1 {below[0]:.2f}, 0.5 {below[1]:.2f}"


def true_difference(name: str, pair: Pair) -> float:
    """Return what the change did to a measure, on the level in still air."""
    if pair.before == pair.after or name.startswith(("mean_braking", "coasting")):
        return 0.0
    if name in ("two_way_mps", "best_1s_mps"):
        return pair.top_gain_mps
    if name == "pull_at_2_mps":
        return pull(pair.after, 2.0) - pull(pair.before, 2.0)
    label = name.removesuffix(" distance")
    figures = [start(machine, parse_window(label)) for machine in (pair.before, pair.after)]
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


def sprocket_lines(pairs: list[Pair]) -> list[str]:
    """Return what became of the trade-off: words and crossing."""
    right = []
    for pair in pairs:
        taller = pair.after.rear_teeth < pair.before.rear_teeth
        wanted = (BETTER, WORSE) if taller else (WORSE, BETTER)
        words = (word_of(pair, "two_way_mps"), word_of(pair, "pull_at_2_mps"))
        right.append(words == wanted)
    errors, inside = [], []
    for pair in pairs:
        curves = pair.comparison.pull
        if curves is not None and curves.crossing is not None:
            true = crossing_speed_mps(pair.before, pair.after)
            errors.append(curves.crossing.speed_mps.value - true)
            inside.append(curves.crossing.speed_mps.low <= true <= curves.crossing.speed_mps.high)
    return [
        f"  top speed against pull, both told the right way: {np.mean(right):.3f}",
        f"  crossing told {len(errors)}, within 1 m/s {np.mean(np.abs(errors) < 1.0):.3f}, held "
        f"{np.mean(inside):.3f}, rms {np.sqrt(np.mean(np.square(errors))):.3f} m/s"
        if errors
        else "  crossing never told",
    ]


def pull(machine: Machine, speed_mps: float) -> float:
    return float(machine.acceleration_mps2(np.asarray([speed_mps]))[0])


def synthetic(trials: int, seed: int) -> list[str]:
    """Return the coverage of the statistics alone, on normal figures of known spread."""
    rng = np.random.default_rng(seed)
    lines = []
    for n, m in ((1, 3), (2, 2), (2, 3), (3, 3), (2, 5), (5, 5)):
        for scatter in (0.0, 0.5, 1.0, 3.0):
            inside = 0
            for _ in range(trials):
                sides = []
                for count in (n, m):
                    values = rng.normal(0.0, np.hypot(1.0, scatter), count)
                    sides.append([Estimate(v, v - 1.6449, v + 1.6449) for v in map(float, values)])
                interval = difference_of(sides[0], sides[1]).difference
                inside += interval.low <= 0.0 <= interval.high
            lines.append(
                f"{n} and {m} rides, scatter {scatter} of the receiver's: {inside / trials:.3f}"
            )
    return lines


def main() -> None:
    """Run the suite and print its lines."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=secrets.randbelow(10**9))
    parser.add_argument("--kinds", default="none,gain,sprocket")
    parser.add_argument("--rates", default="10,1")
    parser.add_argument("--synthetic", action="store_true")
    chosen = parser.parse_args()
    print(f"seed {chosen.seed}")
    if chosen.synthetic:
        print("\n".join(synthetic(2000, chosen.seed)))
        return
    for rate in map(float, chosen.rates.split(",")):
        for kind in chosen.kinds.split(","):
            pairs: list[Pair] = []
            for number in range(chosen.pairs):
                pairs.append(one_pair(kind, rate, chosen.seed, number))
                if len(pairs) % EVERY == 0 or len(pairs) == chosen.pairs:
                    print(f"{rate:g} Hz, {kind}:", *summary(pairs, kind), sep="\n  ", flush=True)


if __name__ == "__main__":
    main()
