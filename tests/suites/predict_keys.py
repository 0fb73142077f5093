"""Are wrong keys of a set-up named by the rides, and right ones let be? On request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/predict_keys.py [--machines N] [--verbose] [--seed S] [--record NAME]

The machines are those of ``predict_strips``: stepped through time, as far off from what is typed
and on a day of its own as there, with one 10 Hz ride both ways on a strip of up to 1 % in some
wind; of every other one the charge is noted. Each is checked with what is typed of it and with one
key of that wrong by 20 % or more, up or down. Rows tell in how many a contradiction was found and
the wrong key named, in how many it was the only explanation or the first, and of how many right
set-ups some key was doubted.

The rides tell an error where the check of the right set-up finds it large enough to be found in
95 of 100 such rides; the row "told" has those machines, "all" every one, the others those of a key.
"""

import argparse
import time
from collections import defaultdict
from typing import Any

import numpy as np
from log_in_memory import to_track
from predict_strips import built, draw_electric, on_a_day, setup_of
from receiver_presets import preset
from record import Record, add_options
from scipy.special import ndtri
from simulate.electric import ride_on_strip

from ridelog.analysis.ride import analyse
from ridelog.core.estimate import QUANTILE
from ridelog.filtering.smoother import estimate_motion
from ridelog.machine.calibration_data import calibration_data_of
from ridelog.machine.fit import fit
from ridelog.machine.key_check import CHANCE, contradicted_keys, tried_keys
from ridelog.machine.priors import Said
from ridelog.machine.setup import MachineSetup

KEYS = (
    "tyre_circumference_m", "gearbox_ratio", "motor_rpm_per_v", "battery_cells", "battery_limit_a",
    "motor_limit_a", "machine_mass_kg", "rider_mass_kg",
)  # fmt: skip


def wrong(rng: np.random.Generator, setup: MachineSetup, key: str) -> tuple[MachineSetup, float]:
    """Return a set-up with one key wrong, and the logarithm of what that key has of the right."""
    right = float(getattr(setup, key))
    factor = float(rng.uniform(1.2, 1.8) if rng.random() < 0.5 else rng.uniform(0.5, 0.8))
    value: Any = right * factor
    if key == "battery_cells":
        value = int(np.ceil(value) if factor > 1.0 else np.floor(value))
    return setup.model_copy(update={key: value}), float(np.log(value / right))


def main() -> None:
    """Run the suite and print its rows."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--verbose", action="store_true")
    add_options(parser, "predict_keys")
    chosen = parser.parse_args()
    record = Record("predict_keys", chosen, rides=chosen.machines)
    rows: dict[str, list[tuple[bool, bool, bool]]] = defaultdict(list)
    doubted, began = 0, time.process_time()
    for number in range(chosen.first, chosen.first + chosen.machines):
        rng = np.random.default_rng([chosen.seed, number])
        typed = draw_electric(rng)
        machine = on_a_day(rng, built(rng, typed))
        wind = float(rng.uniform(-4.0, 4.0)) * float(rng.random() < 0.5)
        grade = float(rng.uniform(-0.01, 0.01))
        ride, charge = ride_on_strip(machine, rng, grade=grade, wind_mps=wind)
        seen = preset("clean", 10.0, rng).observe(ride, rng)
        data = [calibration_data_of(analyse(estimate_motion(to_track(seen))))]
        said = Said((charge, 0.04) if number % 2 else None)
        right, key = setup_of(typed), KEYS[number % len(KEYS)]
        setup, off_log = wrong(rng, right, key)
        tried = tried_keys(right, data, said)
        own = contradicted_keys(fit(right, data, said=said), data, said, tried)
        found = contradicted_keys(fit(setup, data, said=said), data, said)
        # A part of the mass counts by what it makes of the whole.
        whole = float((right.machine_mass_kg or 0.0) + (right.rider_mass_kg or 0.0))
        share = getattr(right, key) / whole if "mass" in key else 1.0
        off_log = abs(float(np.log1p(share * np.expm1(off_log))))
        needed = -float(ndtri(0.5 * CHANCE / max(len(tried), 1))) + QUANTILE
        told = off_log > needed * min(
            (one.sd_log for one in tried if key in one.keys), default=np.inf
        )
        doubted += own is not None
        named = found is not None and key in found.keys
        first = found is not None and key in found.explanations[0].keys
        alone = first and found is not None and len(found.explanations) == 1
        for row in ("all", key, *(["told"] if told else [])):
            rows[row].append((named, first, alone))
        if chosen.verbose:
            print(
                number, key, f"{np.exp(off_log):.2f}", "told" if told else "not told",
                "right doubted:" if own else "", own.keys if own else "",
                [(one.keys, round(one.sure, 2)) for one in found.explanations] if found else "-",
                f"{(time.process_time() - began) / (number + 1 - chosen.first):.1f} s", flush=True,
            )  # fmt: skip
    for row, each in rows.items():
        record.add(
            row=row, n=len(each),
            **{name: float(np.mean(column)) for name, column in zip(
                ("named", "first", "alone"), zip(*each, strict=True), strict=True)},
        )  # fmt: skip
    record.add(row="right set-ups", n=chosen.machines, doubted=doubted / chosen.machines)
    record.save()


if __name__ == "__main__":
    main()
