"""Does an emptier pack pass for a change? The same machine full and at a quarter; on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/compare_charge.py [--pairs N] [--seed S] [--record NAME]

The machines are those of ``predict_strips``. Nothing is changed between the sides; each rides two
10 Hz logs with the pack full and two with it at 25 %, on a level strip in light wind. Rows tell in
how many pairs a figure got a verdict (better, worse) though nothing was changed, with the charge
noted on both sides and on neither.
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
from ridelog.compare.comparison import compare
from ridelog.compare.verdict import BETTER, WORSE
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.smoother import estimate_motion

_CHARGES = (1.0, 0.25)
_NOTED = ({"charge": "100 %"}, {"charge": "25 %"})


def ridden(rng: np.random.Generator, machine: ElectricMachine, name: str) -> MeasuredRide:
    """Return one measured ride of one run each way."""
    wind = float(rng.uniform(-1.5, 1.5))
    ride, _ = ride_on_strip(machine, rng, wind_mps=wind, ways=(1, -1))
    seen = preset("clean", 10.0, rng).observe(ride, rng)
    return analyse(estimate_motion(to_track(seen, name=name)))


def main() -> None:
    """Run the suite and print a row for each way of noting the charge."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=100)
    add_options(parser, "compare_charge")
    chosen = parser.parse_args()
    record = Record("compare_charge", chosen, rides=chosen.pairs)
    wrong = {"both": Counter[str](), "neither": Counter[str]()}
    pairs = Counter[str]()
    for number in range(chosen.pairs):
        rng = np.random.default_rng([chosen.seed, number])
        machine = draw_electric(rng)
        before, after = (
            tuple(
                ridden(rng, replace(machine, charge=charge), f"{side}{place}") for place in (1, 2)
            )
            for side, charge in zip(("full", "low"), _CHARGES, strict=True)
        )
        for told, noted in (("both", _NOTED), ("neither", ({}, {}))):
            found = compare(
                before, after, unit=SPEED_UNITS["km/h"],
                noted_before=noted[0], noted_after=noted[1],
            )  # fmt: skip
            claimed = [
                one.figure.name for one in found.figures if one.verdict.word in (BETTER, WORSE)
            ]
            wrong[told].update(claimed)
            pairs[told] += bool(claimed)
        if number % 5 == 4:
            print(number + 1, dict(pairs), dict(wrong["both"]), flush=True)
    for told, each in wrong.items():
        record.add(noted=told, figure="any", pairs=chosen.pairs, false_verdicts=pairs[told])
        for figure, count in each.most_common():
            record.add(noted=told, figure=figure, pairs=chosen.pairs, false_verdicts=count)
    record.save()


if __name__ == "__main__":
    main()
