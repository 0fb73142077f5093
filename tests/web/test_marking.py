"""A stretch is marked on the speed chart by mouse, thumb or keys; the page of a ride is short."""

import json
import re
import time
import urllib.request
from collections.abc import Iterator

import pytest
import routes_visited
from axe_playwright_python.sync_playwright import Axe
from live_page import CHROMIUM, Served, Watch, browser
from playwright.sync_api import Browser, Locator, Page, Route, expect
from visitor import short_log

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")

LONG_MS = 240_000
# The log of 300 fixes at 5 Hz: the last is 59.8 s after the first.
LAST_S = 59.8
# Before anything is unfolded, a ride's page is at most so high on a telephone. Own choice. [px]
MOST_PX = 4000


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with browser() as opened:
        yield opened


@pytest.fixture(scope="module")
def served(chromium: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("marking")
    running = Served(folder / "book")
    (folder / "ride.nmea").write_bytes(short_log("before-2.nmea"))
    page = chromium.new_page()
    page.goto(running.base)
    page.set_input_files("#files", folder / "ride.nmea")
    expect(page.locator("#queue li.settled")).to_have_count(1, timeout=LONG_MS)
    page.close()
    yield running
    running.stop()


def opened(chromium: Browser, served: Served, width: int, *, touch: bool = False) -> Page:
    # Pages glide to a place otherwise, and pointers would miss it.
    context = chromium.new_context(
        viewport={"width": width, "height": 800}, has_touch=touch, reduced_motion="reduce"
    )
    page, watch = context.new_page(), Watch(served.base)
    watch.over(page)
    page.goto(f"{served.base}/rides/1")
    expect(page.locator("#charts[data-drawn]")).to_be_visible(timeout=60_000)
    page.locator("#marks summary").click()
    expect(page.locator("#stretch")).to_be_visible()
    page.evaluate("document.getElementById('charts').scrollIntoView()")
    return page


def tenths(page: Page) -> tuple[float, float]:
    """Return what stands in the two fields. [s]"""
    found = []
    for name in ("start", "end"):
        minutes, seconds = page.locator(f"#mark-{name}").input_value().split(":")
        found.append(60.0 * float(minutes) + float(seconds))
    return found[0], found[1]


def place(layer: Locator, share: float) -> tuple[float, float]:
    box = layer.bounding_box()
    assert box
    return box["x"] + share * box["width"], box["y"] + 0.4 * box["height"]


@pytest.mark.parametrize("width", [390, 1280])
def test_by_mouse(chromium: Browser, served: Served, width: int) -> None:
    page = opened(chromium, served, width)
    layer = page.locator("#stretch")
    # An end that nobody chose waits at 0.40: a stretch may begin there all the same.
    page.mouse.move(*place(layer, 0.40))
    page.mouse.down()
    page.mouse.move(*place(layer, 0.45), steps=4)
    page.mouse.move(*place(layer, 0.50), steps=4)
    page.mouse.up()
    # The chart shows the whole ride; a pixel is a quarter of a second at most.
    assert tenths(page) == pytest.approx((0.40 * LAST_S, 0.50 * LAST_S), abs=0.3)
    expect(page.locator("#readout")).to_contain_text(re.compile(r"Stretch from 0:2\d\.\d to 0:"))
    # One end moved against the other; beyond it the two change places.
    page.mouse.move(*place(layer, 0.50))
    page.mouse.down()
    page.mouse.move(*place(layer, 0.10), steps=4)
    page.mouse.up()
    assert tenths(page) == pytest.approx((0.10 * LAST_S, 0.40 * LAST_S), abs=0.3)
    kept = tenths(page)
    page.mouse.click(*place(layer, 0.8))
    assert tenths(page) == kept, "a tap is no stretch"
    found = Axe().run(page).response["violations"]
    assert not [f["id"] for f in found if f["impact"] in ("serious", "critical")]
    page.context.close()


def test_by_thumb(chromium: Browser, served: Served) -> None:
    page = opened(chromium, served, 390, touch=True)
    layer, driver = page.locator("#stretch"), page.context.new_cdp_session(page)

    def touch(kind: str, *points: tuple[float, float]) -> None:
        at = [{"x": x, "y": y} for x, y in points]
        driver.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": at})

    # An end that waits is held by its grip, at the foot.
    (x, _), box = place(layer, 0.4), page.locator("#edge-start").bounding_box()
    assert box
    foot = box["y"] + box["height"] - 10.0
    touch("touchStart", (x, foot))
    for share in (0.35, 0.3, 0.25):
        touch("touchMove", (place(layer, share)[0], foot))
    touch("touchEnd")
    expect(page.locator("#edge-start")).to_have_attribute("aria-valuenow", re.compile("^1[45]"))
    assert tenths(page) == pytest.approx((0.25 * LAST_S, 0.6 * LAST_S), abs=0.5)
    # Beside the ends, which a thumb reaches from a little further away than a mouse.
    touch("touchStart", place(layer, 0.1))
    for share in (0.15, 0.2, 0.25):
        touch("touchMove", place(layer, share))
    touch("touchEnd")
    expect(page.locator("#edge-end")).to_have_attribute("aria-valuenow", re.compile("^1[45]"))
    assert tenths(page) == pytest.approx((0.1 * LAST_S, 0.25 * LAST_S), abs=0.5)
    # Up and down is the page's: nothing is marked, what was chosen stays.
    kept, (x, y) = tenths(page), place(layer, 0.8)
    before = page.evaluate("scrollY")
    touch("touchStart", (x, y))
    for down in (20, 60, 120, 180):
        touch("touchMove", (x, y - down))
    touch("touchEnd")
    page.wait_for_function("before => scrollY > before", arg=before)
    assert tenths(page) == kept
    page.context.close()


def test_by_keys_with_values_that_are_spoken(chromium: Browser, served: Served) -> None:
    page = opened(chromium, served, 390)
    start, end = page.locator("#edge-start"), page.locator("#edge-end")
    start.focus()
    page.keyboard.press("Home")
    for key, expected in (
        ("Home", "0.0"), ("ArrowRight", "0.1"), ("Shift+ArrowRight", "1.1"), ("PageUp", "11.1"),
        ("ArrowLeft", "11.0"), ("PageDown", "1.0"),
    ):  # fmt: skip
        page.keyboard.press(key)
        expect(start).to_have_attribute("aria-valuenow", expected)
    expect(start).to_have_attribute("aria-valuetext", re.compile(r"^0:01\.0, \d+\.\d km/h$"))
    page.keyboard.press("Tab")
    expect(end).to_be_focused()
    page.keyboard.press("End")
    expect(end).to_have_attribute("aria-valuenow", f"{LAST_S:.1f}")
    page.keyboard.press("Home")
    expect(end).to_have_attribute("aria-valuenow", "1.1")
    assert tenths(page) == (1.0, 1.1), "the ends do not pass each other"
    # A thing typed moves them too.
    page.locator("#mark-end").fill("0:42,5")
    expect(end).to_have_attribute("aria-valuenow", "42.5")
    page.context.close()


def test_a_wrong_mark_keeps_everything(chromium: Browser, served: Served) -> None:
    page = opened(chromium, served, 390)
    for name, text, words in (
        ("start", "9:00", "is after the ride, which ends at 0:59.8"),
        ("start", "soon", "'soon' is no time"),
        ("end", "0:03", "has no length"),
    ):
        page.locator("#mark-start").fill("0:20.1")
        page.locator("#mark-end").fill("27.3")
        page.locator(f"#mark-{name}").fill(text)
        if text == "9:00":
            page.locator("#mark-end").fill("9:30")
        kept = [page.locator(f"#mark-{n}").input_value() for n in ("start", "end")]
        with page.expect_response("**/marks"):
            page.get_by_role("button", name="Leave out").click()
        field = page.locator(f"#mark-{name}")
        expect(field).to_have_attribute("aria-invalid", "true")
        expect(field).to_be_focused()
        expect(field.locator("xpath=following-sibling::p")).to_contain_text(words)
        assert [page.locator(f"#mark-{n}").input_value() for n in ("start", "end")] == kept
        expect(page.locator("#marks")).to_have_attribute("open", "")
    # Still there after the page was loaded again, and not sent yet.
    page.reload()
    expect(page.locator("#mark-end")).to_have_value("0:03")
    expect(page.locator("#marks")).to_contain_text("It is not saved yet.")
    # Put right it is taken, and taken back it is gone.
    page.locator("#mark-start").fill("0:20.1")
    page.locator("#mark-end").fill("27.3")
    page.get_by_role("button", name="Leave out").click()
    marked = page.get_by_text("0:20.1 to 0:27.3: left out")
    expect(marked).to_have_count(1)
    page.get_by_role("button", name="Take back the mark from 0:20.1 to 0:27.3").click()
    expect(marked).to_have_count(0)
    page.context.close()


def test_news_that_come_late_change_the_page_all_the_same(
    chromium: Browser, served: Served
) -> None:
    """Over a slow line a ride may be measured and drawn before the page hears of it."""
    page = chromium.new_page()
    page.goto(f"{served.base}/rides/1")
    expect(page.locator("#ride[data-current=yes]")).to_be_attached(timeout=60_000)
    shown = page.locator("#charts[data-drawn]").get_attribute("data-drawn", timeout=60_000)

    def late(route: Route) -> None:
        end = time.monotonic() + 0.001 * LONG_MS
        while time.monotonic() < end:
            with urllib.request.urlopen(f"{served.base}/tasks") as answer:
                if all(task["state"] == "done" for task in json.load(answer)):
                    break
            time.sleep(0.1)
        route.continue_()

    page.route("**/events", late)
    page.locator("#marks summary").click()
    page.locator("#mark-start").fill("0:40")
    page.locator("#mark-end").fill("0:45")
    page.get_by_role("button", name="Leave out").click()
    marked = page.get_by_role("list", name="Marked stretches")
    expect(marked).to_contain_text("0:40.0 to 0:45.0: left out")
    expect(page.locator("#ride[data-current=yes]")).to_be_attached(timeout=LONG_MS)
    expect(page.locator("#figures")).not_to_contain_text("these figures are older")
    expect(page.locator("#charts")).not_to_have_attribute("data-drawn", str(shown))
    marked.get_by_role("button").click()
    expect(marked).to_have_count(0)
    expect(page.locator("#ride[data-current=yes]")).to_be_attached(timeout=LONG_MS)
    page.close()


@pytest.mark.parametrize("width", [360, 390])
def test_the_page_of_a_ride_is_short_before_it_is_unfolded(
    chromium: Browser, served: Served, width: int
) -> None:
    page = chromium.new_page(viewport={"width": width, "height": 800})
    page.goto(f"{served.base}/rides/1")
    expect(page.locator("#charts[data-drawn]")).to_be_visible(timeout=60_000)
    assert page.evaluate("document.documentElement.scrollHeight") <= MOST_PX
    # The answer comes first, and a link to what is folded unfolds it.
    places = page.locator("h1, #top, .jump, #trace-head, #more-head, #details-head, #keep")
    tops = places.evaluate_all("all => all.map((one) => one.getBoundingClientRect().top)")
    assert tops == sorted(tops) and len(tops) == 7
    page.locator(".jump").get_by_role("link", name="Mark a stretch").click()
    expect(page.locator("#marks")).to_have_attribute("open", "")
    page.close()


def test_the_routes_of_this_file_were_visited(request: pytest.FixtureRequest) -> None:
    routes_visited.check(request)
