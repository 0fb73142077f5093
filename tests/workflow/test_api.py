"""What programs use of ridelog: the lines that README shows, as they stand there."""

import os
import re
from pathlib import Path
from typing import Any

import pytest

import ridelog

ROOT = Path(__file__).resolve().parents[2]


def readme_block() -> str:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(r"## From a program\n\n```python\n(.*?)```", text, re.DOTALL)
    assert found is not None
    return found[1]


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """Run the block beside the sample tracks and return its names."""
    place = tmp_path_factory.mktemp("program")
    (place / "sample_tracks").symlink_to(ROOT / "sample_tracks")
    names: dict[str, Any] = {}
    before = Path.cwd()
    os.chdir(place)
    try:
        exec(compile(readme_block(), "README.md", "exec"), names)
        names["files"] = sorted(path.name for path in (place / "report").iterdir())
        names["again"] = ridelog.verify("report/result.json", logs="sample_tracks")
    finally:
        os.chdir(before)
    return names


def test_the_names_are_those_promised() -> None:
    assert ridelog.__all__ == [
        "Estimate", "Figure", "Ride", "RideLogError", "Settings", "batch", "compare", "load",
        "predict", "verify",
    ]  # fmt: skip
    assert all(hasattr(ridelog, name) for name in ridelog.__all__)


def test_a_ride_has_figures_records_and_a_table(ran: dict[str, Any]) -> None:
    ride = ran["ride"]
    start = ride.figures["0-20 km/h"]
    assert isinstance(ride, ridelog.Ride) and isinstance(start, ridelog.Figure)
    assert isinstance(start.estimate, ridelog.Estimate)
    frame = ride.to_frame()
    assert list(frame.columns) == ["name", "value", "low", "high", "unit", "reason"]
    assert list(frame["name"]) == list(ride.figures)
    top = frame.set_index("name").loc["best_1s_mps"]
    assert top["value"] == ride["top_speed"].best_1s_mps.value and top["unit"] == "m/s"


def test_saving_writes_page_pictures_and_result(ran: dict[str, Any]) -> None:
    assert {"ride.html", "result.json", "speed.png", "path.png"} <= set(ran["files"])
    assert ran["again"].same


def test_a_change_and_a_prediction_are_asked_by_name(ran: dict[str, Any]) -> None:
    both = ran["change"]["two_way_mps"]
    assert both.difference.difference.low > 0.0 and both.verdict.word == "better"
    with pytest.raises(KeyError, match="compared were"):
        ran["change"]["top"]
    told = ridelog.predict(ROOT / "sample_tracks" / "thistledrake-before.toml", rear_teeth=56)
    assert told["two_way_mps"].changed is not None
    with pytest.raises(KeyError, match="predicted were"):
        told["speed"]


def test_what_cannot_be_is_said_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(ridelog.RideLogError, match="there is no such file"):
        ridelog.load(tmp_path / "none.gpx")
    with pytest.raises(ridelog.RideLogError, match="these settings cannot be"):
        ridelog.load(ROOT / "sample_tracks" / "after-1.gpx", ridelog.Settings(reaction_s=-1.0))
    with pytest.raises(AttributeError, match="has no attribute 'loads'"):
        getattr(ridelog, "loads")  # noqa: B009  # the type checker would refuse the name
