"""A real browser does what a workshop does: drop logs, name the machine, compare, mark, reload."""

import hashlib
import json
import re
import ssl
import tomllib
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import live_page
import pytest
import routes_visited
from axe_playwright_python.sync_playwright import Axe
from live_page import CHROMIUM, Served, Watch
from playwright.sync_api import Browser, BrowserContext, Page, expect
from pypdf import PdfReader

from ridelog.present.html import laid_out
from ridelog.web.serve import lan_host

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no chromium on this machine: install Debian's, or set CHROMIUM"
)

SAMPLES = live_page.ROOT / "sample_tracks"
LOGS = ("before-1.gpx", "before-2.nmea", "after-1.gpx", "after-2.nmea")
expect.set_options(timeout=30_000)
# Measuring four logs on a machine that others use too.
LONG_MS = 240_000


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with live_page.browser() as opened:
        yield opened


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    running = Served(tmp_path_factory.mktemp("story") / "book")
    yield running
    running.stop()


def context_of(chromium: Browser, width: int, scheme: str = "light") -> BrowserContext:
    context = chromium.new_context(
        viewport={"width": width, "height": 800},
        color_scheme="dark" if scheme == "dark" else "light",
        accept_downloads=True,
        # A telephone's owner compares the fingerprint and goes on past the warning.
        ignore_https_errors=True,
    )
    context.set_default_timeout(LONG_MS)
    return context


def drawn(page: Page) -> None:
    """Wait until the charts show the newest result."""
    expect(page.locator("#charts[data-drawn]")).to_be_visible(timeout=30_000)


def nothing_serious(page: Page, what: str) -> None:
    """Ask axe, in the state the page is in; and nothing may stick out to the side."""
    found = Axe().run(page).response["violations"]
    serious = [f for f in found if f["impact"] in ("serious", "critical")]
    assert not serious, (what, [(f["id"], f["nodes"][0]["html"]) for f in serious])
    assert page.viewport_size
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]


