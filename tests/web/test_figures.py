"""The figures that lists and histories take out of a result, and the picture drawn of them."""

import re
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path
from typing import Any

from ridelog.book import RideEntry
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.present.words import elapsed_words
from ridelog.web.history import Point, _panel
from ridelog.workflow.measuring import figures_in
from ridelog.workflow.ride_words import bounds, lasting, moment, speed


def e(value: float) -> dict[str, float]:
    return {"value": value, "low": value - 0.1, "high": value + 0.1, "level": 0.9}


def test_figures_are_taken_from_wherever_a_result_holds_them() -> None:
    document: dict[str, Any] = {
        "top_speed": {"best_1s_mps": e(10.0), "best_5s_mps": None, "two_way_mps": e(9.9)},
        "reverse": {"top_speed_mps": e(3.0)},
        "launches": [
            {"windows": [{"label": "0-20 km/h", "time_s": e(3.3)}]},
            {"windows": [{"label": "0-20 km/h", "time_s": e(3.1)}, {"label": "0-30 m"}]},
        ],
        "launch_windows": [
            {"label": "0-20 km/h", "time_s": e(3.2)}, {"label": "0-30 m", "time_s": None},
        ],
        "pull": {"curve": [{"speed_mps": 2.0, "accel_mps2": e(1.8)},
                           {"speed_mps": 9.0, "accel_mps2": None}]},
    }  # fmt: skip
    found = figures_in(document)
    assert found["best_1s_mps"] == Estimate(10.0, 9.9, 10.1)
    assert found["window 0-20 km/h"].value == 3.2, "of all starts, not the quickest"
    assert found["pull at 2"].value == 1.8 and found["reverse_top_mps"].value == 3.0
    assert set(found) == {"best_1s_mps", "two_way_mps", "reverse_top_mps", "window 0-20 km/h",
                          "pull at 2"}  # fmt: skip
    assert figures_in({}) == {}


RIDE = RideEntry(
    id=1, sha256="0" * 64, size_bytes=1, file="a.gpx", format="gpx-1.1",
    start_utc="2024-06-08T09:00:00Z", duration_s=9.0, state="ready", problem="", machine_id=1,
    setup_id=1, added_utc="", machine="M", setup="64 teeth",
)  # fmt: skip


def points(count: int) -> list[Point]:
    return [
        Point(replace(RIDE, id=k, setup="64 teeth" if k < count / 2 else '10 "<teeth>"'),
              30.0 + k, 29.5 + k, 30.5 + k)
        for k in range(count)
    ]  # fmt: skip


def test_the_history_is_one_sound_drawing_with_every_ride_in_it() -> None:
    for count in (1, 2, 17, 60):
        panel = _panel(points(count), "Top speed", "km/h")
        for svg in (panel.wide_svg, panel.narrow_svg):
            root = ElementTree.fromstring(svg)
            width, height = (float(v) for v in root.attrib["viewBox"].split()[2:])
            circles = [node for node in root if node.tag.endswith("circle")]
            assert len(circles) == count
            heights = [float(node.attrib["cy"]) for node in circles]
            assert heights == sorted(heights, reverse=True), "faster stands higher"
            assert all(0.0 < float(n.attrib["cx"]) < width for n in circles)
            assert all(0.0 < value < height for value in heights)
            assert "<teeth>" not in svg
            dashed = len(re.findall("stroke-dasharray", svg))
            assert dashed == (1 if count > 1 else 0), "a line where the set-up changed"


def test_figures_in_words() -> None:
    kmh = SPEED_UNITS["km/h"]
    figure = Estimate(10.0, 9.9, 10.1)
    assert (speed(figure, kmh), bounds(figure, kmh)) == ("36.0 km/h", "35.6 to 36.4")
    assert (speed(None, kmh), bounds(None, kmh)) == ("–", "")
    assert moment("2024-06-08T09:05:30Z") == "8 Jun 2024, 09:05"
    assert moment("T09:05:30Z") == "09:05, no date" and moment("") == "time unknown"
    times = [elapsed_words(time_s) for time_s in (83.44, 59.96, -1.0, 3876.04, -0.01)]
    assert times == ["1:23.4", "1:00.0", "-0:01.0", "1:04:36.0", "0:00.0"]
    assert (lasting(None), lasting(212.0)) == ("", "3 min 32 s")


def test_the_page_asks_no_one_else() -> None:
    """No address of another machine stands in a template, style or script of ours."""
    package = Path(__file__).resolve().parents[2] / "ridelog" / "web"
    for path in [*package.glob("templates/*"), *package.glob("static/*")]:
        found = re.findall(r"(?:https?:)?//[a-z0-9.-]+\.[a-z]{2,}", path.read_text())
        assert set(found) <= {"http://www.w3.org"}, path
