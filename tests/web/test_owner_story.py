"""From the drop to the sheet that the owner signs, in a real browser, at both widths."""

import csv
import io
import json
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import live_page
import pytest
import routes_visited
from axe_playwright_python.sync_playwright import Axe
from live_page import CHROMIUM, Served, Watch
from PIL import Image
from playwright.sync_api import Browser, Download, Locator, Page, expect
from pypdf import PdfReader

from ridelog.__main__ import main
from ridelog.machine.setup import KEYS

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no chromium on this machine: install Debian's, or set CHROMIUM"
)

SAMPLES = live_page.ROOT / "sample_tracks"
LOGS = ("before-1.gpx", "before-2.nmea")
# Measuring and predicting on a machine that others use too.
LONG_MS = 240_000
# Rarer keys are folded away.
OPEN_AROUND = (
    "one => { for (let e = one; e; e = e.parentElement) if (e.open === false) e.open = true }"
)
expect.set_options(timeout=30_000)


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with live_page.browser() as opened:
        yield opened


def open_page(
    chromium: Browser, width: int, served: Served, *, touch: bool = False
) -> tuple[Page, Watch]:
    # Pages glide to a place otherwise, and pointers would miss it.
    context = chromium.new_context(
        viewport={"width": width, "height": 800}, accept_downloads=True, has_touch=touch,
        reduced_motion="reduce",
    )  # fmt: skip
    context.set_default_timeout(LONG_MS)
    page, watch = context.new_page(), Watch(served.base)
    watch.over(page)
    return page, watch


def sound(page: Page, what: str) -> None:
    """Ask axe; nothing may stick out to the side."""
    found = [
        (one["id"], one["nodes"][0]["html"])
        for one in Axe().run(page).response["violations"]
        if one["impact"] in ("serious", "critical")
    ]
    assert not found, (what, found)
    assert page.viewport_size
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]


def text_of(download: Download, place: Path) -> str:
    """Return what stands on a PDF, which has one page."""
    download.save_as(place)
    pages = PdfReader(place).pages
    assert len(pages) == 1
    return " ".join(pages[0].extract_text().split())


def photo(place: Path) -> Path:
    stream = io.BytesIO()
    Image.new("RGB", (1600, 1200), (120, 90, 60)).save(stream, "JPEG")
    place.write_bytes(stream.getvalue())
    return place


@pytest.mark.parametrize("width", [1280, 390])
def test_from_the_drop_to_the_signed_sheet(chromium: Browser, tmp_path: Path, width: int) -> None:
    served = Served(tmp_path / "book")
    try:
        page, watch = open_page(chromium, width, served)
        drop(page, served)
        set_up(page)
        setup = page.url.split("?")[0]
        head(page, served, tmp_path)
        against_a_statement(page, setup, tmp_path, by_keys=width == 1280)
        if width == 390:
            prediction(page, setup, tmp_path)
        options_and_decision(page, setup, tmp_path, verified=width == 1280)
        the_years(page, tmp_path)
        if width == 390:
            tidied(page, served, tmp_path)
        assert watch.faults == []
        refused(page, tmp_path)
    finally:
        served.stop()


def drop(page: Page, served: Served) -> None:
    page.goto(served.base)
    page.locator("#belongs summary").click()
    page.get_by_label("Machine of these logs").fill("Tern")
    page.get_by_label("Set-up of these logs").fill("as it came back")
    page.set_input_files("#files", [SAMPLES / name for name in LOGS])
    expect(page.locator("#list input[name=before]")).to_have_count(2, timeout=LONG_MS)
    page.locator("#list tbody tr", has_text=LOGS[0]).locator("th a").click()


def set_up(page: Page) -> None:
    """Fill in the set-up field by field, as the sample's file says it."""
    page.get_by_role("link", name="Tern").first.click()
    page.get_by_role("link", name="as it came back", exact=True).first.click()
    known = tomllib.loads((SAMPLES / "thistledrake-before.toml").read_text(encoding="utf-8"))
    for name, value in known.items():
        if KEYS[name].group == "The machine":
            continue
        field = page.locator(f"#key_{name}")
        field.evaluate(OPEN_AROUND)
        words = str(value).lower() if isinstance(value, bool) else str(value)
        if field.evaluate("one => one.tagName") == "SELECT":
            field.select_option(words)
        else:
            field.fill(words)
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Nothing in the set-up contradicts itself")).to_be_visible()