def test_the_whole_story(chromium: Browser, served: Served, tmp_path: Path) -> None:
    context = context_of(chromium, 1280)
    page, watch = context.new_page(), Watch(served.base)
    watch.over(page)

    page.goto(served.base)
    page.set_input_files("#files", [SAMPLES / name for name in LOGS])
    expect(page.locator("#queue a")).to_have_count(4, timeout=LONG_MS)
    expect(page.locator("#list tbody tr")).to_have_count(4)
    # All measured, the lines fold away; what was ticked is compared from beside them.
    expect(page.locator("#each:not([open])")).to_be_visible(timeout=LONG_MS)
    page.locator("#each summary").click()
    expect(page.locator("#rows li").nth(3)).to_be_in_viewport(ratio=1.0)
    expect(page.locator("#compare-now")).to_be_hidden()
    for name in (LOGS[0], LOGS[2]):
        page.get_by_label(f"{name.split('-')[0]} the change: {name}").check()
    expect(page.get_by_role("button", name="Compare 1 before with 1 after")).to_be_visible()

    # The machine and its set-ups, ride by ride.
    for name in LOGS:
        page.goto(served.base)
        page.locator("#list tbody tr", has_text=name).locator("th a").click()
        page.get_by_label("Machine", exact=True).fill("Thistledrake 2")
        page.get_by_label("Set-up", exact=True).fill(
            "64 teeth" if name.startswith("before") else "56 teeth"
        )
        page.locator("#conditions summary").click()
        page.get_by_label("Rider", exact=True).fill("Edda")
        page.get_by_role("button", name="Save").click()
        expect(page.get_by_text("Saved.", exact=True)).to_be_visible()  # the answer has come
        expect(page.get_by_label("Machine", exact=True)).to_have_value("Thistledrake 2")

    # Before and after, ticked and compared.
    page.goto(served.base)
    for name in LOGS:
        side = "before" if name.startswith("before") else "after"
        page.get_by_label(f"{side} the change: {name}").check()
    expect(page.locator("#picked")).to_have_text("2 before, 2 after")
    page.get_by_role("button", name="Compare before and after").click()
    expect(page.locator("h1")).to_have_text("What the change did", timeout=LONG_MS)
    expect(page.locator(".figure-of-day")).to_contain_text("km/h")
    how_full_it_was(page)
    typed_for_the_sheet(page, tmp_path)
    with page.expect_download() as figures:
        page.get_by_role("button", name="Figures as JSON").click()
    figures.value.save_as(tmp_path / "result.json")
    assert json.loads((tmp_path / "result.json").read_text())["schema"] == "ridelog.compare/1"

    # Mark where it went backwards; the figures follow without anything else being done.
    page.goto(served.base)
    page.locator("#list tbody tr", has_text="before-2.nmea").locator("th a").click()
    drawn(page)
    address, result = page.url, page.locator("#charts").get_attribute("data-drawn")
    page.locator("#marks summary").click()
    page.locator("#mark-start").fill("0:20.1")
    page.locator("#mark-end").fill("27.3")
    page.get_by_role("button", name="Mark as reverse").click()
    marked = page.get_by_role("list", name="Marked stretches").get_by_role("listitem")
    expect(marked).to_contain_text("0:20.1 to 0:27.3: reverse")
    expect(page.locator("#ride[data-current=yes]")).to_be_attached(timeout=LONG_MS)
    expect(page.locator("#charts")).not_to_have_attribute("data-drawn", str(result))
    with page.expect_download() as one:
        page.get_by_role("link", name="Figures as JSON").click()
    one.value.save_as(tmp_path / "ride.json")
    document = json.loads((tmp_path / "ride.json").read_text())
    assert document["settings"]["reverse_marks_s"] == [[20.1, 27.3]]
    assert document["reverse"]["state"] == "found"

    # All of it is still there.
    page.reload()
    drawn(page)
    assert page.url.split("#")[0] == address.split("#")[0]
    expect(marked).to_have_count(1)
    expect(page.get_by_label("Set-up", exact=True)).to_have_value("64 teeth")

    # The machine's history shows both set-ups.
    page.get_by_role("link", name="Thistledrake 2").first.click()
    expect(page.locator("h1")).to_have_text("Thistledrake 2")
    expect(page.locator("#setups-head ~ table tbody tr")).to_have_count(2)
    expect(page.locator("main figure svg:visible").first).to_be_visible()
    assert watch.faults == []
    context.close()


def how_full_it_was(page: Page) -> None:
    """The charge is noted from the comparison, which then says what it had kept back."""
    kept_back = "Whether the change moved the top speed"
    answer = page.locator(".figure-of-day")
    expect(answer).to_contain_text(kept_back)
    for side in ("before", "after"):
        page.get_by_label(f"Battery charge {side} the change").fill("full")
    page.get_by_role("button", name="Note it and compare again").click()
    expect(answer).not_to_contain_text(kept_back, timeout=LONG_MS)
    expect(answer).to_contain_text("km/h")
    expect(page.locator("#charge-head")).to_have_count(0)


