"""What was noted of both sides leaves what is not measured, and is said where it is the same."""

from dataclasses import replace

import pytest

from ridelog.compare.comparison import Comparison
from ridelog.compare.noted import not_measured, noted_alike, noted_once
from ridelog.core.units import SPEED_UNITS
from ridelog.report.compare_json import compare_json
from ridelog.report.compare_words import compare_lines
from ridelog.report.sheet import sheet_words

# Also when this file runs alone.
pytest_plugins = ("thin_rides",)
FULL = {"battery charge at the start": "full", "machine": "Tern"}
KMH = SPEED_UNITS["km/h"]


@pytest.mark.parametrize(
    ("first", "second", "unknown", "alike"),
    [
        ({}, {}, "wind slope rider-mass battery-charge tyre-pressure", {}),
        (FULL, {}, "wind slope rider-mass battery-charge tyre-pressure", {}),
        (FULL, FULL, "wind slope rider-mass tyre-pressure", {"battery charge": "full"}),
        (FULL, {"charge": "80 %"}, "wind slope rider-mass tyre-pressure", {}),
        ({"rider and load, mass": "75 kg"}, {"mass": "75 kg"},
         "wind slope battery-charge tyre-pressure", {"rider mass": "75 kg"}),
        ({"slope": "1 %", "Wind": "none"}, {"slope": "1 %", "wind": "none"},
         "rider-mass battery-charge tyre-pressure", {"slope": "1 %", "wind": "none"}),
        ({"setup": "56", "price": "9"}, {"setup": "56", "price": "9"},
         "wind slope rider-mass battery-charge tyre-pressure", {}),
        # No mass: somebody named the rider in the field for it.
        ({"mass": "same rider"}, {"load": "same rider"},
         "wind slope rider-mass battery-charge tyre-pressure", {"rider and load": "same rider"}),
        ({"battery": "new"}, {"battery": "new"},
         "wind slope rider-mass battery-charge tyre-pressure", {"battery": "new"}),
    ],
)  # fmt: skip
def test_notes_of_both_sides(
    first: dict[str, str], second: dict[str, str], unknown: str, alike: dict[str, str]
) -> None:
    found = not_measured(first, second)
    assert [name.replace(" ", "-") for name in found] == unknown.split()
    assert noted_alike(first, second) == alike


def test_the_same_charge_is_said_and_no_longer_missed(thin_comparison: Comparison) -> None:
    found = replace(thin_comparison, noted_before=FULL, noted_after={"charge": "full"})
    sheet = sheet_words(found, KMH).not_measured
    assert sheet.startswith("Wind, slope, rider mass and tyre pressure. Noted the same before and ")
    assert "after: battery charge full. Another day or rider can move these figures" in sheet
    screen = " ".join(line for line, _ in compare_lines(found, KMH))
    assert "Not measured: wind, slope, rider mass and tyre pressure." in screen
    assert "Noted the same before and after: battery charge full." in screen
    assert compare_json(found)["not_measured"] == ["wind", "slope", "rider mass", "tyre pressure"]


def test_without_notes_all_of_it_is_missed(thin_comparison: Comparison) -> None:
    bare = replace(thin_comparison, noted_before={}, noted_after={})
    sheet = sheet_words(bare, KMH).not_measured
    assert "battery charge and tyre pressure. Another day, rider or charge can move" in sheet
    assert "Noted" not in sheet
    every = dict.fromkeys(("wind", "slope", "tyre pressure"), "x") | FULL | {"mass": "75 kg"}
    told = sheet_words(replace(thin_comparison, noted_before=every, noted_after=every), KMH)
    assert told.not_measured.startswith("What was noted. Noted the same before and after: battery")
    assert "Another day can move these figures" in told.not_measured


def test_what_one_side_alone_noted_is_said_as_its(thin_comparison: Comparison) -> None:
    windy = {"charge": "full", "wind": "strong", "chain": "new", "price": "9"}
    found = replace(thin_comparison, noted_before={**FULL, "slope": "1 %"}, noted_after=windy)
    told = (
        "Noted the same before and after: battery charge full. Noted only before: slope 1 %. Noted "
        "only after: chain new and wind strong."
    )
    assert told in sheet_words(found, KMH).not_measured
    assert told in " ".join(line for line, _ in compare_lines(found, KMH))
    assert noted_once(windy, FULL) == {"chain": "new", "wind": "strong"}
    assert noted_once(FULL, windy) == {}
