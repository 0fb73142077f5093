"""Does a set-up alone hold? Grounds, charges and chemistries drawn widely, no ride; on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/predict_unridden.py [--machines N] [--untold] [--seed S] [--record NAME]

The machines are those of ``predict_strips``, as far off from what is typed as there, on any ground,
with packs of any chemistry and charge; ground and charge are told, or not with ``--untold``. Rows
tell how often top speed, 0-20 km/h, energy and range at 20 km/h of the machine stepped through time
lie in the predicted intervals.
"""

import argparse
from collections import defaultdict
from dataclasses import replace

import numpy as np
from predict_strips import built, draw_electric, setup_of
from record import Record, add_options
from scores import Answers, Interval
from simulate.electric import (
    RESTING_V,
    ElectricMachine,
    cruise,
    level_truth,
    range_m,
)

from ridelog.analysis.launches.windows import parse_window
from ridelog.core.units import MPS_PER_KMH
from ridelog.machine.conditions import Conditions
from ridelog.machine.predict import predict

_GOAL_MPS = 20.0 * MPS_PER_KMH
# Rolling resistance on each ground, any as likely between the ends that are printed: hard road
# (Moyer, Marks' Standard Handbook) and worn asphalt (Carvill, Mechanical Engineer's Data Handbook,
# 1993); rolled gravel (Carvill) and wet loose gravel (Moyer); grass from memory, to soil (Carvill).
_ROLLING = {"asphalt": (0.008, 0.02), "gravel": (0.01, 0.06), "grass": (0.03, 0.08)}


def draw(rng: np.random.Generator) -> tuple[ElectricMachine, str]:
    """Return a machine with any pack, and the ground it stands on."""
    machine = draw_electric(rng)
    chemistry = str(rng.choice(sorted(RESTING_V)))
    nominal = {"li-ion": 3.9, "lifepo4": 3.28, "lead-acid": 2.04}[chemistry]
    cells = round(machine.pack.cells * 3.9 / nominal)
    cells = 6 * max(round(cells / 6), 1) if chemistry == "lead-acid" else cells
    pack = replace(
        machine.pack,
        chemistry=chemistry,
        cells=cells,
        peukert=float(rng.uniform(1.05, 1.25)) if chemistry == "lead-acid" else 1.0,
        cutoff_v=cells * {"li-ion": 3.0, "lifepo4": 2.6, "lead-acid": 1.75}[chemistry],
    )
    ground = str(rng.choice(sorted(_ROLLING)))
    rolling = float(np.exp(rng.uniform(*np.log(_ROLLING[ground]))))
    charge = float(rng.uniform(0.15, 1.0))
    return replace(machine, pack=pack, rolling=rolling, charge=charge), ground


def truths(machine: ElectricMachine) -> dict[str, float]:
    """Return what the machine truly does, by the names of a prediction; NaN where it cannot."""
    level = level_truth(machine)
    amps, volts = cruise(machine, _GOAL_MPS, machine.charge)
    return {
        "top_speed_mps": level.top_mps,
        "0-20 km/h": level.time_to(_GOAL_MPS) if level.top_mps > 1.1 * _GOAL_MPS else np.nan,
        "energy_at_20_kmh_j_per_m": amps * volts / _GOAL_MPS,
        "range_at_20_kmh_m": range_m(replace(machine, charge=1.0), _GOAL_MPS) or np.nan,
    }


def main() -> None:
    """Run the suite and print a row for each figure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=300)
    parser.add_argument("--untold", action="store_true")
    add_options(parser, "predict_unridden")
    chosen = parser.parse_args()
    record = Record("predict_unridden", chosen, rides=chosen.machines)
    told: dict[str, list[Interval]] = defaultdict(list)
    withheld: dict[str, int] = defaultdict(int)
    for number in range(chosen.machines):
        rng = np.random.default_rng([chosen.seed, number])
        typed, ground = draw(rng)
        setup = setup_of(typed, **({} if chosen.untold else {"surface": ground}))
        machine = built(rng, typed)
        charge = None if chosen.untold else (machine.charge, 0.04)
        answer = predict(
            setup, [], {}, [parse_window("0-20 km/h")], conditions=Conditions(rides_charge=charge)
        )
        for name, true in truths(machine).items():
            figure = answer.get(name)
            now = None if figure is None else figure.now
            if now is None:
                withheld[name] += 1
            elif np.isfinite(true):
                told[name].append((now.value / true, now.low / true, now.high / true))
        if number % 10 == 9:
            print(number + 1, {k: round(Answers.of_intervals((1.0, r) for r in v).held, 2)
                               for k, v in told.items()}, flush=True)  # fmt: skip
    for name, ratios in told.items():
        figures = Answers.of_intervals((1.0, one) for one in ratios).figures()
        record.add(figure=name, told=not chosen.untold, withheld=withheld[name], **figures)
    record.save()


if __name__ == "__main__":
    main()