def typed_for_the_sheet(page: Page, folder: Path) -> None:
    """What is typed and put on nothing is on the PDF, in the history, and there on coming back."""
    page.locator("summary", has_text="What stands on it").click()
    words = {"A line of yours": "Come back in May.", "What was done": "sprocket M6*20 & chain",
             "Price": "39,60 EUR", "Hours of work": "1.5 h",
             "Still to be done": "bleed the brakes"}  # fmt: skip
    for label, said in words.items():
        page.get_by_label(label, exact=True).fill(said)
    # The same address again is no reason to wait for anything.
    page.get_by_label("Price", exact=True).press("Enter")
    expect(page.locator("main progress")).to_have_count(0)
    with page.expect_download() as sheet:
        page.get_by_role("button", name="Owner's sheet as PDF").click()
    said = "thistledrake-2-64-teeth-to-56-teeth-sheet.pdf is downloaded."
    expect(page.get_by_text(said)).to_be_visible()
    sheet.value.save_as(folder / "sheet.pdf")
    text = " ".join(PdfReader(folder / "sheet.pdf").pages[0].extract_text().split())
    curves = page.locator(".figure-of-day p").nth(1).inner_text()
    assert "pull" in curves
    for said in (*words.values(), curves):
        assert said in text
    page.get_by_label("What does the owner want?").select_option("faster")
    page.get_by_role("button", name="Note the work in the machine's history").click()
    told = page.locator("#sheet-head ~ .said")
    expect(told).to_contain_text(
        f"{words['What was done']}; still to be done: bleed the brakes (39.60 EUR, 1.5 h)"
    )
    told.get_by_role("link", name="Thistledrake 2").click()
    expect(page.locator(".past-change")).to_contain_text(
        "still to be done: bleed the brakes (39.60 EUR, 1.5 h"
    )
    page.go_back()
    for label, said in words.items():
        expect(page.get_by_label(label, exact=True)).to_have_value(said)
    expect(page.get_by_label("What does the owner want?")).to_have_value("faster")


def test_times_are_those_of_the_browser(chromium: Browser, served: Served) -> None:
    """The page is served in UTC; the first RMC sentence of the log says 09:20."""
    for zone, words in (
        ("America/New_York", "8 Jun 2024, 05:20 EDT"),
        ("Europe/Berlin", "8 Jun 2024, 11:20 CEST"),
        ("America/Sao_Paulo", "8 Jun 2024, 06:20 UTC-3"),
    ):
        context = chromium.new_context(timezone_id=zone)
        page, watch = context.new_page(), Watch(served.base)
        watch.over(page)
        page.goto(served.base)
        row = page.locator("#list tbody tr", has_text="before-2.nmea")
        expect(row.locator("time")).to_have_text(words)
        row.locator("th a").click()
        expect(page.locator("h1")).to_have_text(f"Ride of {words}")
        expect(page).to_have_title(f"Ride of {words} – ridelog")
        assert watch.faults == []
        context.close()
    context = chromium.new_context(timezone_id="Europe/Berlin", java_script_enabled=False)
    page = context.new_page()
    page.goto(served.base)
    row = page.locator("#list tbody tr", has_text="before-2.nmea")
    expect(row.locator("time")).to_have_text("8 Jun 2024, 09:20 UTC")
    context.close()


@pytest.mark.parametrize("width", [1280, 360])
def test_charts_are_linked_and_steered_by_mouse_and_keys(
    chromium: Browser, served: Served, width: int
) -> None:
    context = context_of(chromium, width)
    page, watch = context.new_page(), Watch(served.base)
    watch.over(page)
    page.goto(served.base)
    page.locator("#list th a").first.click()
    drawn(page)
    readout = page.locator("#readout")
    whole = readout.inner_text()
    assert re.match(r"In view: 0:00\.0 to \d:\d\d\.\d\.", whole)

    chart = page.locator("#speed-chart")
    chart.scroll_into_view_if_needed()
    box = chart.bounding_box()
    assert box
    page.mouse.move(box["x"] + 0.4 * box["width"], box["y"] + 0.5 * box["height"])
    expect(readout).to_contain_text("At ")
    at = readout.inner_text()
    assert re.match(r"At \d:\d\d\.\d: [\d.]+ km/h \([\d.]+ to [\d.]+\)", at)

    # Pointing at the path marks the time, too.
    path = page.locator("#path-chart")
    path.scroll_into_view_if_needed()
    box = path.bounding_box()
    assert box
    page.mouse.move(box["x"] + 0.55 * box["width"], box["y"] + 0.55 * box["height"])
    expect(readout).not_to_have_text(at)

    chart.focus()
    page.keyboard.press("Home")
    expect(readout).to_contain_text("At 0:00.0")
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    expect(readout).not_to_contain_text("At 0:00.0")
    page.keyboard.press("+")
    expect(readout).not_to_contain_text(whole)
    page.keyboard.press("0")
    expect(readout).to_contain_text(whole)
    page.get_by_role("button", name="Zoom in").click()
    expect(readout).not_to_contain_text(whole)
    page.get_by_role("button", name="Whole ride").click()
    expect(readout).to_contain_text(whole)
    assert watch.faults == []
    context.close()


