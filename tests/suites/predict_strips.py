"""Do predictions hold on slopes and in wind? Machines of another model ride a strip; on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/predict_strips.py [--machines N] [--slopes 0 4] [--seed S] [--record NAME]

The machines are stepped through time (``simulate.electric``), which shares nothing with the model
under test; what is typed of each is as far off as such figures are; each has its pack at some
charge, rides one 10 Hz log on a strip of the slope asked for in some wind up to 4 m/s, both ways or
one (up or down), on a day with its own weather, and is then predicted on the level in still air.
Rows tell how often the intervals of "now" hold what the machine truly does there on a usual day, or
on that of the ride where "now" is what the ride itself tells: of so many ``asked`` figures ``n``
were given, the others were not, and of those given the share ``range`` is too wide to be told as
more than a range.
"""

import argparse
import time
from collections import Counter, defaultdict
from dataclasses import fields, replace

import numpy as np
from log_in_memory import to_track
from receiver_presets import preset
from record import Record, add_options
from scores import Answers
from simulate.electric import (
    ElectricMachine,
    Pack,
    SoftMachine,
    cruise,
    level_truth,
    level_truth_speed,
    range_m,
    ride_on_strip,
)

from ridelog.analysis.launches.windows import parse_window
from ridelog.analysis.ride import analyse
from ridelog.compare.predicted import predict_from
from ridelog.core.errors import RideLogError
from ridelog.core.units import MPS_PER_KMH, RADPS_PER_RPM, SPEED_UNITS
from ridelog.filtering.smoother import estimate_motion
from ridelog.machine.predict import Prediction
from ridelog.machine.setup import MachineSetup

_GOAL_MPS = 20.0 * MPS_PER_KMH
_PULLS = (2.0, 4.0, 6.0)
# Chains lost 1.4 to 19.1 % (Spicer, Human Power 50, 2000, from memory); gears and belts lie within.
_MESH_LOSS = (0.014, 0.191)
# At the limit of its current a small motor lacks up to this share of the torque that a straight
# line would give: from memory, of torque curves.
_SATURATED = 0.15


def draw_electric(rng: np.random.Generator) -> ElectricMachine:
    """Return a machine with rider, drawn widely around small electric machines; invented ranges."""
    mass = float(rng.uniform(75.0, 190.0))
    cells = int(rng.choice([10, 12, 13, 14, 16]))
    wished = float(rng.uniform(7.0, 13.0))
    circumference = float(rng.uniform(0.75, 1.5))
    ratio = float(rng.uniform(3.5, 8.0))
    pack_v = 3.9 * cells
    constant = pack_v / (1.15 * wished * 2.0 * np.pi * ratio / circumference)
    pull_n = mass * float(rng.uniform(1.1, 2.8))
    per_amp = constant * 2.0 * np.pi * ratio / circumference * 0.93
    amps = pull_n / per_amp
    capacity = float(rng.uniform(8.0, 30.0))
    resting_n = mass * 9.81 * 0.02 + 0.3 * wished**2
    power = float(rng.uniform(1.1, 2.5)) * resting_n * wished / 0.85
    return ElectricMachine(
        mass_kg=mass,
        wheels_kg=float(rng.uniform(1.0, 5.0)),
        circumference_m=circumference,
        ratio=ratio,
        mesh_loss=float(np.exp(rng.uniform(*np.log(_MESH_LOSS)))),
        volt_second=constant,
        winding_ohm=pack_v / amps * float(rng.uniform(0.04, 0.15)),
        idle_nm=float(rng.uniform(0.02, 0.08)) * amps * constant * 0.5,
        winding_limit_a=amps,
        battery_limit_a=power / pack_v,
        chopper_ohm=pack_v / amps * float(rng.uniform(0.002, 0.01)),
        chopper_w=float(rng.uniform(2.0, 12.0)),
        opening_s=float(rng.uniform(0.15, 0.5)),
        throttle_sets_current=bool(rng.random() < 0.5),
        rolling=float(rng.uniform(0.012, 0.03)),
        rolling_ps=float(rng.uniform(0.0, 0.0006)),
        drag_area_m2=float(rng.uniform(0.32, 0.62)),
        grip_n=max(mass * float(rng.uniform(3.5, 5.0)), 1.1 * pull_n),
        pack=Pack(
            cells=cells,
            capacity_ah=capacity,
            ohm=cells * float(rng.uniform(0.06, 0.14)) / capacity,
            slow_ohm=cells * 0.02 / capacity,
            cutoff_v=3.0 * cells,
        ),
        charge=float(rng.uniform(0.35, 1.0)),
    )