def head(page: Page, served: Served, folder: Path) -> None:
    """The workshop's name and logo, once for every sheet."""
    page.goto(f"{served.base}/workshop")
    page.get_by_label("Name", exact=True).fill("Quillgarth Works")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("Saved.")).to_be_visible()
    page.set_input_files("#logo-file", photo(folder / "logo.jpg"))
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_alt_text("Logo of the workshop")).to_be_visible()
    sound(page, "workshop")


def against_a_statement(page: Page, setup: str, folder: Path, *, by_keys: bool) -> None:
    page.goto(setup)
    page.get_by_role("link", name="Against a stated speed").click()
    if by_keys:
        page.get_by_label("Top speed", exact=False).first.focus()
        page.keyboard.type("28")
        page.keyboard.press("Tab")
        page.keyboard.type("10")
        page.keyboard.press("Tab")
        page.keyboard.type("the maker's leaflet")
        page.keyboard.press("Enter")
    else:
        page.locator("#speed").fill("28")
        page.locator("#within").fill("10")
        page.locator("#by").fill("the maker's leaflet")
        page.get_by_role("button", name="Compare").click()
    expect(page.locator(".figure-of-day")).to_contain_text(
        "the stated 28.0 km/h (the maker's leaflet)", timeout=LONG_MS
    )
    # The same again leads to the same address, which a browser would not load by itself.
    page.get_by_role("button", name="Compare").click()
    expect(page.locator("main progress")).to_have_count(0)
    expect(page.locator(".figure-of-day")).to_be_visible()
    sound(page, "stated")
    page.get_by_label("A line of yours").fill("Come back in May.")
    with page.expect_download() as sheet:
        page.get_by_role("button", name="Owner's sheet as PDF").click()
    text = text_of(sheet.value, folder / "stated.pdf")
    assert "Come back in May." in text
    assert "Still to be done. Not confirmed by anyone: volts of controller, motor," in text
    assert "Quillgarth Works" in text and "Tern" in text
    assert "Your decision: please tick one and sign" in text and "Date and signature" in text
    page.get_by_text("Kept with").get_by_role("link", name="Tern").click()
    page.get_by_role("link", name="as it came back against 28 km/h stated by the maker's").click()
    expect(page.locator("#answer-head")).to_be_visible(timeout=LONG_MS)
    expect(page.locator("#speed")).to_have_value("28")


def prediction(page: Page, setup: str, folder: Path) -> None:
    """One change with its price: the answer, and what is downloaded of it."""
    page.goto(f"{setup}/what-if")
    sound(page, "what if")
    page.get_by_text("Protection", exact=True).click()
    expect(page.locator("#fuse_a")).to_be_visible()
    page.locator("#rear_teeth").fill("56")
    page.locator("summary", has_text="Its price, and the paper").click()
    for name, words in (("price", "39,60"), ("currency", "EUR"), ("hours", "1.5")):
        page.locator(f"#{name}").fill(words)
    page.get_by_role("button", name="Predict").click()
    answer = page.locator(".figure-of-day")
    expect(answer).to_contain_text("It costs 39.60 EUR, 1.5 h of work.", timeout=LONG_MS)
    sound(page, "a prediction")
    # The answer stands first; what was asked for is unfolded.
    expect(page.locator("#rear_teeth")).to_be_hidden()
    page.locator("summary", has_text="What is changed").click()
    expect(page.locator("#rear_teeth")).to_have_value("56")
    headline = answer.locator("strong").first.inner_text()
    top = re.search(r"Top speed ([\d.]+) km/h", headline)
    assert top
    paper = page.get_by_role("link", name="On one page as PDF")
    place = folder / "prediction.pdf"
    saved_as(page, paper, place)
    (sheet,) = PdfReader(place).pages
    text = " ".join(sheet.extract_text().split())
    for said in ("Quillgarth Works", headline, "It costs 39.60 EUR", "please tick one and sign"):
        assert said in text
    told = json.loads(
        saved_as(page, page.get_by_role("link", name="Figures as JSON"), folder / "prediction.json")
    )
    assert (told["price"], told["currency"], told["hours"]) == (39.6, "EUR", 1.5)
    measures = {one["name"]: one for one in told["measures"]}
    value = measures["top_speed_mps"]["changed"]["value"]
    assert f"{3.6 * value:.1f}" == top[1]
    table = saved_as(page, page.get_by_role("link", name="Figures as a table"), folder / "p.csv")
    rows = {row["name"]: row for row in csv.DictReader(io.StringIO(table.decode()))}
    assert float(rows["price"]["changed_value"]) == 39.6
    assert float(rows["top_speed_mps"]["changed_value"]) == pytest.approx(value, rel=1e-5)


