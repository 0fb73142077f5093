"""All six samples compared: the change of the sprocket as it truly was."""

import json
from pathlib import Path
from typing import Any

import pytest

from ridelog.analysis.settings import Settings
from ridelog.compare.comparison import Comparison, compare
from ridelog.workflow.measure import measure_ride

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"
TRUTH: dict[str, Any] = json.loads((SAMPLES / "truth.json").read_text())


@pytest.fixture(scope="module")
def samples() -> Comparison:
    before, after = (
        tuple(
            measure_ride(SAMPLES / file, Settings())
            for file in sorted(TRUTH["rides"])
            if file.startswith(side)
        )
        for side in ("before", "after")
    )
    assert len(before) == len(after) == 3
    full = {"charge": "full"}
    return compare(before, after, noted_before=full, noted_after=dict(full))


def test_faster_on_top_and_weaker_from_standing(samples: Comparison) -> None:
    words = {each.figure.name: each.verdict.word for each in samples.figures}
    assert words["two_way_mps"] == words["best_1s_mps"] == "better"
    assert words["0-20 km/h"] == words["pull_at_2_mps"] == "worse"
    # Neither the brakes nor what holds the machine back were changed.
    rest = {word for name, word in words.items() if name.startswith(("mean_braking", "coasting"))}
    assert rest == {"no difference shown"}


def test_the_intervals_hold_what_the_sprocket_does(samples: Comparison) -> None:
    before, after = TRUTH["machines"]["before"], TRUTH["machines"]["after"]
    for name, key in (("two_way_mps", "steady_mps"), ("pull_at_2_mps", "pull_at_2_mps2")):
        found = samples.get(name)
        assert found is not None and found.difference is not None
        interval = found.difference.difference
        assert interval.low <= after[key] - before[key] <= interval.high, name


def test_the_curves_cross_where_the_machines_do(samples: Comparison) -> None:
    curves = samples.pull
    assert curves is not None and curves.crossing is not None
    assert curves.crossing.harder_below is False
    crossing = curves.crossing.speed_mps
    assert crossing.low <= TRUTH["crossing_mps"] <= crossing.high
    assert crossing.value == pytest.approx(TRUTH["crossing_mps"], abs=0.5)
