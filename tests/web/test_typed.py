"""What someone typed survives whatever ends a session; a refusal stands beside its field."""

import re
import shutil
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from live_page import CHROMIUM, Served, Watch, browser
from playwright.sync_api import Browser, Page, expect

from ridelog.book.book import Book
from ridelog.web.serve import lan_host

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")

NOTE = "front sprocket 11,\nchain loose"


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as opened:
        yield opened


def again(running: Served, folder: Path, *options: str) -> Served:
    """End a server at once and start another at the same address."""
    running.kill()
    return Served(folder, "--port", str(urlsplit(running.base).port), *options)


def test_a_server_that_was_started_again(chromium: Browser, tmp_path: Path) -> None:
    folder = tmp_path / "book"
    running = Served(folder)
    try:
        with Book(folder) as book:
            machine = book.machines.named("Thistledrake 2").id
        page = chromium.new_page()
        page.goto(f"{running.base}/machines/{machine}")
        page.get_by_label("Note", exact=True).fill(NOTE)
        running = again(running, folder)
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_text("The server was started again meanwhile")).to_be_visible()
        page.get_by_role("link", name="Load the page again").click()
        expect(page.get_by_text("What you typed here is back.")).to_be_visible()
        expect(page.get_by_label("Note", exact=True)).to_have_value(NOTE)
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_text("Saved.", exact=True)).to_be_visible()
        expect(page.get_by_text("What you typed here is back.")).to_have_count(0)
        with Book(folder) as book:
            assert book.machines.get(machine).note == NOTE
        page.close()
    finally:
        running.stop()


def code_of(page: Page, base: str) -> tuple[str, str]:
    """Return where a telephone comes in and its code, from this machine's own page."""
    page.goto(f"{base}/phone")
    page.get_by_role("button", name="Make a code").click()
    address = re.search(r"https://[\d.:]+", page.locator("main").inner_text())
    assert address
    return address[0], page.locator(".code").inner_text()


def test_a_telephone_that_has_to_come_in_again(chromium: Browser, tmp_path: Path) -> None:
    if lan_host() is None:
        pytest.skip("this machine has no address in a network")
    folder = tmp_path / "book"
    running = Served(folder, "--lan")
    try:
        with Book(folder) as book:
            machine = book.machines.named("Thistledrake 2").id
        page = chromium.new_page()
        address, code = code_of(page, running.base)
        phone = chromium.new_context(
            viewport={"width": 390, "height": 800}, ignore_https_errors=True
        )
        small = phone.new_page()
        small.goto(f"{address}/machines/{machine}")
        small.get_by_label("Code").fill(code)
        small.get_by_role("button", name="Come in").click()
        expect(small).to_have_url(f"{address}/machines/{machine}")
        small.wait_for_load_state()  # the page's scripts are there before the server goes
        small.get_by_label("Note", exact=True).fill(NOTE)
        running = again(running, folder, "--lan")
        small.get_by_role("button", name="Save").click()
        way, lost = small.get_by_role("link", name="Enter a code"), "This did not get through."
        expect(way.or_(small.get_by_text(lost))).to_be_visible(timeout=60_000)
        if not way.is_visible():  # sent on the line that the old server closed
            small.get_by_role("button", name="Save").click()
        way.click()
        small.get_by_label("Code").fill(code_of(page, running.base)[1])
        small.get_by_role("button", name="Come in").click()
        expect(small).to_have_url(f"{address}/machines/{machine}")
        expect(small.get_by_label("Note", exact=True)).to_have_value(NOTE)
        small.get_by_role("button", name="Save").click()
        expect(small.get_by_text("Saved.", exact=True)).to_be_visible()
        with Book(folder) as book:
            assert book.machines.get(machine).note == NOTE
        page.close()
        phone.close()
    finally:
        running.stop()


def test_a_refusal_stands_beside_its_field(chromium: Browser, tmp_path: Path) -> None:
    folder = tmp_path / "book"
    with Book(folder) as book:
        machine = book.machines.named("Thistledrake 2").id
        # From the command line a name may be longer than a set-up file takes.
        long = book.machines.named("M" * 81).id
        setup = book.machines.setup_named(long, "S" * 200).id
    running = Served(folder)
    try:
        page, watch = chromium.new_page(), Watch(running.base)
        page.goto(f"{running.base}/machines/{machine}")
        page.get_by_label("Name", exact=True).fill("M" * 81)
        page.get_by_label("Note", exact=True).fill(NOTE)
        page.get_by_role("button", name="Save").click()
        wrong = page.get_by_role("alert")
        expect(wrong).to_have_text(
            "Name of the machine: the name has 81 letters, 80 are the most. Shorten it."
        )
        assert page.evaluate("document.querySelector('#name').nextElementSibling.className") == (
            "wrong"
        )
        expect(page.get_by_label("Note", exact=True)).to_have_value(NOTE)
        page.get_by_label("Name", exact=True).fill("M" * 80)
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_text("Saved.", exact=True)).to_be_visible()
        watch.over(page)
        page.goto(f"{running.base}/machines/{long}/setups/{setup}")
        expect(page.get_by_role("heading", level=1)).to_be_visible()
        assert watch.faults == []
        page.close()
        # Without scripts it is a page with the sentence.
        context = chromium.new_context(java_script_enabled=False)
        page = context.new_page()
        page.goto(f"{running.base}/machines")
        page.get_by_label("Name", exact=True).fill("M" * 81)
        page.get_by_role("button", name="Add").click()
        expect(page.get_by_role("alert")).to_contain_text("the name has 81 letters")
        context.close()
    finally:
        running.stop()
        shutil.rmtree(folder)
