"""A stretch left out carries no figure, and the result says that it was left out."""

import json
from pathlib import Path

import pytest

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"


def test_the_best_second_lies_outside_what_is_left_out() -> None:
    motion = estimate_motion(load_track(SAMPLES / "before-1.gpx"))
    usual = analyse(motion)
    at_s = usual["top_speed"].at_s
    # Both runs of the faster direction: the other ones truly stay below it.
    truth = json.loads((SAMPLES / "truth.json").read_text())["rides"]["before-1.gpx"]
    best_mps = truth["best_1s_mps"]
    fast = [one["start_s"] for one in truth["launches"] if one["top_mps"] > best_mps - 0.1]
    left_out = tuple((start_s, start_s + 30.0) for start_s in fast)
    assert any(first <= at_s <= last for first, last in left_out)
    settings = Settings(left_out_s=left_out)
    result = analyse(motion, settings)
    assert not any(first <= result["top_speed"].at_s <= last for first, last in left_out)
    assert (
        result["top_speed"].best_1s_mps is not None and usual["top_speed"].best_1s_mps is not None
    )
    assert result["top_speed"].best_1s_mps.value < usual["top_speed"].best_1s_mps.value
    assert Settings.from_json(result.settings.as_json()) == settings


@pytest.mark.parametrize("record", [{}, {"windows": []}])
def test_settings_that_name_nothing_are_the_usual_ones(record: dict[str, object]) -> None:
    assert Settings.from_json(record) == Settings()
