"""A stretch left out carries no figure, and the result says that it was left out."""

from pathlib import Path

import pytest

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"


def test_the_best_second_lies_outside_what_is_left_out() -> None:
    motion = estimate_motion(load_track(SAMPLES / "before-2.nmea"))
    usual = analyse(motion)
    at_s = usual["top_speed"].at_s
    left_out = ((at_s - 15.0, at_s + 15.0),)
    settings = Settings(left_out_s=left_out)
    result = analyse(motion, settings)
    assert abs(result["top_speed"].at_s - at_s) >= 14.0
    assert (
        result["top_speed"].best_1s_mps is not None and usual["top_speed"].best_1s_mps is not None
    )
    assert result["top_speed"].best_1s_mps.value < usual["top_speed"].best_1s_mps.value
    assert Settings.from_json(result.settings.as_json()) == settings


@pytest.mark.parametrize("record", [{}, {"windows": []}])
def test_settings_that_name_nothing_are_the_usual_ones(record: dict[str, object]) -> None:
    assert Settings.from_json(record) == Settings()