def options_and_decision(page: Page, setup: str, folder: Path, *, verified: bool) -> None:
    page.goto(f"{setup}/options")
    # Everything is there at once, and so short that a thumb sees its end.
    assert page.evaluate("document.documentElement.scrollHeight") < 2800
    for n, name, price, key, value in (
        (0, "56 teeth", "39.60", "rear_teeth", "56"), (1, "72 teeth", "45", "rear_teeth", "72")
    ):  # fmt: skip
        page.locator(f"#name_{n}").fill(name)
        page.locator(f"#price_{n}").fill(price)
        page.locator(f"#key_{n}_0").select_option(key)
        expect(page.locator(f"#help_{n}_0")).to_contain_text("; now 64")
        page.locator(f"#value_{n}_0").fill(value)
    page.locator("#options summary", has_text="On the paper").click()
    page.locator("#currency").fill("EUR")
    page.get_by_role("button", name="Lay them side by side").click()
    expect(page.locator("#answer-head")).to_contain_text(
        "2 options to choose from", timeout=LONG_MS
    )
    sound(page, "options")
    with page.expect_download() as paper:
        page.get_by_role("link", name="Paper to sign as PDF").click()
    text = text_of(paper.value, folder / "options.pdf")
    assert "Quillgarth Works" in text and "39.60" in text and "ignature" in text
    if verified:
        figures_of_options(page, folder)
    page.get_by_label("Decided for").select_option(
        label="A 56 teeth (rear teeth 64 to 56), 39.60 EUR"
    )
    page.get_by_label("In the owner's words").fill("before the summer")
    page.get_by_role("button", name="Note it in the machine's history").click()
    expect(page.locator(".past-decision")).to_contain_text(
        "on as it came back: 56 teeth (rear teeth 64 to 56). before the summer (39.60 EUR)"
    )


def figures_of_options(page: Page, folder: Path) -> None:
    """Page, JSON and table carry the figures shown, and the JSON follows from the logs."""
    alone = saved_as(page, page.get_by_role("link", name="As a page"), folder / "o.html").decode()
    link = page.get_by_role("link", name="Figures as JSON")
    told = json.loads(saved_as(page, link, folder / "options.json"))
    link = page.get_by_role("link", name="Figures as a table")
    table = saved_as(page, link, folder / "options.csv").decode()
    rows = {(r["option"], r["name"]): r for r in csv.DictReader(io.StringIO(table))}
    row = page.locator("table.figures tr", has_text="Top speed (").first.locator("td")
    for option, shown in zip(told["options"], row.all_inner_texts()[1:], strict=True):
        top = next(one for one in option["figures"] if one["name"] == "top_speed_mps")
        words = f"{3.6 * top['value']['value']:.1f}"
        assert words in shown and words in alone
        value = float(rows[option["name"], "top_speed_mps"]["value"])
        assert value == pytest.approx(top["value"]["value"], rel=1e-5)
        assert float(rows[option["name"], "price"]["value"]) == option["price"]
    with pytest.raises(SystemExit) as left:
        main(["verify", str(folder / "options.json"), "--logs", str(SAMPLES)])
    assert not left.value.code


def the_years(page: Page, folder: Path) -> None:
    """The work that followed, with a photo, beside the rides' figures."""
    page.get_by_text("Note a change, a part or a decision").click()
    page.get_by_label("In words").first.fill("rear sprocket with 56 teeth")
    page.get_by_label("Price", exact=True).fill("39,60")
    page.get_by_label("Currency", exact=True).fill("EUR")
    page.get_by_label("Hours of work", exact=True).fill("1.5")
    page.get_by_role("button", name="Note it", exact=True).click()
    expect(page.get_by_text("Spent on it: 39.60 EUR, 1.5 h of work")).to_be_visible()
    page.get_by_text("Add photos").click()
    page.set_input_files("#photo-files", [photo(folder / "one.jpg")])
    page.locator("#photo-words").fill("with its new sprocket")
    page.get_by_role("button", name="Add them").click()
    shown = page.get_by_alt_text("with its new sprocket")
    expect(shown).to_be_visible()
    assert shown.evaluate("one => one.complete && one.naturalWidth") == 360
    expect(page.locator(".past-ride")).to_contain_text("2 rides on as it came back")
    sound(page, "history")
    with page.expect_download() as table:
        page.get_by_role("link", name="All of it as a table").click()
    table.value.save_as(folder / "history.csv")
    rows = (folder / "history.csv").read_text(encoding="utf-8").splitlines()
    kinds = {row.split(",")[1] for row in rows[1:]}
    assert {"ride", "decision", "photo", "set-up"} <= kinds


