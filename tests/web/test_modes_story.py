"""Two drive modes of one log, from the marks on its page to the sheet, in a real browser."""

from pathlib import Path

import live_page
import pytest
from live_page import CHROMIUM, Served
from playwright.sync_api import Browser, Page, expect
from test_owner_story import LONG_MS, chromium, open_page, sound, text_of

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no chromium on this machine: install Debian's, or set CHROMIUM"
)
__all__ = ["chromium"]
# Both standing starts of a way there and back, as the sample was laid out. [min:s]
STRETCHES = (("eco", "0:00", "1:30"), ("sport", "1:30", "3:33"))


@pytest.mark.parametrize("width", [1280, 390])
def test_from_the_marks_to_the_sheet(chromium: Browser, tmp_path: Path, width: int) -> None:
    served = Served(tmp_path / "book")
    try:
        page, watch = open_page(chromium, width, served)
        page.goto(served.base)
        page.locator("#belongs summary").click()
        page.get_by_label("Machine of these logs").fill("Tern")
        page.set_input_files("#files", [live_page.ROOT / "sample_tracks" / "before-1.gpx"])
        expect(page.locator("#list input[name=before]")).to_have_count(1, timeout=LONG_MS)
        page.locator("#list tbody tr th a").click()
        for stretch in STRETCHES:
            name(page, *stretch)
        page.get_by_role("link", name="Compare the drive modes").click()
        sound(page, "drive modes")
        page.get_by_role("button", name="Compare", exact=True).click()
        head = page.locator("#answer-head")
        expect(head).to_have_text("Tern: sport against eco", timeout=LONG_MS)
        expect(page.get_by_text("Both modes were ridden in the same logs")).to_be_visible()
        expect(page.locator("table.figures thead").first).to_contain_text("EcoSport")
        sound(page, "drive modes compared")
        with page.expect_download() as sheet:
            page.get_by_role("button", name="Owner's sheet as PDF").click()
        text = text_of(sheet.value, tmp_path / "modes.pdf")
        assert "ride it in eco" in text and "put it back" not in text
        page.get_by_text("Kept with").get_by_role("link", name="Tern").click()
        page.get_by_role("link", name="sport against eco").click()
        expect(head).to_have_text("Tern: sport against eco", timeout=LONG_MS)
        assert watch.faults == []
    finally:
        served.stop()


def name(page: Page, mode: str, start: str, end: str) -> None:
    """Name a stretch, and wait until the ride has figures of its own for it."""
    if page.locator("#marks[open]").count() == 0:
        page.locator("#marks summary").click()
    page.locator("#mark-start").fill(start)
    page.locator("#mark-end").fill(end)
    page.locator("#mark-mode").fill(mode)
    page.get_by_role("button", name="Name it so").click()
    expect(page.get_by_label("Marked stretches")).to_contain_text(f"drive mode {mode}")
    expect(page.locator("#ride[data-current=yes]")).to_be_visible(timeout=LONG_MS)
    expect(page.locator("#modes-head")).to_be_attached()
