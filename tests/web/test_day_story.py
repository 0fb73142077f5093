"""A workshop's day in a real browser: twenty logs and a zip, a mark, two set-ups, the sheet sent.

By mouse, by thumb and by keys alone, on a wide page and a telephone's; then over a slow line that
cuts one upload.
"""

import base64
import io
import re
import time
import zipfile
from collections.abc import Iterator
from contextlib import nullcontext
from dataclasses import dataclass
from pathlib import Path

import pytest
import routes_visited
from axe_playwright_python.sync_playwright import Axe
from live_page import CHROMIUM, Served, Watch, browser
from playwright.sync_api import Browser, Error, FilePayload, Locator, Page, expect
from slow_line import SlowLine
from visitor import short_log

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")

LONG_MS = 300_000
# Half a minute each: long enough for a run, short enough to measure twenty.
BEFORE = {f"before-{k}.nmea": short_log("before-2.nmea", 150 + k) for k in range(10)}
AFTER = {f"after-{k}.nmea": short_log("after-2.nmea", 150 + k) for k in range(10)}
IN_ZIP = {f"zip-{k}.nmea": short_log("after-2.nmea", 170 + k) for k in range(2)}
COUNT = len(BEFORE) + len(AFTER) + len(IN_ZIP)
# A browser without a screen hands no files over: what the page gives it is kept instead.
HANDED_OVER = """
navigator.canShare = (what) => what.files.length > 0;
navigator.share = async ({ files: [file] }) => {
  window.handedOver = [file.name, await file.slice(0, 5).text()];
};
"""
# Which key leads from where one is to an element, none if one is there.
TO_IT = """one => {
  const here = document.activeElement;
  if (here === one) return "";
  const passed = one.compareDocumentPosition(here) & Node.DOCUMENT_POSITION_FOLLOWING;
  return passed && here !== document.body ? "Shift+Tab" : "Tab";
}"""
DROP = """([box, files]) => {
  const held = new DataTransfer();
  for (const [name, data] of files) {
    held.items.add(new File([Uint8Array.from(atob(data), (c) => c.charCodeAt(0))], name));
  }
  box.dispatchEvent(new DragEvent("drop", { dataTransfer: held, bubbles: true, cancelable: true }));
}"""


def zipped(logs: dict[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in logs.items():
            archive.writestr(name, data)
    return stream.getvalue()


@dataclass
class Hand:
    """Somebody at a page: "mouse", "thumb" or "keys"."""

    page: Page
    by: str

    def press(self, what: Locator) -> None:
        """Press a button, a link or what unfolds."""
        if self.by == "mouse":
            what.click()
        elif self.by == "thumb":
            self._tap(what)
        else:
            self._walk_to(what)
            self.page.keyboard.press("Enter")

    def _tap(self, what: Locator) -> None:
        """Tap, once more where a browser on a busy machine took it for a long press."""
        for _ in range(3):
            self.page.evaluate(
                "() => { window.taps = 0; addEventListener('click', () => { window.taps += 1; },"
                " { capture: true, once: true }); }"
            )
            what.tap()
            self.page.wait_for_timeout(400)
            try:
                if self.page.evaluate("window.taps") != 0:
                    return
            except Error:  # the way to another page has begun
                return
        raise AssertionError(f"no tap reaches {what}")

    def write(self, what: Locator, words: str) -> None:
        """Write into a field, over what stands there."""
        if self.by == "keys":
            self._walk_to(what)
        elif self.by == "thumb":
            self._tap(what)
        else:
            what.click()
        self.page.keyboard.press("Control+A")
        self.page.keyboard.type(words)

    def choose(self, what: Locator, name: str) -> None:
        """Choose from a list by its first letters."""
        self._walk_to(what)
        self.page.keyboard.type(name)
        expect(what).to_have_value(name)

    def _walk_to(self, what: Locator) -> None:
        """Go there with the Tab key alone, back or on from where one is."""
        what.wait_for()
        for _ in range(400):
            way = what.evaluate(TO_IT)
            if not way:
                return
            self.page.keyboard.press(way)
        raise AssertionError(f"the keyboard does not reach {what}")

    def bring(self, logs: dict[str, bytes]) -> None:
        """Drop logs on the page, or choose them where nothing can be dropped."""
        if self.by == "mouse":
            held = [(name, base64.b64encode(data).decode()) for name, data in logs.items()]
            box = self.page.locator("#drop").element_handle()
            self.page.evaluate(DROP, [box, held])
            return
        with self.page.expect_file_chooser() as chooser:
            self.press(self.page.get_by_role("button", name="Choose logs"))
        chooser.value.set_files(
            [FilePayload(name=n, mimeType="", buffer=data) for n, data in logs.items()]
        )

    def stretch(self, start: float, end: float) -> None:
        """Choose a stretch of the speed chart, from a share of the ride to another."""
        page, layer = self.page, self.page.locator("#stretch")
        if self.by == "keys":
            # The end further on is moved first: the two do not pass each other.
            for name, share in (("end", end), ("start", start)):
                self._slide(page.locator(f"#edge-{name}"), share)
            return
        layer.scroll_into_view_if_needed()
        box = layer.bounding_box()
        assert box
        (left, right), y = (box["x"] + s * box["width"] for s in (start, end)), box["y"] + 60.0
        if self.by == "mouse":
            page.mouse.move(left, y)
            page.mouse.down()
            page.mouse.move(right, y, steps=6)
            page.mouse.up()
            return
        driver = page.context.new_cdp_session(page)
        steps = [left + (right - left) * k / 5.0 for k in range(6)]
        for kind, at in [("touchStart", steps[0]), *(("touchMove", x) for x in steps[1:])]:
            points = [{"x": at, "y": y}]
            driver.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        driver.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})

    def _slide(self, edge: Locator, share: float) -> None:
        """Move an end of the stretch by its keys, to the second."""
        self._walk_to(edge)
        for key, step_s in (("Page{}", 10.0), ("Shift+Arrow{}", 1.0)):
            for _ in range(100):
                told = [edge.get_attribute(f"aria-value{name}") for name in ("now", "max")]
                now_s, last_s = (float(value or "nan") for value in told)
                apart_s = share * last_s - now_s
                if abs(apart_s) <= 0.5 * step_s:
                    break
                self.page.keyboard.press(key.format("Up" if apart_s > 0.0 else "Down"))


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as opened:
        yield opened


