"""Are brakings and resistances right, and do their intervals hold? Random rides, on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/braking.py [--rides N] [--seed S] [--kinds clean,jumpy] [--logs 10r,1p]
                                   [--parts brakings,coasting,phases] [--record]

brakings: of the labelled ones that take off 1.5 m/s and more, how many were found, bias and root
mean square error of mean deceleration, distance and initial speed with the share of intervals that
hold the truth, errors of its start and end, and how many were found that the truth does not hold
(the truth slows down by less than 0.4 m/s² there). coasting: the resistance at three speeds.
phases: the share of labelled time that carries its name. The receivers differ in kind from the
filter's model: see tests/rides/simulate. Kind "mixed" takes the kinds of receiver in turn.
"""

import argparse
from collections import defaultdict
from collections.abc import Iterator
from functools import partial

import numpy as np
from handling_rides import turning_ride
from labelled_rides import RandomRide, finish
from log_in_memory import to_track
from random_rides import brake_anyhow, out_and_back, start_ride, starts_and_stops, u_turn
from receiver_presets import RECEIVER_KINDS, preset
from record import Cell, Record, add_options
from scores import Answers
from simulate import Span

from ridelog.analysis.braking.measure import Brakings, measure_brakings
from ridelog.analysis.coasting.measure import measure_coast_down
from ridelog.analysis.phases.measure import divide_ride
from ridelog.core.estimate import Estimate
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion

# Name: fixes a second, whether the log reports speed, white noise of a position.
LOGS = {
    "10r": (10.0, True, 0.05),
    "5r": (5.0, True, 0.05),
    "1r": (1.0, True, 0.3),
    "10p": (10.0, False, 0.05),
    "5p": (5.0, False, 0.05),
    "1p": (1.0, False, 0.3),
}
# The least that a labelled braking takes off to be asked for: what measure_brakings promises.
LEAST_DROP_MPS = 1.5
# Labels of the simulator and the phases they belong to; a pull's tail may be steady.
NAMES = {
    "stands": {"standstill"},
    "launches": {"launch", "steady"},
    "brakings": {"braking"},
    "coasts": {"coasting"},
    "turns": {"turning"},
    "steady": {"steady"},
}
Row = dict[str, float]


def logged(ride: RandomRide, log: str, kind: str, rng: np.random.Generator) -> Motion:
    """Return what the filter makes of a ride logged in one way."""
    rate_hz, reports, white_m = LOGS[log]
    receiver = preset(
        kind,  # type: ignore[arg-type]  # checked by preset
        rate_hz, rng, reports_speed=reports, position_white_m=white_m,
    )  # fmt: skip
    return estimate_motion(to_track(receiver.observe(ride.truth, rng)))


def one_braked(log: str, kind: str, seed: int, number: int) -> list[Row]:
    """Return a row for each braking of one ride, true or found."""
    kind = _kind_of(kind, number)
    rng = np.random.default_rng([seed, number, 1])
    # One in three of those that start and stop brakes at once: one machine in six.
    if number % 2:
        ride = starts_and_stops(rng, at_once=rng.random() < 1.0 / 3.0)
    else:
        ride = out_and_back(rng)
    found = measure_brakings(logged(ride, log, kind, rng))
    return _compared(ride, found)