def built(rng: np.random.Generator, machine: ElectricMachine) -> SoftMachine:
    """Return a machine of which what is typed is as far off as such figures are.

    ``setup_of(machine)`` is what is typed of the one returned. Standard deviations, common practice
    without a source: scales 2 %, the rider's own word 3 %, a rolled-out tyre 1 %, a motor's speed
    for a volt 3 %, a controller's limits 6 %, volts of cells as full as another's 1 %; of the
    capacity on its label a pack has 0.95, give or take 6 %. Iron saturates: see ``_SATURATED``.
    """

    def off(sd: float) -> float:
        return float(np.exp(sd * rng.standard_normal()))

    plain = {each.name: getattr(machine, each.name) for each in fields(machine)}
    heavier = 0.55 * off(0.02) + 0.45 * off(0.03)
    winding_a = machine.winding_limit_a * off(0.06)
    missing = float(rng.uniform(0.001, _SATURATED))
    plain |= {
        "mass_kg": machine.mass_kg * heavier,
        "grip_n": machine.grip_n * heavier,
        "circumference_m": machine.circumference_m * off(0.01),
        "volt_second": machine.volt_second * off(0.03),
        "winding_limit_a": winding_a,
        "battery_limit_a": machine.battery_limit_a * off(0.06),
        "pack": replace(
            machine.pack,
            cells=machine.pack.cells * off(0.01),
            capacity_ah=0.95 * machine.pack.capacity_ah * off(0.06),
        ),
    }
    return SoftMachine(
        **plain, saturation_a=winding_a / float(np.sqrt((1.0 - missing) ** -2 - 1.0)), taper=0.0
    )


def on_a_day(rng: np.random.Generator, machine: ElectricMachine) -> ElectricMachine:
    """Return the machine as it is on one day, in other weather than usual.

    Within ten kelvins of the usual on two days of three: tyres roll lighter by 0.8 % a kelvin (ISO
    28580), air thins as an ideal gas, copper gains 0.39 % a kelvin; tyres' pressure moves their
    rolling by as much again, air pressure the drag by 1 %. From memory.
    """
    warmer = 10.0 * float(rng.standard_normal())
    air = (1.0 - warmer / 293.0) * (1.0 + 0.01 * float(rng.standard_normal()))
    tyres = float(np.exp(-0.008 * warmer + 0.08 * rng.standard_normal()))
    return replace(
        machine,
        rolling=tyres * machine.rolling,
        drag_area_m2=air * machine.drag_area_m2,
        winding_ohm=(1.0 + 0.0039 * warmer) * machine.winding_ohm,
    )


def setup_of(machine: ElectricMachine, **more: object) -> MachineSetup:
    """Return what a workshop would write down of a machine: all but what only a bench tells."""
    known = {
        "machine_mass_kg": round(0.55 * machine.mass_kg, 0),
        "rider_mass_kg": round(0.45 * machine.mass_kg, 0),
        "tyre_circumference_m": round(machine.circumference_m, 2),
        "gearbox_ratio": round(machine.ratio, 3),
        "motor_rpm_per_v": round(1.0 / machine.volt_second / RADPS_PER_RPM, 1),
        "battery_cells": machine.pack.cells,
        "battery_chemistry": machine.pack.chemistry,
        "battery_capacity_ah": round(machine.pack.capacity_ah, 1),
        "battery_limit_a": round(machine.battery_limit_a, 0),
        "motor_limit_a": round(machine.winding_limit_a, 0),
    }
    return MachineSetup(**{**known, **more})  # type: ignore[arg-type]  # keys of the set-up


def truths(machine: ElectricMachine, *, ridden: bool = False) -> dict[str, float]:
    """Return what a machine truly does on the level, by the names of a prediction.

    A start overshoots the top speed that settles by up to 1 % while the pack still sags: what was
    ``ridden`` is the fastest of it, what is foretold the settled one.
    """
    truth = level_truth(machine)
    fastest = float(truth.speed_mps.max())
    found = {"top_speed_mps": fastest if ridden else level_truth_speed(machine)}
    if truth.top_mps > 1.05 * _GOAL_MPS:
        found["0-20 km/h"] = truth.time_to(_GOAL_MPS)
    for speed in _PULLS:
        if speed < 0.85 * truth.top_mps:
            found[f"pull_at_{speed:g}_mps"] = truth.pull_at(speed)
    return found


