"""Is an unchanged machine called changed because its battery is emptier? On request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/compare_charge.py [--pairs N] [--rides 2] [--seed S] [--record NAME]

The machines are those of ``predict_strips``, stepped through time: some rides with a full pack,
some with a quarter of it, in one order or the other, on a level strip in a wind that differs from
side to side. Both sides are compared with the charge noted and without. Rows tell in which share of
the pairs any figure was called better or worse, and which figures were how often; and how many
figures of a pair had no verdict because the charge could be all of the difference.
"""

import argparse
from collections import Counter
from dataclasses import replace

import numpy as np
from log_in_memory import to_track
from predict_strips import draw_electric
from receiver_presets import preset
from record import Record, add_options
from simulate.electric import ElectricMachine, ride_on_strip

from ridelog.analysis.ride import analyse
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Comparison, compare
from ridelog.compare.verdict import BETTER, WORSE
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.smoother import estimate_motion

_CHARGES = (1.0, 0.25)


def side(
    rng: np.random.Generator, machine: ElectricMachine, charge: float, count: int
) -> tuple[MeasuredRide, ...]:
    """Return rides that all begin with one charge, each in a wind of the day."""
    day = float(rng.uniform(-2.0, 2.0)) * float(rng.random() < 0.5)
    rides = []
    for _ in range(count):
        wind = day + float(rng.normal(0.0, 0.3))
        ride, _ = ride_on_strip(replace(machine, charge=charge), rng, wind_mps=wind)
        seen = preset("clean", 10.0, rng).observe(ride, rng)
        rides.append(analyse(estimate_motion(to_track(seen))))
    return tuple(rides)


def claimed(found: Comparison) -> list[str]:
    """Return the names of the figures that were called better or worse."""
    return [one.figure.name for one in found.figures if one.verdict.word in (BETTER, WORSE)]


def main() -> None:
    """Run the suite and print its rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=100)
    parser.add_argument("--rides", type=int, default=2)
    add_options(parser, "compare_charge")
    chosen = parser.parse_args()
    record = Record("compare_charge", chosen, rides=chosen.pairs)
    false: dict[str, list[list[str]]] = {"noted": [], "not noted": []}
    held: dict[str, int] = dict.fromkeys(false, 0)
    for number in range(chosen.pairs):
        rng = np.random.default_rng([chosen.seed, number])
        machine = draw_electric(rng)
        order = _CHARGES if rng.random() < 0.5 else _CHARGES[::-1]
        before, after = (side(rng, machine, charge, chosen.rides) for charge in order)
        for way in false:
            notes = [{"charge": f"{100.0 * one:g} %"} if way == "noted" else {} for one in order]
            found = compare(
                before, after, unit=SPEED_UNITS["km/h"], noted_before=notes[0],
                noted_after=notes[1],
            )  # fmt: skip
            false[way].append(claimed(found))
            held[way] += sum(one.charge is not None for one in found.figures)
        print(number, order, {way: each[-1] for way, each in false.items()}, flush=True)
    for way, each in false.items():
        names = Counter(name for one in each for name in one)
        record.add(
            charge=way, pairs=len(each), false_verdict=float(np.mean([bool(one) for one in each])),
            withheld_a_pair=held[way] / len(each),
            figures=", ".join(f"{name} {times}" for name, times in names.most_common()) or "none",
        )  # fmt: skip
    record.save()


if __name__ == "__main__":
    main()