def test_units_switch_everywhere(chromium: Browser, served: Served) -> None:
    context = context_of(chromium, 360)
    page, watch = context.new_page(), Watch(served.base)
    watch.over(page)
    page.goto(f"{served.base}/machines/1")
    page.get_by_role("button", name="mph").click()
    assert page.url == f"{served.base}/machines/1"
    expect(page.locator("main")).to_contain_text("mph")
    page.goto(served.base)
    expect(page.locator("#list")).to_contain_text("mph")
    page.locator("#list th a").first.click()
    drawn(page)
    page.locator("#speed-chart").focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#readout")).to_contain_text("mph")
    assert watch.faults == []
    context.close()


@pytest.mark.parametrize(("width", "scheme"), [(1280, "light"), (360, "dark")])
def test_nothing_serious_stands_between_anyone_and_a_page(
    chromium: Browser, served: Served, width: int, scheme: str
) -> None:
    context = context_of(chromium, width, scheme)
    page, watch = context.new_page(), Watch(served.base)
    watch.over(page)
    for path in (
        "/", "/?find=nothing+like+this", "/rides/1", "/machines", "/machines/1",
        "/machines/1/setups/1", "/compare?before=1&after=3", "/phone", "/enter",
    ):  # fmt: skip
        page.goto(served.base + path, timeout=LONG_MS)
        if path == "/rides/1":
            drawn(page)
        nothing_serious(page, path)
    assert watch.faults == []
    context.close()


@pytest.mark.parametrize(("width", "scheme"), [(1280, "dark"), (360, "light")])
def test_the_rarer_pages_stand_in_nobodys_way(
    chromium: Browser, served: Served, width: int, scheme: str
) -> None:
    """Refusals, a prediction, a set-up that contradicts itself, and the pages that are sent."""
    context = context_of(chromium, width, scheme)
    page = context.new_page()
    setup = f"{served.base}/machines/1/setups/1"
    page.goto(setup)
    page.locator("#key_front_teeth").fill("0")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("alert")).to_contain_text("a sprocket without teeth cannot be")
    nothing_serious(page, "a set-up with a problem")
    for key, value in tomllib.loads((SAMPLES / "thistledrake-before.toml").read_text()).items():
        place, words = page.locator(f"#key_{key}"), str(value)
        if not place.is_visible():  # in a group that is folded
            page.locator("details.group", has=place).locator("summary").click()
        if isinstance(value, bool) or key in ("brakes", "battery_chemistry", "surface"):
            place.select_option(words.lower())
        else:
            place.fill(words)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("status")).to_contain_text("Nothing in the set-up contradicts itself.")
    page.goto(f"{setup}/what-if")
    nothing_serious(page, "what if")
    for box in page.locator("[name=ride]").all():
        box.set_checked(False)
    page.get_by_label("Teeth of the driven sprocket", exact=True).fill("56")
    page.get_by_role("button", name="Predict").click(no_wait_after=True)
    expect(page.locator("h2").first).to_contain_text("rear teeth 64 to 56", timeout=LONG_MS)
    assert page.url.endswith("#answer-head"), "the answer is below the form"
    nothing_serious(page, "a prediction")
    for path in (
        "/nowhere",
        "/compare?before=1",
        "/machines/1/setups/1/what-if?asked=1&front_teeth=x",
    ):
        page.goto(served.base + path)
        expect(page.get_by_role("alert")).to_be_visible()
        nothing_serious(page, path)
    for path in ("/rides/1/report.html", "/compare/sheet.html?before=1&after=3"):
        sent = context.request.get(served.base + path, timeout=LONG_MS)
        page.goto("about:blank")
        page.set_content(sent.text())
        nothing_serious(page, path)
    page.set_content(
        laid_out(
            "prediction.html", pictures=[], logo="",
            words=defaultdict(str)
            | {"title": "Quad", "basis": "From a set-up.", "headline": "Faster.",
            "foremost": ["Too fast."], "notes": ["A note."], "sources": ["us"], "version": "0",
            "particular": [{"text": "Too fast.", "source": "us", "mark": 1}],
            "choices": ["make this change", "something else:"],
            "tables": [{"heading": "All", "caption": "With bounds.", "head": ["Measure", "Now"],
            "rows": [["Top speed", "34 km/h"], ["Pull", ""]]}]},
        )
    )  # fmt: skip
    nothing_serious(page, "the page of a prediction")
    context.close()