def travels(machine: ElectricMachine) -> dict[str, float]:
    """Return what a metre on the level takes and how far a full pack goes, at 20 km/h and flat out.

    By the names of a prediction; NaN where the machine cannot hold the speed.
    """
    found, full = {}, replace(machine, charge=1.0)
    for name, speed, held in (
        ("at_top", 0.999999 * level_truth_speed(machine), None),
        ("at_20_kmh", _GOAL_MPS, _GOAL_MPS),
    ):
        amps, volts = cruise(machine, speed, machine.charge)
        found[f"energy_{name}_j_per_m"] = amps * volts / speed
        # No way at all is a speed that even the full pack does not hold.
        found[f"range_{name}_m"] = range_m(full, held) or float("nan")
    return found


def predicted(
    rng: np.random.Generator,
    machine: ElectricMachine,
    setup: MachineSetup,
    *,
    grade: float,
    wind_mps: float,
    ways: tuple[int, ...],
) -> tuple[Prediction, ElectricMachine, float]:
    """Return the prediction from one 10 Hz ride on a strip.

    With it the machine as it was on that day, and its charge half way through.
    """
    today = on_a_day(rng, machine)
    ride, charge = ride_on_strip(today, rng, grade=grade, wind_mps=wind_mps, ways=ways)
    seen = preset("clean", 10.0, rng).observe(ride, rng)
    measured = analyse(estimate_motion(to_track(seen)))
    answer = predict_from(
        setup, (measured,), {}, SPEED_UNITS["km/h"],
        windows=[parse_window("0-20 km/h")],
    )  # fmt: skip
    return answer, today, charge


def main() -> None:
    """Run the suite and print a row for each slope and figure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--machines", type=int, default=40)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--slopes", type=float, nargs="+", default=[0, 1, 2, 3, 4, 6])
    parser.add_argument("--one-way", action="store_true")
    parser.add_argument("--verbose", action="store_true")
    add_options(parser, "predict_strips")
    chosen = parser.parse_args()
    record = Record("predict_strips", chosen, rides=chosen.machines)
    ways = (1, 1, 1) if chosen.one_way else (1, -1, 1, -1)
    for slope in chosen.slopes:
        told: dict[tuple[str, str, str], list[tuple[float, float, float, bool]]] = defaultdict(list)
        asked: Counter[tuple[str, str]] = Counter()
        refused, began = 0, time.process_time()
        for number in range(chosen.first, chosen.first + chosen.machines):
            # Other machines and days on every slope: the luck of a few is not that of all rows.
            rng = np.random.default_rng([chosen.seed, round(10.0 * slope), number])
            typed = draw_electric(rng)
            setup, machine = setup_of(typed), built(rng, typed)
            wind = float(rng.uniform(-4.0, 4.0)) * float(rng.random() < 0.5)
            grade = 0.01 * slope * float(rng.choice([-1.0, 1.0]))
            # Only a machine that climbs the strip can be ridden there.
            if level_truth(machine, abs(grade)).top_mps < 3.0:
                continue
            try:
                answer, today, charge = predicted(
                    rng, machine, setup, grade=grade, wind_mps=wind, ways=ways
                )
            except RideLogError as error:
                refused += 1
                print(f"  {number}: {error}", flush=True)
                continue
            there = replace(machine, charge=charge)
            usual = truths(there) | travels(there)
            ridden = truths(replace(today, charge=charge), ridden=True)
            ridden_ways = "both" if not chosen.one_way else "up" if grade > 0.0 else "down"
            for name in usual:
                figure = answer.get(name)
                asked[ridden_ways, name] += bool(np.isfinite(usual[name]))
                for which in ("now", "fitted_now"):
                    # What the rides themselves tell is of their day.
                    of_day = which == "now" and name in answer.measured
                    true = (ridden if of_day else usual).get(name, np.nan)
                    now = getattr(figure, which) if figure is not None else None
                    key = (ridden_ways, name, which)
                    if now is not None and np.isfinite(true):
                        ratios = (now.value / true, now.low / true, now.high / true)
                        told[key].append((*ratios, now.firm))
                        if chosen.verbose and not ratios[1] <= 1.0 <= ratios[2]:
                            print(f"  {number} {grade:+.2f} {wind:+.1f} {key} "
                                  + " ".join(f"{r:.3f}" for r in ratios), flush=True)  # fmt: skip
        for (way, name, which), each in sorted(told.items()):
            figures = Answers.of_intervals((1.0, one[:3]) for one in each).figures()
            record.add(
                slope_percent=slope, ways=way, figure=name,
                which=which, refused=refused, asked=asked[way, name], **figures,
                range=float(np.mean([not one[3] for one in each])),
            )  # fmt: skip
        print(f"{(time.process_time() - began) / chosen.machines:.1f} s of CPU a machine")
    record.save()


if __name__ == "__main__":
    main()
