"""Are wrong keys of a set-up named, and right ones left alone? On request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/predict_keys.py [--machines N] [--seed S] [--record NAME]

The machines are those of ``predict_strips``, ridden once both ways on a level strip. Each is held
against its true set-up, and against one with a single key wrong by 20 % or more, up or down. Rows
tell of each key how often it was among those named: of all machines, and of those where the rides
tell it, which is decided by the stepped machine alone: whether a true top speed or a true pull at
2 or 4 m/s moves by 10 % or more if the key were true, three times what the fit leaves open of it.
"""

import argparse
from collections import defaultdict
from dataclasses import replace

import numpy as np
from log_in_memory import to_track
from predict_strips import draw_electric, setup_of
from receiver_presets import preset
from record import Record, add_options
from simulate.electric import ElectricMachine, level_truth, ride_on_strip

from ridelog.analysis.ride import analyse
from ridelog.core.units import RADPS_PER_RPM
from ridelog.filtering.smoother import estimate_motion
from ridelog.machine.calibration_data import calibration_data_of
from ridelog.machine.key_check import contradicted_keys, known_without_keys
from ridelog.machine.priors import Said
from ridelog.machine.setup import MachineSetup

KEYS = (
    "motor_rpm_per_v", "tyre_circumference_m", "gearbox_ratio", "battery_cells", "battery_limit_a",
    "motor_limit_a", "machine_mass_kg",
)  # fmt: skip
# Wrong by this factor or its inverse, at least and at most.
_LEAST, _MOST = 1.2, 1.8
_SHOWS = 0.10


def wrong(rng: np.random.Generator, setup: MachineSetup, key: str) -> tuple[MachineSetup, float]:
    """Return a set-up with one key wrong, and by which factor."""
    factor = float(np.exp(rng.uniform(np.log(_LEAST), np.log(_MOST)))) ** float(rng.choice([-1, 1]))
    old = getattr(setup, key)
    new = old * factor
    if key == "battery_cells":
        new = int(np.ceil(new) if factor > 1.0 else np.floor(new))
        factor = new / old
    return MachineSetup(**{**setup.given(), key: new}), factor


def as_given(machine: ElectricMachine, setup: MachineSetup) -> ElectricMachine:
    """Return the machine that a set-up describes, all else as it is."""
    kilos = (setup.machine_mass_kg or 0.0) + (setup.rider_mass_kg or 0.0)
    cells = setup.battery_cells or 1
    more = cells / machine.pack.cells
    return replace(
        machine,
        mass_kg=kilos,
        circumference_m=setup.tyre_circumference_m or 1.0,
        ratio=setup.gearbox_ratio or 1.0,
        volt_second=1.0 / ((setup.motor_rpm_per_v or 1.0) * RADPS_PER_RPM),
        winding_limit_a=setup.motor_limit_a or 1.0,
        battery_limit_a=setup.battery_limit_a or 1.0,
        pack=replace(machine.pack, cells=cells, ohm=machine.pack.ohm * more),
    )


def told_by(machine: ElectricMachine, other: ElectricMachine) -> bool:
    """Return whether two machines differ by so much that rides tell them apart."""
    one, two = level_truth(machine), level_truth(other)
    if not (one.top_mps > 5.5 and two.top_mps > 5.5):
        return True
    pairs = [(one.top_mps, two.top_mps)]
    pairs += [(one.pull_at(speed), two.pull_at(speed)) for speed in (2.0, 4.0)]
    return any(abs(b / a - 1.0) > _SHOWS for a, b in pairs)


def main() -> None:
    """Run the suite and print a row for each key."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=200)
    add_options(parser, "predict_keys")
    chosen = parser.parse_args()
    record = Record("predict_keys", chosen, rides=chosen.machines)
    named: dict[str, list[tuple[bool, bool, bool]]] = defaultdict(list)
    doubted: list[str] = []
    for number in range(chosen.machines):
        rng = np.random.default_rng([chosen.seed, number])
        machine = draw_electric(rng)
        setup = setup_of(machine)
        ride, _ = ride_on_strip(machine, rng)
        seen = preset("clean", 10.0, rng).observe(ride, rng)
        data = [calibration_data_of(analyse(estimate_motion(to_track(seen))))]
        blind = known_without_keys(data)
        found = contradicted_keys(setup, data, Said(), blind)
        doubted.append(found[0].words if found else "")
        if found:
            print(f"  {number} right, doubted: {found[0].sentence(setup)}", flush=True)
        key = KEYS[number % len(KEYS)]
        changed = wrong(rng, setup, key)
        found = contradicted_keys(changed[0], data, Said(), blind)
        among = any(key in one.keys for one in found)
        told = told_by(machine, as_given(machine, changed[0]))
        named[key].append((told, among, bool(found)))
        if told and not among:
            print(f"  {number} {key} x {changed[1]:.2f} not named; {len(found)} others", flush=True)
        if number % 10 == 9:
            every = [one for each in named.values() for one in each if one[0]]
            print(f"{number + 1}: told {len(every)}, named {sum(a for _, a, _ in every)}, "
                  f"right doubted {sum(map(bool, doubted))}", flush=True)  # fmt: skip
    named["any"] = [one for each in named.values() for one in each]
    for key, rows in named.items():
        of_told = [among for shows, among, _ in rows if shows]
        record.add(
            key=key, n=len(rows), named=float(np.mean([among for _, among, _ in rows])),
            told=len(of_told), named_of_told=float(np.mean(of_told)) if of_told else None,
        )  # fmt: skip
    record.add(
        key="none wrong", n=len(doubted), doubted=float(np.mean([bool(word) for word in doubted]))
    )
    record.save()


if __name__ == "__main__":
    main()