def test_a_telephone_comes_in_with_a_code(chromium: Browser, tmp_path: Path) -> None:
    if lan_host() is None:
        pytest.skip("this machine has no address in a network")
    running = Served(tmp_path / "book", "--lan")
    try:
        context, phone = context_of(chromium, 1280), context_of(chromium, 360, "dark")
        page, small = context.new_page(), phone.new_page()
        for one in (context, phone):
            one.on("request", live_page.seen)
        page.goto(f"{running.base}/phone")
        page.get_by_role("button", name="Make a code").click()
        expect(page.locator(".qr svg")).to_be_visible()
        nothing_serious(page, "the code")
        words = page.locator("main").inner_text()
        code = page.locator(".code").inner_text().replace(" ", "")
        address = re.search(r"https://[\d.:]+", words)
        fingerprint = re.search(r"(?:[0-9A-F]{2}[:\s]+){31}[0-9A-F]{2}", words)
        assert address and fingerprint
        shown = "".join(fingerprint[0].replace(":", "").split())
        place = urlsplit(address[0])
        met = ssl.get_server_certificate((str(place.hostname), int(place.port or 0)))
        assert shown == hashlib.sha256(ssl.PEM_cert_to_DER_cert(met)).hexdigest().upper()
        small.goto(f"{address[0]}/")
        assert small.url.endswith("/enter"), "nobody without a code"
        nothing_serious(small, "the code is asked for")
        small.get_by_label("Code").fill("WRONG234")
        small.get_by_role("button", name="Come in").click()
        expect(small.get_by_role("alert")).to_contain_text("wrong, used or too old")
        nothing_serious(small, "a wrong code")
        small.goto(f"{address[0]}/enter#{code}")
        expect(small.locator("h1")).to_have_text("Rides")
        expect(small.get_by_role("link", name="Telephone")).to_have_count(0)
        # The words stand before the page's script takes files.
        small.wait_for_load_state("load")
        small.set_input_files("#files", SAMPLES / "before-2.nmea")
        expect(small.locator("#queue li")).to_have_count(1)
        nothing_serious(small, "a log comes in")
        for one in (context, phone):
            one.close()
    finally:
        running.stop()


def test_a_log_that_is_none_stops_nobody(chromium: Browser, served: Served, tmp_path: Path) -> None:
    context = context_of(chromium, 360)
    page, watch = context.new_page(), Watch(served.base)
    watch.over(page)
    hostile = tmp_path / "<img src=x onerror=alert(1)>.gpx"
    hostile.write_text("no log at all")
    page.goto(served.base)
    page.set_input_files("#files", [hostile, SAMPLES / LOGS[0]])
    expect(page.locator("#queue li.failed")).to_contain_text(
        "the content is no log that ridelog reads", timeout=LONG_MS
    )
    expect(page.locator("#queue")).to_contain_text("is in the book already")
    page.get_by_role("button", name=re.compile("^Dismiss")).click()
    expect(page.locator("#queue li.failed")).to_have_count(0)
    page.reload()
    expect(page.locator("#queue li.failed")).to_have_count(0)
    assert watch.faults == []
    context.close()


def test_the_routes_of_this_file_were_visited(request: pytest.FixtureRequest) -> None:
    routes_visited.check(request)
