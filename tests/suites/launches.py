"""Launch times and pull on random standing starts, on request.

Run from the repository root, with a fresh seed each time unless one is given:

    python tests/suites/launches.py [--rides N] [--seed S] [--kinds clean,jumpy] [--logs 10r,1p]
                                    [--record]

Kind "mixed" takes the kinds of receiver in turn.

For each log: launches of more than 2.2 m/s that were found, missed and invented; then bias, root
mean square error, coverage of the 90 % interval and its mean width for the time over each window,
for the pull at 2 and 4 m/s against the mean over the same starts of the true acceleration (1 m/s
over the true time from half below to half above; both directions alike, as the curve is), and for
the standing pull.
"""

import argparse
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np
from log_in_memory import to_track
from random_rides import starts_and_stops
from receiver_presets import RECEIVER_KINDS, preset
from record import Record, add_options
from scores import Answers
from simulate import Truth

from ridelog.analysis.acceleration.measure import measure_acceleration
from ridelog.analysis.acceleration.runs import AccelerationRun, draw_runs
from ridelog.analysis.launches.measure import measure_launches
from ridelog.core.estimate import Estimate
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
# Label, figure, true value.
Outcome = tuple[str, Estimate | None, float]
_LEAST_TOP_MPS = 2.2


def one_ride(log: str, kind: str, seed: int, number: int) -> tuple[list[Outcome], int, int, int]:
    """Return outcomes of one random ride, and launches there, found and invented."""
    rate_hz, reports, white_m = LOGS[log]
    kind = RECEIVER_KINDS[number % len(RECEIVER_KINDS)] if kind == "mixed" else kind
    rng = np.random.default_rng([seed, number])
    # One machine in three pulls and brakes at once, as the priors of both have it.
    ride = starts_and_stops(rng, at_once=rng.random() < 1.0 / 3.0)
    receiver = preset(
        kind,  # type: ignore[arg-type]  # checked by preset
        rate_hz, rng, reports_speed=reports, position_white_m=white_m,
    )  # fmt: skip
    motion = estimate_motion(to_track(receiver.observe(ride.truth, rng)))
    drawn = draw_runs(motion)
    launches = measure_launches(drawn).launches
    settled = motion.settled_s if np.isfinite(motion.settled_s) else np.inf
    there = [
        span
        for span in ride.labels["launches"]
        if span.top_mps > _LEAST_TOP_MPS and span.start_s > settled + 2.0
    ]
    outcomes: list[Outcome] = []
    found, invented = set(), 0
    for launch in launches:
        starts = [span.start_s for span in ride.labels["launches"]]
        nearest = min(starts, key=lambda start: abs(start - launch.start_s))
        if abs(nearest - launch.start_s) > 2.0:
            invented += 1
            continue
        found.add(nearest)
        outcomes.append(("start", launch.start_estimate_s, nearest))
        for timed in launch.windows:
            if timed.label.endswith(("km/h", " m")):
                end = true_time(ride.truth, nearest, timed.to_mps, timed.distance_m)
                begin = (
                    true_time(ride.truth, nearest, timed.from_mps, None) if timed.from_mps else 0.0
                )
                # What the truth only reaches in a later start, this one has no time for.
                if nearest + end > min((s for s in starts if s > nearest), default=np.inf):
                    end = float("nan")
                label = timed.label
                if label not in ("0-20 km/h", "0-30 m"):
                    label = "from standing" if timed.standing else "rolling"
                outcomes.append((label, timed.time_s, end - begin))
    pull = measure_acceleration(drawn)
    for speed in (2.0, 4.0):
        runs = [
            one.run
            for one in drawn
            if speed - 0.5 >= one.run.low_mps + 0.75 and speed + 0.5 <= 0.93 * one.run.top_mps
        ]
        outcomes.append(
            (f"pull {speed:g} m/s", pull.at(speed), _true_pull(ride.truth, runs, speed, 0.5))
        )
    standing = [one.run for one in drawn if one.run.standing]
    outcomes.append(
        (
            "standing pull",
            pull.standing_mps2,
            _true_pull(ride.truth, standing, 1.75, 0.75, alike=False),
        )
    )
    return outcomes, len(there), len(found & {s.start_s for s in there}), invented


def true_time(
    truth: Truth, start_s: float, to_mps: float | None, distance_m: float | None
) -> float:
    """Return how long a speed or a distance truly took from a start; NaN if never reached. [s]"""
    if distance_m is not None:
        return truth.time_to_distance(start_s, distance_m)
    times = truth.crossing_times(to_mps or 0.0)
    after = times[times > start_s]
    return float(after[0] - start_s) if len(after) else float("nan")


def _true_pull(
    truth: Truth, runs: list[AccelerationRun], speed: float, half: float, *, alike: bool = True
) -> float:
    found = np.full(len(runs), np.nan)
    for index, run in enumerate(runs):
        begin, end = (
            times[times > run.earliest_s - 0.3][:1]
            for times in (truth.crossing_times(speed - half), truth.crossing_times(speed + half))
        )
        if len(begin) and len(end) and begin[0] < end[0] < run.top_s + 0.5:
            found[index] = 2.0 * half / float(end[0] - begin[0])
    known = np.isfinite(found)
    if not alike:
        return float(found[known].mean()) if known.any() else float("nan")
    course = np.array([run.course_rad for run in runs])
    # Each direction of the straight counts the same; a start is along it or against it.
    along = np.cos(course - course[0]) > 0.0 if len(runs) else known
    there, back = found[known & along], found[known & ~along]
    means = [float(way.mean()) for way in (there, back) if len(way)]
    return float(np.mean(means)) if means else float("nan")


def main() -> None:
    """Run the suite and print the rows of each kind."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rides", type=int, default=200)
    add_options(parser, "launches")
    parser.add_argument("--kinds", default=",".join(RECEIVER_KINDS))
    parser.add_argument("--logs", default=",".join(LOGS))
    parser.add_argument("--workers", type=int, default=None)
    chosen = parser.parse_args()
    record = Record("launches", chosen, rides=chosen.rides)
    with ProcessPoolExecutor(chosen.workers) as pool:
        for log in chosen.logs.split(","):
            for kind in chosen.kinds.split(","):
                ride = partial(one_ride, log, kind, chosen.seed)
                results = list(pool.map(ride, range(chosen.rides)))
                there, found, invented = np.sum([r[1:] for r in results], axis=0)
                record.add(
                    log=log, receiver=kind, figure="launches", asked=int(there), n=int(found),
                    invented=int(invented),
                )  # fmt: skip
                grouped: dict[str, list[Outcome]] = defaultdict(list)
                for outcomes, *_ in results:
                    for outcome in outcomes:
                        grouped[outcome[0]].append(outcome)
                for label in sorted(grouped):
                    told = Answers.given((one, true) for _, one, true in grouped[label])
                    record.add(
                        log=log, receiver=kind, figure=label, asked=len(grouped[label]),
                        **told.figures(),
                    )  # fmt: skip
    record.save()


if __name__ == "__main__":
    main()
