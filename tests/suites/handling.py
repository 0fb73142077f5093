"""Is weave found where it begins, and nowhere else; do the figures of turns hold? On request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/handling.py [--rides N] [--seed S] [--kinds clean] [--logs 10r,1p]
        [--rides-of weave,weave15,steady,hard,turning] [--record]

Weave: rides with a claim, onsets within 1 m/s of all rides, error and coverage of the
onset, and of the yaw-rate RMS of each class of speed against the truth's in the same seconds.
Turning rides: lateral acceleration and radius of every turn and of the ride, against the truth's
best window of the same length; "n" of "asked" have a figure.
"""

import argparse
from collections.abc import Iterator

import numpy as np
from handling_rides import hard_steered_ride, steady_ride, turning_ride, weave_ride
from labelled_rides import RandomRide
from log_in_memory import to_track
from receiver_presets import preset
from record import Cell, Record, add_options
from scipy.signal import butter, sosfiltfilt
from scores import Answers
from simulate.truth import STEP_S, running_integral

from ridelog.analysis.handling.band import seconds_in_band
from ridelog.analysis.handling.turns import Turns, measure_turns
from ridelog.analysis.handling.weave import LEAST_RATE_HZ, measure_weave
from ridelog.core.estimate import Estimate
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion

# Name: fixes a second, whether the log reports speed, white noise of a position.
LOGS = {
    "25r": (25.0, True, 0.05),
    "10r": (10.0, True, 0.05),
    "5r": (5.0, True, 0.05),
    "2r": (2.0, True, 0.3),
    "1r": (1.0, True, 0.3),
    "10p": (10.0, False, 0.05),
    "10p01": (10.0, False, 0.01),
    "5p": (5.0, False, 0.05),
    "1p": (1.0, False, 0.3),
}
RIDES = {
    "weave": weave_ride,
    "weave15": lambda rng: weave_ride(rng, rms_radps=0.15),
    "weave10": lambda rng: weave_ride(rng, rms_radps=0.10),
    "weave07": lambda rng: weave_ride(rng, rms_radps=0.075),
    "weave05": lambda rng: weave_ride(rng, rms_radps=0.05),
    "steady": steady_ride,
    "hard": hard_steered_ride,
    "turning": turning_ride,
}


Pairs = list[tuple[Estimate | None, float]]


def turns_of_ride(ride: RandomRide, motion: Motion, tallies: dict[str, Pairs]) -> None:
    """Add the figures of one ride's turns."""
    found: Turns = measure_turns(motion)
    truth = ride.truth
    width = round(found.lateral_window_s / STEP_S)
    lateral = running_integral(truth.velocity_mps * truth.yaw_rate_radps)
    means = np.abs(lateral[width:] - lateral[:-width]) / found.lateral_window_s
    least = np.inf
    for turn in found.turns:
        if turn.lateral_accel_mps2 is None:
            continue
        first = max(0, round((turn.start_s - 0.5 * found.lateral_window_s) / STEP_S))
        last = round((turn.end_s - 0.5 * found.lateral_window_s) / STEP_S) + 1
        tallies["turn lateral"].append((turn.lateral_accel_mps2, float(means[first:last].max())))
        if turn.radius_m is None:
            continue
        inner = round(min(found.lateral_window_s, (turn.end_s - turn.start_s) * 2.0 / 3.0) / STEP_S)
        first, last = round(turn.start_s / STEP_S), round(turn.end_s / STEP_S)
        way = (
            truth.distance_m[first + inner : last + 1] - truth.distance_m[first : last + 1 - inner]
        )
        swung = (
            truth.heading_rad[first + inner : last + 1]
            - truth.heading_rad[first : last + 1 - inner]
        )
        radius = float((way / np.abs(swung)).min())
        tallies["turn radius"].append((turn.radius_m, radius))
        least = min(least, radius)
    tallies["ride lateral"].append((found.max_lateral_accel_mps2, float(means.max())))
    if np.isfinite(least):
        tallies["ride radius"].append((found.min_turn_radius_m, least))


def main() -> None:
    """Run the suite and print rows for each log, kind of receiver and kind of ride."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=100)
    add_options(parser, "handling")
    parser.add_argument("--kinds", default="clean")
    parser.add_argument("--logs", default=",".join(LOGS))
    parser.add_argument("--rides-of", default="weave,weave15,weave05,steady,hard,turning")
    chosen = parser.parse_args()
    record = Record("handling", chosen, rides=chosen.rides)
    for log in chosen.logs.split(","):
        for kind in chosen.kinds.split(","):
            for name in chosen.rides_of.split(","):
                for row in rows(log, kind, name, chosen.rides, chosen.seed):
                    record.add(log=log, receiver=kind, ride=name, **row)
    record.save()


def rows(log: str, kind: str, name: str, rides: int, seed: int) -> Iterator[dict[str, Cell]]:
    """Yield a row for each figure of rides of one kind."""
    rate_hz, reports, white_m = LOGS[log]
    claims = near = 0
    onset: Pairs = []
    classes: Pairs = []
    turns: dict[str, Pairs] = {
        figure: [] for figure in ("turn lateral", "ride lateral", "turn radius", "ride radius")
    }
    for number in range(rides):
        rng = np.random.default_rng([seed, number])
        ride = RIDES[name](rng)
        receiver = preset(
            kind,  # type: ignore[arg-type]  # checked by preset
            rate_hz, rng, reports_speed=reports, position_white_m=white_m,
        )  # fmt: skip
        motion = estimate_motion(to_track(receiver.observe(ride.truth, rng)))
        if name == "turning":
            turns_of_ride(ride, motion, turns)
        found = measure_weave(motion)
        if found.weave_onset_mps is not None:
            claims += 1
            if ride.weave_onset_mps is not None:
                near += abs(found.weave_onset_mps.value - ride.weave_onset_mps) <= 1.0
                onset.append((found.weave_onset_mps, ride.weave_onset_mps))
        if rate_hz >= LEAST_RATE_HZ:
            add_classes(ride, motion, classes)
    yield {"figure": "weave claimed", "asked": rides, "n": claims, "within 1 m/s": near}
    for figure, pairs in (("onset", onset), ("RMS of a class", classes), *turns.items()):
        if pairs:
            yield {"figure": figure, "asked": len(pairs), **Answers.given(pairs).figures()}


def add_classes(ride: RandomRide, motion: Motion, tally: Pairs) -> None:
    """Add the yaw-rate RMS of every class of speed, beside the truth's in the same seconds."""
    seconds = seconds_in_band(motion)
    band = butter(4, [0.75, 3.2], "bandpass", fs=1.0 / STEP_S, output="sos")
    square = sosfiltfilt(band, ride.truth.yaw_rate_radps) ** 2
    first = np.round(seconds.start_s / STEP_S).astype(int)
    means = np.array([square[at : at + round(1.0 / STEP_S)].mean() for at in first])
    speed = seconds.mean_speed_mps
    for part in measure_weave(motion).weave:
        if part.yaw_rate_rms_radps is not None:
            inside = (speed >= part.from_mps) & (speed < part.to_mps)
            tally.append((part.yaw_rate_rms_radps, float(np.sqrt(means[inside].mean()))))


if __name__ == "__main__":
    main()
