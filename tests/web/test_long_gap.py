"""A log of two days: the hours between them are stepped over, not panned through."""

from collections.abc import Iterator
from pathlib import Path

import live_page
import pytest
from live_page import CHROMIUM, Served, Watch
from playwright.sync_api import Browser, expect
from visitor import short_log

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no chromium on this machine: install Debian's, or set CHROMIUM"
)
LONG_MS = 120_000


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with live_page.browser() as opened:
        yield opened


def test_arrows_step_over_a_night(chromium: Browser, tmp_path: Path) -> None:
    """The samples lie a day apart: from 8 June 2024, 09:20, to 9 June, 09:30."""
    served = Served(tmp_path / "book")
    try:
        page, watch = chromium.new_page(), Watch(served.base)
        watch.over(page)
        page.goto(served.base)
        log = short_log("before-2.nmea", 400) + short_log("after-2.nmea", 400)
        page.set_input_files(
            "#files", {"name": "two days.nmea", "mimeType": "text/plain", "buffer": log}
        )
        # With its pictures drawn, nothing is drawn anew under the arrows.
        expect(page.locator("#rows li.settled")).to_have_count(1, timeout=LONG_MS)
        page.goto(f"{served.base}/rides/1")
        expect(page.locator("#charts[data-drawn]")).to_be_attached(timeout=LONG_MS)
        expect(page.locator("#readout")).to_contain_text("In view: 0:00.0")
        right, left = (page.locator(f"[data-do={name}]") for name in ("right", "left"))
        for _ in range(2):
            right.click()
        expect(page.locator("#readout")).to_contain_text("In view: 24:")
        for _ in range(3):
            left.click()
        expect(page.locator("#readout")).to_contain_text("In view: 0:")
        assert not watch.faults
    finally:
        served.stop()