def _kind_of(kind: str, number: int) -> str:
    # Half the numbers make the other kind of ride, so each kind of receiver meets both.
    return RECEIVER_KINDS[number // 2 % len(RECEIVER_KINDS)] if kind == "mixed" else kind


def _compared(ride: RandomRide, found: Brakings) -> list[Row]:
    rows: list[Row] = []
    for true in ride.labels["brakings"]:
        if true.from_mps - true.to_mps < LEAST_DROP_MPS:
            continue
        match = [
            one
            for one in found.each
            if min(one.end_s, true.end_s) - max(one.start_s, true.start_s)
            > 0.5 * (true.end_s - true.start_s)
        ]
        if not match:
            rows.append({"missed": 1.0})
            continue
        one = match[0]
        decel = (true.from_mps**2 - true.to_mps**2) / (2.0 * true.distance_m)
        row = {"missed": 0.0, "start": one.start_s - true.start_s, "end": one.end_s - true.end_s}
        for name, estimate, value in (
            ("mean deceleration", one.mean_decel_mps2, decel),
            ("distance", one.distance_m, true.distance_m),
            ("initial speed", one.initial_speed_mps, true.from_mps),
        ):
            row |= _errors(name, estimate, value)
        if one.developed_decel_mps2 is not None and true.to_mps == 0.0:
            developed = _developed(ride, true)
            row |= _errors("developed deceleration", one.developed_decel_mps2, developed)
        rows.append(row)
    truth = ride.truth
    for one in found.each:
        inside = (truth.time_s > one.start_s) & (truth.time_s < one.end_s)
        if float(-truth.accel_mps2[inside].mean()) < 0.4:
            rows.append({"invented": 1.0})
    return rows


def _developed(ride: RandomRide, true: Span) -> float:
    """Return the true mean fully developed deceleration of a stop. [m/s²]"""
    truth = ride.truth
    inside = (truth.time_s >= true.start_s) & (truth.time_s <= true.end_s)
    speed, way = truth.speed_mps[inside], truth.distance_m[inside]
    upper, lower = 0.8 * true.from_mps, 0.1 * true.from_mps
    # Speed falls, so both are read backwards.
    at_upper, at_lower = np.interp([upper, lower], speed[::-1], way[::-1])
    return float((upper**2 - lower**2) / (2.0 * (at_lower - at_upper)))


def _errors(name: str, estimate: Estimate, value: float) -> Row:
    return {
        name: estimate.value - value,
        f"{name} low": estimate.low - value,
        f"{name} high": estimate.high - value,
    }


def braked_rows(found: list[Row]) -> Iterator[dict[str, Cell]]:
    """Yield a row for each figure of brakings."""
    asked = [row for row in found if "missed" in row]
    yield {
        "figure": "brakings",
        "asked": len(asked),
        "n": sum(row["missed"] == 0.0 for row in asked),
        "invented": sum("invented" in row for row in found),
    }
    for name in ("mean deceleration", "developed deceleration", "distance", "initial speed"):
        yield _figures(asked, name)
    for name in ("start", "end"):
        errors = _column(asked, name)
        bias, rms = np.nan, np.nan
        if len(errors):
            bias, rms = float(np.mean(errors)), float(np.sqrt(np.mean(errors**2)))
        yield {"figure": name, "n": len(errors), "bias": bias, "rms": rms}


def _column(found: list[Row], name: str) -> np.ndarray:
    return np.array([row[name] for row in found if name in row])


def _figures(found: list[Row], name: str) -> dict[str, Cell]:
    """Return the columns of one figure from the errors of its value and of its ends."""
    value, low, high = (_column(found, f"{name}{end}") for end in ("", " low", " high"))
    return {"figure": name, **Answers(np.zeros_like(value), value, low, high).figures()}


def coasting_ride(rng: np.random.Generator) -> RandomRide:
    """Return runs there and back, each rolled out, in some wind on a slight slope."""
    ride = start_ride(rng, steady_mps=float(rng.uniform(6.0, 15.0)))
    ride.stand(float(rng.uniform(4.0, 8.0)))
    for _ in range(int(rng.choice([2, 4]))):
        ride.drive(for_s=float(rng.uniform(12.0, 18.0)))
        ride.coast(until_mps=float(rng.uniform(1.8, 3.2)), build_s=float(rng.uniform(0.2, 0.5)))
        brake_anyhow(ride, rng)
        ride.stand(3.0)
        ride.shift(1.5, accel_mps2=0.8)
        u_turn(ride, rng)
        ride.shift(0.0, accel_mps2=1.0)
        ride.stand(3.0)
    return finish(ride, rng)


def one_coasted(log: str, kind: str, seed: int, number: int) -> list[Row]:
    """Return the errors of the resistance of one ride."""
    kind = _kind_of(kind, number)
    rng = np.random.default_rng([seed, number, 2])
    ride = coasting_ride(rng)
    motion = logged(ride, log, kind, rng)
    braked = tuple((one.start_s, one.end_s) for one in measure_brakings(motion).each)
    found = measure_coast_down(motion, excluded=braked)
    if found.fit is None:
        return [{"none": 1.0}]
    machine, row = ride.machine, {"none": 0.0}
    for name, index in (
        ("at its lowest speed", 0),
        ("in the middle", len(found.curve) // 2),
        ("at its highest speed", -1),
    ):
        speed, decel = found.curve[index].speed_mps, found.curve[index].decel_mps2
        true = float(machine.resistance_n(np.array([speed]))[0]) / machine.mass_kg
        if decel is not None:
            row |= _errors(name, decel, true)
    if found.linear_ps and found.rolling_mps2 and found.air_pm:
        row |= _errors("a", found.rolling_mps2, machine.resistance_a_n / machine.mass_kg)
        row |= _errors("b", found.linear_ps, machine.resistance_b_nspm / machine.mass_kg)
        row |= _errors("c", found.air_pm, machine.resistance_c_ns2pm2 / machine.mass_kg)
    return [row]


def coasted_rows(found: list[Row]) -> Iterator[dict[str, Cell]]:
    """Yield a row for each figure of the resistance."""
    given = [row for row in found if row["none"] == 0.0]
    yield {"figure": "resistance", "asked": len(found), "n": len(given)}
    for name in ("at its lowest speed", "in the middle", "at its highest speed", "a", "b", "c"):
        yield _figures(given, name)


def one_divided(log: str, kind: str, seed: int, number: int) -> list[Row]:
    """Return seconds of each label, and those that carry its name."""
    kind = _kind_of(kind, number)
    rng = np.random.default_rng([seed, number, 3])
    maker = (starts_and_stops, out_and_back, turning_ride, coasting_ride)[number % 4]
    ride = maker(rng)
    motion = logged(ride, log, kind, rng)
    phases = divide_ride(motion, brakings=measure_brakings(motion))
    counted: defaultdict[str, float] = defaultdict(float)
    for label, names in NAMES.items():
        for span in ride.labels[label]:
            counted[label] += span.end_s - span.start_s
            for phase in phases.each:
                if phase.kind in names:
                    both = min(phase.end_s, span.end_s) - max(phase.start_s, span.start_s)
                    counted[f"{label} named"] += max(both, 0.0)
    return [dict(counted)]


def divided_rows(found: list[Row]) -> Iterator[dict[str, Cell]]:
    """Yield the share of each label's time that carries its name."""
    for label in NAMES:
        seconds = sum(row.get(label, 0.0) for row in found)
        named = sum(row.get(f"{label} named", 0.0) for row in found)
        yield {"figure": label, "share named": named / seconds if seconds else np.nan}


PARTS = {
    "brakings": (one_braked, braked_rows),
    "coasting": (one_coasted, coasted_rows),
    "phases": (one_divided, divided_rows),
}


def main() -> None:
    """Run the suite and print the rows of each kind."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=200)
    add_options(parser, "braking")
    parser.add_argument("--kinds", default=",".join(RECEIVER_KINDS))
    parser.add_argument("--logs", default=",".join(LOGS))
    parser.add_argument("--parts", default=",".join(PARTS))
    chosen = parser.parse_args()
    record = Record("braking", chosen, rides=chosen.rides)
    for part in chosen.parts.split(","):
        one, rows = PARTS[part]
        for log in chosen.logs.split(","):
            for kind in chosen.kinds.split(","):
                ride = partial(one, log, kind, chosen.seed)
                found = [row for number in range(chosen.rides) for row in ride(number)]
                for row in rows(found):
                    record.add(part=part, log=log, receiver=kind, **row)
    record.save()


if __name__ == "__main__":
    main()
