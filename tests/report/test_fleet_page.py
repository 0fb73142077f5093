"""The page over a table of many rides."""

import datetime as dt
import re

import pandas as pd
import pytest

from ridelog.core.units import SPEED_UNITS
from ridelog.report.fleet_page import fleet_page
from ridelog.workflow.batch_table import frame_of


def table(lost: float = 1.0, backwards_mps: float | None = None) -> pd.DataFrame:
    rows = []
    for number in range(20):
        day = dt.datetime(2025, 4, 1, 9) + dt.timedelta(days=number)
        # An even sequence that never comes twice: the golden section's.
        value = (9.7 + 0.1 * ((0.618034 * number) % 1.0 - 0.5)) * (lost if number >= 10 else 1.0)
        row = {"sha256": f"{number:064x}", "file": f"<b>{number:02d}.gpx", "status": "measured",
               "reason": "", "start_utc": f"{day.isoformat()}Z", "grade": "good",
               "machine": "Kart & Co", "two_way_mps_value": value, "two_way_mps_low": value - 0.05,
               "two_way_mps_high": value + 0.05}  # fmt: skip
        if backwards_mps is not None:
            row |= {f"reverse_top_mps_{part}": backwards_mps for part in ("value", "low", "high")}
        rows.append(row)
    rows.append({"sha256": "f" * 64, "file": "bad.gpx", "status": "unreadable", "reason": "no log"})
    return frame_of(rows)


def words_of(page: str) -> str:
    text = re.sub(r"<style.*?</style>|<svg.*?</svg>", " ", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", text).split())


def test_a_machine_that_lost_speed_comes_first_with_its_loss() -> None:
    words = words_of(fleet_page(table(lost=0.95), SPEED_UNITS["km/h"]))
    assert "Look at Kart &amp; Co: changed for the worse" in words
    assert re.search(r"Mean of both directions fell by 1\.[5-9] km/h .* after its first 10", words)
    assert "bad.gpx unreadable no log" in words
    assert "mph" not in words


def test_an_unchanged_machine_is_left_alone() -> None:
    page = fleet_page(table(), SPEED_UNITS["mph"])
    words = words_of(page)
    assert "No machine is shown to have changed for the worse." in words
    assert "No change over time is shown." in words
    assert "km/h" not in words.replace("0 to 20 km/h", "")
    assert "<b>0" not in page  # names from files are escaped


def test_a_machine_too_fast_backwards_is_named() -> None:
    words = words_of(fleet_page(table(backwards_mps=2.5), SPEED_UNITS["km/h"]))
    assert "Backwards above 6 km/h in 20 rides." in words.replace("6.0", "6")


def test_a_change_leads_to_the_rides_on_both_its_sides() -> None:
    links = {f"{number:064x}": f"pages/{number}.html" for number in (9, 10)}
    page = fleet_page(table(lost=0.95), SPEED_UNITS["km/h"], links)
    said = re.search(r"Last before: (.*?);\s+first after: (.*?)\.</p>", page)
    assert said is not None
    assert said[1] == '<a href="pages/9.html">&lt;b&gt;09.gpx</a>'
    assert said[2] == '<a href="pages/10.html">&lt;b&gt;10.gpx</a>'
    # Both again in their rows, and no other ride is a link.
    assert re.findall(r'href="(.*?)"', page).count("pages/9.html") == 2
    assert page.count("<a ") == 4


def test_another_set_up_is_judged_by_itself() -> None:
    rides = table(lost=0.95)
    rides["setup"] = ["64 teeth" if str(file) < "<b>10" else "56 teeth" for file in rides["file"]]
    words = words_of(fleet_page(rides, SPEED_UNITS["km/h"]))
    assert "Kart &amp; Co (64 teeth) 10 rides" in words
    assert "No machine is shown to have changed for the worse." in words


def test_a_ride_without_a_day_has_no_place_in_a_season() -> None:
    rides = table(lost=0.95)
    rides.loc[rides.index[:15], "start_utc"] = "T09:00:00Z"
    words = words_of(fleet_page(rides, SPEED_UNITS["km/h"]))
    assert "A change over time is told from 8 rides on." in words
    assert "no date" in words


def test_a_long_season_lists_its_newest_rides_and_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ridelog.report.fleet_page._MOST_ROWS", 5)
    page = fleet_page(table(), SPEED_UNITS["km/h"])
    rows = re.findall(r"&lt;b&gt;(\d\d)\.gpx</th>", page)
    assert rows == ["19", "18", "17", "16", "15"]
    assert "15 older ones stand in the table" in page


def test_of_many_machines_those_that_changed_stand_open(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ridelog.report.fleet_page._MOST_PICTURES", 0)
    many = [table(lost=0.95 if k == 7 else 1.0).assign(machine=f"kart {k:02d}") for k in range(14)]
    page = fleet_page(pd.concat(many, ignore_index=True), SPEED_UNITS["km/h"])
    assert re.findall(r"<h2>(kart \d\d) ", page) == ["kart 07"]
    assert len(re.findall(r"<summary><strong>kart \d\d</strong>", page)) == 13
    assert page.count("20 rides: no change over time is shown.") == 13


def test_no_answer_at_all_is_no_good_news() -> None:
    words = words_of(fleet_page(table().tail(1), SPEED_UNITS["km/h"]))
    assert "Too few rides yet to tell whether a machine changed." in words


def test_few_rides_say_so() -> None:
    words = words_of(fleet_page(table().head(3), SPEED_UNITS["km/h"]))
    assert "A change over time is told from 8 rides on." in words
