"""The figures that lists and histories take out of a result, and the picture drawn of them."""

import json
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from ridelog.book.records import RideEntry
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.present.words import elapsed_words
from ridelog.web.charts import time_item
from ridelog.web.history import Point, _panel
from ridelog.web.trace import RideTrace, path_columns
from ridelog.workflow.book_ride import (
    bounds,
    day_and_year,
    day_in_words,
    lasting,
    moment,
    speed,
    top_speed,
)


def test_top_speed_is_the_mean_of_both_directions_if_there_is_one() -> None:
    one, both = Estimate(10.0, 9.9, 10.1), Estimate(9.9, 9.8, 10.0)
    assert top_speed({"best_1s_mps": one, "two_way_mps": both}) == both
    assert top_speed({"best_1s_mps": one}) == one and top_speed({}) is None


RIDE = RideEntry(
    id=1, sha256="0" * 64, size_bytes=1, file="a.gpx", format="gpx-1.1",
    start_utc="2024-06-08T09:00:00Z", duration_s=9.0, state="ready", problem="", machine_id=1,
    setup_id=1, added_utc="", machine="M", setup="64 teeth",
)  # fmt: skip


def points(count: int) -> list[Point]:
    return [
        (replace(RIDE, id=k, setup="64 teeth" if k < count / 2 else '10 "<teeth>"'),
         Estimate(30.0 + k, 29.5 + k, 30.5 + k))
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
    times = [elapsed_words(time_s) for time_s in (83.44, 59.96, -1.0, 3876.04, -0.01)]
    assert times == ["1:23.4", "1:00.0", "-0:01.0", "1:04:36.0", "0:00.0"]
    assert (lasting(None), lasting(212.0)) == ("", "3 min 32 s")


def test_moments_are_in_the_zone_of_this_machine(zone: Callable[[str], None]) -> None:
    """Worked out by hand: Germany keeps UTC+1, UTC+2 in summer; India UTC+5:30."""
    summer, winter = "2024-06-08T23:05:30Z", "2024-12-08T23:05:30Z"
    assert moment(summer) == "8 Jun 2024, 23:05 UTC"
    zone("Berlin")
    assert (moment(summer), moment(winter)) == ("9 Jun 2024, 01:05 CEST", "9 Dec 2024, 00:05 CET")
    assert day_and_year(summer) == ("9 Jun", "2024")
    assert day_in_words("2024-06-09") == "9 Jun 2024" and day_in_words("no day") == "no day"
    zone("Kolkata")
    assert moment(summer) == "9 Jun 2024, 04:35 UTC+05:30"
    assert moment("T09:05:30Z") == "09:05 UTC, no date"
    assert {moment(text) for text in ("", "soon", "9999-12-31T23:59:59Z")} == {"time unknown"}
    assert day_and_year("T09:05:30Z") == day_and_year("") == ("–", "")


def test_the_page_asks_no_one_else() -> None:
    """No address of another machine stands in a template, style or script of ours."""
    package = Path(__file__).resolve().parents[2] / "ridelog" / "web"
    for path in [*package.glob("templates/*"), *package.glob("static/*")]:
        found = re.findall(r"(?:https?:)?//[a-z0-9.-]+\.[a-z]{2,}", path.read_text())
        assert set(found) <= {"http://www.w3.org"}, path


def test_the_time_axis_counts_the_days_of_a_log_that_goes_on() -> None:
    """Midnight of Bokeh's clock is 0:00 of a ride; a day later it would be that again."""
    for end_s, midnight in ((3600.0, "%-M:%S"), (100_000.0, "day %-j")):
        item = time_item(
            SPEED_UNITS["km/h"], "light", start_s=0.0, end_s=end_s, top=30.0, spans=[], phases=[]
        )
        assert set(re.findall(r'"days": "([^"]*)"', json.dumps(item))) == {midnight}


def test_the_path_is_left_open_where_speed_and_positions_contradict_each_other() -> None:
    """No line leads across: a sideways jump is no way that was ridden."""
    count = 12
    doubtful = np.zeros(count, dtype=bool)
    doubtful[5] = True
    along = np.arange(count, dtype=np.float64)
    trace = RideTrace(
        time_s=along, broken=np.zeros(count, dtype=bool), doubtful=doubtful, east_m=10.0 * along,
        speed_mps=np.full(count, 10.0), speed_sd_mps=np.full(count, 0.1),
        north_m=np.where(along < 5.0, 0.0, 40.0),
    )  # fmt: skip
    path = path_columns(trace, SPEED_UNITS["km/h"])
    pieces: list[list[float]] = [[]]
    for place in path["north"]:
        pieces = [*pieces, []] if place is None else [*pieces[:-1], [*pieces[-1], place]]
    assert [set(piece) for piece in pieces] == [{0.0}, {40.0}]
    whole = path_columns(replace(trace, doubtful=np.zeros(count, dtype=bool)), SPEED_UNITS["km/h"])
    assert None not in whole["north"]