def sound(page: Page, what: str) -> None:
    """Ask axe, in the state the page is in; and nothing may stick out to the side."""
    found = Axe().run(page).response["violations"]
    serious = [f for f in found if f["impact"] in ("serious", "critical")]
    assert not serious, (what, [(f["id"], f["nodes"][0]["html"]) for f in serious])
    assert page.viewport_size
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]


def the_day(page: Page, hand: Hand, base: str, line: SlowLine | None = None) -> None:
    """Do what a day asks for, from the first log to the sheet."""
    page.add_init_script(HANDED_OVER)
    page.goto(base)
    hand.press(page.locator("#belongs summary"))
    hand.write(page.get_by_label("Machine of these logs"), "Thistledrake 2")
    hand.write(page.get_by_label("Set-up of these logs"), "64 teeth")
    hand.bring(BEFORE)
    hand.write(page.get_by_label("Set-up of these logs"), "56 teeth")
    hand.bring({**AFTER, "day.zip": zipped(IN_ZIP)})
    if line:
        cut = page.locator("#failed li", has_text="after-3.nmea")
        expect(cut).to_contain_text("Did not get through. The log is still here", timeout=LONG_MS)
        hand.press(page.get_by_role("button", name="Send after-3.nmea again"))
    tally = page.locator("#tally")
    expect(tally).to_contain_text(f"{COUNT} of {COUNT} logs measured.", timeout=LONG_MS)
    # Every figure is there before the pictures are.
    drawn = page.locator("#rows li.settled").count()
    assert drawn < COUNT // 2, f"{drawn} of {COUNT} drawn already"
    rows = page.locator("#list tbody tr")
    expect(rows).to_have_count(COUNT)
    for setup, count in (("64 teeth", len(BEFORE)), ("56 teeth", len(AFTER) + len(IN_ZIP))):
        expect(rows.filter(has_text="Thistledrake 2").filter(has_text=setup)).to_have_count(count)
    expect(rows.filter(has_text="km/h")).to_have_count(COUNT)
    sound(page, "the list")

    # A stretch is left out of one of them.
    hand.press(rows.filter(has_text="before-9.nmea").locator("th a"))
    expect(page.locator("#charts[data-drawn]")).to_be_visible(timeout=LONG_MS)
    hand.press(page.locator("#marks summary"))
    expect(page.locator("#stretch")).to_be_visible()
    hand.stretch(0.2, 0.75)
    chosen = [page.locator(f"#mark-{name}").input_value() for name in ("start", "end")]
    sound(page, "a stretch is chosen")
    hand.press(page.get_by_role("button", name="Leave out"))
    marked = page.get_by_role("list", name="Marked stretches")
    expect(marked).to_contain_text(f"{chosen[0]} to {chosen[1]}: left out", timeout=LONG_MS)

    # Its two set-ups are compared in one click.
    hand.press(page.get_by_role("link", name="Thistledrake 2").first)
    hand.press(page.get_by_role("button", name="Compare these two set-ups"))
    expect(page.locator("h1")).to_have_text("What the change did", timeout=LONG_MS)
    sound(page, "the comparison")

    # The owner's sheet is sent, and the comparison stays with the machine.
    hand.press(page.get_by_role("button", name="Send the sheet…"))
    expect(page.locator("#send-words")).to_have_text("Handed over.", timeout=LONG_MS)
    name, begins = page.evaluate("window.handedOver")
    assert name == "thistledrake-2-64-teeth-to-56-teeth-sheet.pdf" and begins == "%PDF-"
    hand.press(page.get_by_role("link", name="Thistledrake 2").last)
    expect(page.locator("ul.kept li")).to_contain_text("64 teeth to 56 teeth: 10 rides before")
    sound(page, "the machine")


@pytest.mark.parametrize(
    ("width", "by", "slow"),
    [(1280, "mouse", False), (390, "thumb", False), (390, "keys", False), (390, "mouse", True)],
)
def test_a_day(chromium: Browser, tmp_path: Path, width: int, by: str, slow: bool) -> None:
    running = Served(tmp_path / "book")
    with SlowLine(cut="after-3.nmea") if slow else nullcontext() as line:
        try:
            context = chromium.new_context(
                viewport={"width": width, "height": 800}, has_touch=by == "thumb",
                reduced_motion="reduce",
                proxy={"server": line.address, "bypass": "<-loopback>"} if line else None,
            )  # fmt: skip
            context.set_default_timeout(LONG_MS)
            page, watch = context.new_page(), Watch(running.base)
            watch.over(page)
            start = time.monotonic()
            the_day(page, Hand(page, by), running.base, line)
            print(f"{by} at {width} px{', slow' if slow else ''}: {time.monotonic() - start:.0f} s")
            cut = [fault for fault in watch.faults if re.search("ERR_|Failed to load", fault)]
            assert watch.faults == cut and len(cut) == (line.cuts if line else 0)
            assert not line or line.cuts == 1
            context.close()
        finally:
            running.stop()


def test_the_routes_of_this_file_were_visited(request: pytest.FixtureRequest) -> None:
    routes_visited.check(request)
