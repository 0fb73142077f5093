"""Logs dropped in a browser with what belongs to them; the list says how far all of it is."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from live_page import CHROMIUM, Served, Watch, browser
from playwright.sync_api import Browser, expect
from visitor import short_log

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")

LONG_MS = 240_000


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as opened:
        yield opened


def test_what_belongs_to_logs_is_named_once_and_remembered(
    chromium: Browser, tmp_path: Path
) -> None:
    running = Served(tmp_path / "book")
    try:
        page, watch = chromium.new_page(), Watch(running.base)
        page.set_default_timeout(LONG_MS)
        watch.over(page)
        page.goto(running.base)
        page.get_by_text("Machine, set-up, battery charge").click()
        page.get_by_label("Machine of these logs").fill("Thistledrake 2")
        page.get_by_label("Set-up of these logs").fill("64 teeth")
        page.get_by_label("They were ridden").select_option("before")
        logs = []
        for number, data in enumerate((short_log("before-2.nmea", 40), b"no log at all")):
            logs.append(tmp_path / f"log-{number}.nmea")
            logs[-1].write_bytes(data)
        # Words where a mass is asked for are refused before anything is sent.
        mass = page.get_by_label("Rider and load, mass").first
        mass.fill("same rider")
        page.set_input_files("#files", logs)
        assert mass.evaluate("one => one.matches(':invalid')")
        expect(page.locator("#queue li")).to_have_count(0)
        mass.fill("82 kg")
        page.set_input_files("#files", logs)
        said = "1 of 2 logs measured, 1 without figures."
        expect(page.locator("#tally")).to_have_text(said, timeout=LONG_MS)
        expect(page.locator("#failed summary")).to_have_text("1 log without figures")
        expect(page.locator("#failed li")).to_contain_text("no log that ridelog reads")
        expect(page.locator("#picked")).to_have_text("1 before, 0 after")
        row = page.locator("#list tbody tr", has_text="log-0.nmea")
        expect(row).to_contain_text("Thistledrake 2")
        expect(row).to_contain_text("64 teeth")
        found = Axe().run(page).response["violations"]
        assert not [f["id"] for f in found if f["impact"] in ("serious", "critical")]
        page.reload()
        told = page.locator("#belongs-words")
        expect(told).to_have_text(
            "The next logs will be named: Thistledrake 2, 64 teeth, 82 kg, before the change."
        )
        # Another machine begins without the set-up and the side of the one before.
        page.get_by_text("Machine, set-up, battery charge").click()
        page.get_by_label("Machine of these logs").fill("Tern")
        page.get_by_label("Set-up of these logs").focus()
        expect(told).to_have_text("The next logs will be named: Tern, 82 kg.")
        page.get_by_label("Set-up of these logs").fill("as it came")
        # Another day begins with nothing.
        page.clock.set_fixed_time(datetime.now() + timedelta(days=1))
        page.reload()
        expect(told).to_be_hidden()
        page.clock.set_fixed_time(datetime.now())
        page.reload()
        expect(told).to_have_text("The next logs will be named: Tern, as it came, 82 kg.")
        page.get_by_role("button", name="Name nothing").click()
        expect(told).to_be_hidden()
        page.reload()
        expect(told).to_be_hidden()
        assert watch.faults == []
        page.close()
    finally:
        running.stop()
