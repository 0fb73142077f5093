"""The same ride tells the same figure everywhere: result, book, comparison, prediction, table."""

import json
from pathlib import Path

import numpy as np
import pytest
from log_in_memory import to_track
from random_rides import out_and_back, starts_and_stops
from receiver_presets import preset

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import compare
from ridelog.compare.predicted import side_means
from ridelog.core.estimate import Estimate
from ridelog.filtering.smoother import estimate_motion
from ridelog.machine.predict import PREDICTED_NAMES
from ridelog.report.ride_json import ride_json, to_bytes
from ridelog.workflow.measure import measure_ride
from ridelog.workflow.measuring import measured

SAMPLES = sorted((Path(__file__).resolve().parents[2] / "sample_tracks").glob("*-?.*"))
# Kind of receiver, fixes a second, whether speed is reported.
LOGS = (
    ("clean", 10.0, True),
    ("drifting", 5.0, True),
    ("jumpy", 1.0, True),
    ("clean", 10.0, False),
    ("clean", 1.0, False),
)
SIMULATED = 20


def simulated(number: int) -> MeasuredRide:
    rng = np.random.default_rng([20261129, number])
    kind, rate_hz, reports = LOGS[number % len(LOGS)]
    ride = out_and_back(rng, plateau_s=4.0) if number % 2 else starts_and_stops(rng)
    receiver = preset(kind, rate_hz, rng, reports_speed=reports)  # type: ignore[arg-type]  # a kind
    return analyse(estimate_motion(to_track(receiver.observe(ride.truth, rng))))


def agrees_everywhere(ride: MeasuredRide) -> int:
    """Check every surface against the ride's own figures; return how many figures it tells."""
    told = {name: one.estimate for name, one in ride.figures.items()}
    firm = {name: one.firm for name, one in ride.figures.items()}
    listed = {one["name"]: one for one in json.loads(to_bytes(ride_json(ride)))["figures"]}
    assert list(listed) == list(told)
    for name, figure in firm.items():
        assert listed[name]["value"] == (None if figure is None else figure.as_json()), name
        assert listed[name]["value"] is not None or listed[name]["reason"], name
    kept = measured(ride.motion, ride).result.figures
    assert kept == {name: figure for name, figure in firm.items() if figure is not None}
    top = json.loads(to_bytes(ride_json(ride)))["top_speed"]
    for name in ("best_1s_mps", "best_5s_mps", "two_way_mps"):
        assert top[name] == listed[name]["value"], name
    best = told["best_1s_mps"]
    for name in ("best_5s_mps", "two_way_mps"):
        part = told[name]
        assert part is None or best is None or part.value <= best.value, name
    # A comparison and a prediction read the same figures of a side of one ride.
    second = MeasuredRide(**{**ride.__dict__, "source": _renamed(ride)})
    compared = compare((ride,), (second,))
    means = side_means((ride,))
    for each in compared.figures:
        read = each.before[0].estimate
        if read is not None and each.figure.name in told:
            assert read == told[each.figure.name], each.figure.name
            alone = means[PREDICTED_NAMES.get(each.figure.name, each.figure.name)]
            assert _same(alone, read), each.figure.name
    return sum(one is not None for one in told.values())


def _renamed(ride: MeasuredRide) -> object:
    return ride.source.__class__(**{**ride.source.__dict__, "sha256": "0" * 64, "file": "again"})


def _same(one: Estimate, other: Estimate) -> bool:
    return (one.value, one.low, one.high) == pytest.approx((other.value, other.low, other.high))


@pytest.mark.parametrize("log", SAMPLES, ids=lambda path: path.name)
def test_a_sample_tells_the_same_everywhere(log: Path) -> None:
    assert agrees_everywhere(measure_ride(log, Settings())) > 10


@pytest.mark.parametrize("number", range(SIMULATED))
def test_a_simulated_ride_tells_the_same_everywhere(number: int) -> None:
    assert agrees_everywhere(simulated(number)) > 0