def saved_as(page: Page, button: Locator, place: Path) -> bytes:
    with page.expect_download() as file:
        button.click()
    file.value.save_as(place)
    return place.read_bytes()


def tidied(page: Page, served: Served, folder: Path) -> None:
    """What was kept is handed out as it came in, taken back, named anew, measured again."""
    machine = page.url.split("?")[0].split("#")[0]
    given = page.get_by_role("link", name="As it was given")
    assert saved_as(page, given, folder / "given.jpg") == (folder / "one.jpg").read_bytes()
    page.get_by_role("button", name=re.compile("^Take it out of the book: photo")).click()
    expect(page.get_by_alt_text("with its new sprocket")).to_have_count(0)
    page.get_by_role("button", name=re.compile("^Take it out ?: change")).click()
    expect(page.get_by_text("Spent on it")).to_have_count(0)
    # Nothing is spent on a page that is not there yet either: count on the one that has come.
    kept = page.locator("ul.kept li")
    expect(kept.first).to_be_visible()
    page.wait_for_load_state()
    asked = kept.count()
    kept.first.get_by_role("button", name=re.compile("^Take off the list")).click()
    expect(kept).to_have_count(asked - 1)
    page.get_by_label("Add a set-up").fill("with mudguards")
    page.locator("#setups-head ~ form").get_by_role("button", name="Add").click()
    expect(page.locator("main")).to_contain_text("with mudguards")
    page.goto(machine)
    page.locator("#change-head ~ form").get_by_label("Note").fill("for the fair")
    page.locator("#change-head ~ form").get_by_role("button", name="Save").click()
    expect(page.locator("#change-head ~ .said")).to_have_text("Saved.")
    page.goto(f"{served.base}/machines")
    page.get_by_label("Name", exact=True).fill("Plover")
    page.get_by_role("button", name="Add").click()
    expect(page.locator("h1")).to_have_text("Plover")
    page.goto(f"{served.base}/workshop")
    page.get_by_role("button", name="Take it out").click()
    expect(page.get_by_alt_text("Logo of the workshop")).to_have_count(0)
    # Both rides are named at once, then one is told more of, measured again and let go.
    page.goto(served.base)
    for box in page.locator("#list input[name=after]").all():
        box.check()
    page.get_by_role("button", name="Note machine, charge…").click()
    page.locator("#several-charge").fill("full")
    sound(page, "several rides are named")
    page.get_by_role("button", name="Save on all of them").click()
    expect(page.get_by_text("Named on 2 rides.")).to_be_visible()
    page.locator("#list tbody tr", has_text=LOGS[1]).locator("th a").click()
    log = page.locator("a[href$='/original']")
    assert saved_as(page, log, folder / "log") == (SAMPLES / LOGS[1]).read_bytes()
    alone = saved_as(page, page.locator("a[href$='/report.html']"), folder / "ride.html")
    assert b"Top speed" in alone
    page.locator("#before-riding summary").first.click()
    page.locator("#before-riding input[type=checkbox]").first.check()
    page.get_by_role("button", name="Keep with the ride").click()
    expect(page.locator("#before-riding")).to_contain_text("1 of ")
    page.locator("#conditions summary").click()
    page.get_by_label("Add a note").fill("rattles at full throttle")
    page.locator("#details").get_by_role("button", name="Save").click()
    note = page.locator("#details .note")
    expect(note).to_have_text("rattles at full throttle")
    page.locator("#details").get_by_role("button", name=re.compile("^Remove")).click()
    expect(note).to_have_count(0)
    page.locator("summary", has_text="Measure again").click()
    # The page comes anew, and once more with the new figures: what was unfolded is not then.
    with page.expect_navigation():
        page.get_by_role("button", name="Measure again").click()
    expect(page.locator("#ride[data-current=yes]")).to_be_attached(timeout=LONG_MS)
    sure = page.get_by_label("Remove the ride and its log")
    sure.evaluate(OPEN_AROUND)
    sure.check()
    page.get_by_role("button", name="Remove", exact=True).click()
    expect(page.locator("#list tbody tr")).to_have_count(1)
    page.goto(machine)


def refused(page: Page, folder: Path) -> None:
    """What is no photo is said beside the form, and nothing of the page is lost."""
    page.get_by_text("Add photos").click()
    (folder / "words.jpg").write_text("no photo")
    page.set_input_files("#photo-files", [folder / "words.jpg"])
    page.get_by_role("button", name="Add them").click()
    expect(page.get_by_text("words.jpg: this is no JPEG or PNG photo.")).to_be_visible()


def test_the_routes_of_this_file_were_visited(request: pytest.FixtureRequest) -> None:
    routes_visited.check(request)
