"""Three drive modes of one log, from marks made by mouse, thumb and keys to the checked sheet."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import routes_visited
from labelled_rides import finish
from live_page import CHROMIUM, Served
from playwright.sync_api import Browser, Page, expect
from receiver_presets import preset
from simulate import Machine, RideLayout, gpx_text
from test_day_story import Hand
from test_marking import tenths
from test_owner_story import LONG_MS, chromium, open_page, sound, text_of

from ridelog.__main__ import main

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no chromium on this machine: install Debian's, or set CHROMIUM"
)
__all__ = ["chromium"]
# What each mode leaves of the motor's speed and current, and by what its stretch is marked.
MODES = {"crawl": (0.45, 0.6, "mouse"), "eco": (0.7, 0.8, "thumb"), "sport": (1.0, 1.0, "keys")}


def three_modes(place: Path) -> dict[str, tuple[float, float, float]]:
    """Write a log ridden in three modes in turn; return where each lies and its true top speed."""
    rng, usual = np.random.default_rng(17), Machine()
    ride = RideLayout(usual, 0.6)
    ride.stand(8.0)
    laid = {}
    for name, (speed, current, _) in MODES.items():
        ride.machine = replace(
            usual,
            no_load_radps=speed * usual.no_load_radps,
            limit_torque_nm=current * usual.limit_torque_nm,
        )
        began, fastest = ride.now_s, 0.0
        for _ in range(2):
            ride.drive(for_s=12.0)
            fastest = max(fastest, ride.velocity_mps)
            ride.brake(decel_mps2=2.8)
            ride.stand(3.0)
            ride.shift(1.6, accel_mps2=0.8)
            ride.turn(np.pi, 3.0)
            ride.shift(0.0, accel_mps2=1.0)
            ride.stand(8.0)
        laid[name] = (began, ride.now_s - 8.0, fastest)
    seen = preset("clean", 5.0, rng).observe(finish(ride, rng).truth, rng)
    place.write_text(gpx_text(seen), encoding="utf-8")
    return laid


def test_from_the_marks_to_the_checked_sheet(chromium: Browser, tmp_path: Path) -> None:
    laid = three_modes(tmp_path / "three.gpx")
    served = Served(tmp_path / "book")
    try:
        page, watch = open_page(chromium, 390, served, touch=True)
        page.goto(served.base)
        page.locator("#belongs summary").click()
        page.get_by_label("Machine of these logs").fill("Tern")
        page.set_input_files("#files", [tmp_path / "three.gpx"])
        expect(page.locator("#list input[name=before]")).to_have_count(1, timeout=LONG_MS)
        page.locator("#list tbody tr th a").click()
        for name, (*stretch, _) in laid.items():
            mark(Hand(page, MODES[name][-1]), name, *stretch)
        own_figures(page, laid)
        for width in (390, 1280):
            page.set_viewport_size({"width": width, "height": 800})
            sound(page, "a ride of three drive modes")
        # From here on by keys alone.
        keys = Hand(page, "keys")
        keys.press(page.get_by_role("link", name="Compare the drive modes"))
        for which, name in (("This mode", "eco"), ("against it this one", "sport")):
            keys.choose(page.get_by_label(which), name)
        sound(page, "drive modes")
        keys.press(page.get_by_role("button", name="Compare", exact=True))
        head = page.locator("#answer-head")
        expect(head).to_have_text("Tern: sport against eco", timeout=LONG_MS)
        shared = page.get_by_role("list").filter(has_text="Both modes were ridden in the same log")
        expect(shared).to_contain_text("receiver, day, place and rider are the same")
        expect(page.locator("table.figures thead").first).to_contain_text("EcoSport")
        for width in (1280, 390):
            page.set_viewport_size({"width": width, "height": 800})
            sound(page, "drive modes compared")
        with page.expect_download() as sheet:
            keys.press(page.get_by_role("button", name="Owner's sheet as PDF"))
        text = text_of(sheet.value, tmp_path / "modes.pdf")
        assert "ride it in eco" in text and "put it back" not in text
        with page.expect_download() as result:
            keys.press(page.get_by_role("button", name="Figures as JSON"))
        result.value.save_as(tmp_path / "result.json")
        with pytest.raises(SystemExit) as verified:
            main(["verify", str(tmp_path / "result.json"), "--logs", str(tmp_path)])
        assert not verified.value.code
        keys.press(page.get_by_text("Kept with").get_by_role("link", name="Tern"))
        keys.press(page.get_by_role("link", name="sport against eco"))
        expect(head).to_have_text("Tern: sport against eco", timeout=LONG_MS)
        assert watch.faults == []
    finally:
        served.stop()


def mark(hand: Hand, mode: str, start_s: float, end_s: float) -> None:
    """Mark a stretch on the chart and name its drive mode; its figures need not be there yet."""
    page = hand.page
    expect(page.locator("#charts[data-drawn]")).to_be_visible(timeout=LONG_MS)
    if page.locator("#marks[open]").count() == 0:
        hand.press(page.locator("#marks summary"))
    # The ends are put in place a moment after the charts are drawn.
    expect(page.locator("#edge-end")).to_have_attribute("aria-valuemax", re.compile(r"\d"))
    last_s = float(page.locator("#edge-end").get_attribute("aria-valuemax") or "nan")
    hand.stretch(start_s / last_s, end_s / last_s)
    assert tenths(page) == pytest.approx((start_s, end_s), abs=2.0)
    hand.write(page.locator("#mark-mode"), mode)
    hand.press(page.get_by_role("button", name="Name it so"))
    expect(page.get_by_label("Marked stretches")).to_contain_text(f"drive mode {mode}")


def own_figures(page: Page, laid: dict[str, tuple[float, float, float]]) -> None:
    """Each mode's fastest second is its own: within 2 % of what it truly reached."""
    expect(page.locator("#ride[data-current=yes]")).to_be_visible(timeout=LONG_MS)
    table = page.locator("section[aria-labelledby=modes-head] table")
    expect(table.locator("thead th")).to_have_text(["Figure", *MODES])
    row = table.locator("tbody tr", has_text="astest second").locator("td").all_inner_texts()
    told = [float(words.split(" km/h")[0].split()[-1]) / 3.6 for words in row]
    assert told == pytest.approx([top for *_, top in laid.values()], rel=0.02)


def test_the_routes_of_this_file_were_visited(request: pytest.FixtureRequest) -> None:
    routes_visited.check(request)
