"""What the pages say about rides in the book, and what can be changed there."""

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import jsonschema
import pytest
from visitor import SAMPLES, Visitor, app_in, queue_of, short_log, wait_until_measured

from ridelog.book.book import Book
from ridelog.importer import load_track
from ridelog.report.ride_json import schema_of


@dataclass
class Workshop:
    """A page with the first minute of two rides: before-2 is ride 1, after-2 is ride 2."""

    visitor: Visitor
    folder: Path


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Workshop]:
    folder = tmp_path_factory.mktemp("pages") / "book"
    app = app_in(folder)
    queue = queue_of(app)
    queue.start()
    visitor = Visitor(app)
    visitor.get("/")
    for name, fixes in (("before-2.nmea", 300), ("after-2.nmea", 600)):
        assert visitor.put(name, short_log(name, fixes)).status == 202
    wait_until_measured(visitor, 180.0)
    yield Workshop(visitor, folder)
    queue.stop()


def headline(page: str) -> float:
    found = re.search(r'class="value">([\d.]+) km/h', page)
    assert found
    return float(found[1])


def test_the_ride_says_what_it_must(shop: Workshop) -> None:
    page = shop.visitor.get("/rides/1")
    assert page.status == 200
    for words in (
        "Top speed", "right 9 times out of 10", "Best five seconds", "Fastest second",
        "Highest reading", "nearly always too high",
        "The signal", "What was not measured", "Before anyone rides it", "licensed",
        "Mark a stretch", "Machine, set-up and conditions",
    ):  # fmt: skip
        assert words in page.words, words
    truth = json.loads((SAMPLES / "truth.json").read_text())["rides"]["before-2.nmea"]
    # 1 m/s is 3.6 km/h exactly.
    assert headline(page.text) == pytest.approx(3.6 * truth["two_way_mps"], abs=0.3)


def test_no_page_tells_where_on_earth_it_was(shop: Workshop) -> None:
    track = load_track(SAMPLES / "before-2.nmea")
    degrees = [*track.latitude_deg[150:300:5], *track.longitude_deg[150:300:5]]
    # Five decimals are a metre; round numbers may be other figures.
    places = {f"{value:.5f}" for value in degrees}
    places = {place for place in places if "000" not in place}
    assert len(places) > 20
    for path in ("/", "/rides/1", "/rides/1/report.html", "/rides/1/result.json",
                 "/rides/1/chart", "/rides/1/trace"):  # fmt: skip
        answer = shop.visitor.get(path)
        assert answer.status == 200, path
        for place in places:
            assert place not in answer.text, (path, place)


def test_the_figures_come_as_json_by_their_schema(shop: Workshop) -> None:
    answer = shop.visitor.get("/rides/1/result.json")
    document = answer.json()
    jsonschema.validate(document, schema_of("ridelog.ride/2"))
    assert answer.headers["content-disposition"] == 'attachment; filename="ride-1.json"'


def test_the_log_comes_back_as_it_was(shop: Workshop) -> None:
    answer = shop.visitor.get("/rides/1/original")
    assert answer.body == short_log("before-2.nmea")
    assert answer.headers["content-disposition"] == 'attachment; filename="ride-1.nmea"'


def test_the_page_that_stands_alone_asks_for_nothing(shop: Workshop) -> None:
    answer = shop.visitor.get("/rides/1/report.html")
    assert "<script" not in answer.text and "sandbox" in answer.headers["content-security-policy"]


def test_the_trace_is_thinned_to_pixels_and_exact_when_close(shop: Workshop) -> None:
    whole = shop.visitor.get("/rides/1/trace?columns=60").json()
    close = shop.visitor.get("/rides/1/trace?from=40&to=42&columns=800").json()
    assert 60 < len(whole["time"]) <= 4 * 60 + 2
    assert len(close["time"]) in (11, 12, 13), "every fix of two seconds and one beyond either end"
    assert max(whole["speed"]) == pytest.approx(headline(shop.visitor.get("/rides/1").text), abs=1)
    for query in ("from=nan", "from=inf&to=-inf", "columns=1e99", "from=9&to=3"):
        assert shop.visitor.get(f"/rides/1/trace?{query}").status == 200
    answer = shop.visitor.get("/rides/1/trace?from=soon")
    assert answer.status == 400 and "From: this is no number." in answer.words


def test_charts_come_in_both_shades_and_units(shop: Workshop) -> None:
    light = shop.visitor.get("/rides/1/chart?shade=light").json()
    dark = shop.visitor.get("/rides/1/chart?shade=dark").json()
    assert light["unit"] == "km/h" and light["start"] == 0.0
    assert json.dumps(light["speed"]) != json.dumps(dark["speed"])
    assert any(kind == "best" for _, _, kind in light["spans"])
    assert set(light["route"]) == {"time", "east", "north", "speed"}


def test_details_are_kept_and_shown(shop: Workshop) -> None:
    visitor = shop.visitor
    visitor.get("/rides/1")
    hostile = '"><script>alert(1)</script>'
    answer = visitor.post(
        "/rides/1/details", machine="Thistledrake 2", setup="64 teeth", rider="Edda", wind=hostile,
        note="pulled\nleft {{ 7 * 7 }}",
    )  # fmt: skip
    assert answer.status == 303 and answer.headers["location"].startswith("/rides/1?saved")
    page = visitor.get("/rides/1")
    for value in ("Thistledrake 2", "64 teeth", "Edda"):
        assert f'value="{value}"' in page.text
    assert "<script>alert(1)" not in page.text and "left {{ 7 * 7 }}" in page.words
    assert "Thistledrake 2" in visitor.get("/").words
    found = visitor.get("/?find=thistledrake+edda").words
    assert "8 Jun 2024, 09:20" in found and "9 Jun 2024" not in found
    note = re.search(r'name="note" value="(\d+)"', page.text)
    assert note
    visitor.post("/rides/1/notes/remove", note=note[1])
    assert "left {{ 7 * 7 }}" not in visitor.get("/rides/1").words


def test_times_are_those_of_the_machine_until_the_script_has_come(
    shop: Workshop, zone: Callable[[str], None]
) -> None:
    zone("New York")
    for path in ("/", "/rides/1"):
        page = shop.visitor.get(path)
        found = re.search(r'<time datetime="(2024-06-08T09:20:[\d.]+Z)">([^<]*)</time>', page.text)
        assert found and found[2] == "8 Jun 2024, 05:20 EDT", path
        assert 'src="/static/times.js"' in page.text
    assert "<title>Ride of 8 Jun 2024, 05:20 EDT" in shop.visitor.get("/rides/1").text


def test_a_set_up_needs_its_machine(shop: Workshop) -> None:
    shop.visitor.get("/rides/2")
    answer = shop.visitor.post("/rides/2/details", machine="", setup="64 teeth")
    assert answer.status == 400 and "A set-up belongs to a machine" in answer.words


def test_a_mark_moves_the_figures_and_its_removal_moves_them_back(shop: Workshop) -> None:
    visitor = shop.visitor
    page = visitor.get("/rides/1")
    before = headline(page.text)
    document = visitor.get("/rides/1/result.json").json()
    at_s = document["top_speed"]["at_s"]
    answer = visitor.post(
        "/rides/1/marks", kind="left_out", start=f"0:{at_s - 20:.1f}", end=f"{at_s + 20:.1f}"
    )
    assert answer.status == 303
    assert "Marks or set-up have changed" in visitor.get("/rides/1").words
    wait_until_measured(visitor)
    changed = visitor.get("/rides/1/result.json").json()["top_speed"]
    assert abs(changed["at_s"] - at_s) >= 19.0
    assert changed["best_1s_mps"] != document["top_speed"]["best_1s_mps"]
    with Book(shop.folder) as book:
        mark = book.details.marks(1)[0]
    page = visitor.get("/rides/1")
    assert "left out" in page.words and "Marks or set-up have changed" not in page.words
    visitor.post("/rides/1/marks/remove", mark=str(mark.id))
    wait_until_measured(visitor)
    again = visitor.get("/rides/1")
    assert headline(again.text) == before
    assert visitor.get("/rides/1/result.json").json() == document


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        ("soon", "9", "Start of the stretch: 'soon' is no time."),
        ("1:00", "-5", "End of the stretch: '-5' is no time."),
        ("9", "3", "A mark from 9 s to 3 s has no length."),
        ("1:00:09", "1:00:13", "1:00:09.0 is after the ride, which ends at 0:59.8."),
        ("1:2:3:4", "9", "Start of the stretch: '1:2:3:4' is no time."),
        ("", "", "Start of the stretch: '' is no time."),
    ],
)
def test_marks_that_are_none(shop: Workshop, start: str, end: str, words: str) -> None:
    shop.visitor.get("/rides/1")
    answer = shop.visitor.post("/rides/1/marks", kind="reverse", start=start, end=end)
    assert answer.status == 400 and words in answer.words
    answer = shop.visitor.post("/rides/1/marks", kind="sideways", start="1", end="2")
    assert answer.status == 400 and "'sideways' is no kind of mark" in answer.words


def test_machines_have_a_history(shop: Workshop) -> None:
    visitor = shop.visitor
    visitor.get("/rides/2")
    visitor.post("/rides/2/details", machine="Thistledrake 2", setup="56 teeth")
    with Book(shop.folder) as book:
        machine = book.machines.named("Thistledrake 2").id
    page = visitor.get(f"/machines/{machine}")
    assert 'role="img"' in page.text and "56 teeth" in page.words
    assert "9 Jun 2024" in page.words
    listed = visitor.get("/machines")
    assert "Thistledrake 2" in listed.words


def test_set_ups_keep_their_file(shop: Workshop) -> None:
    visitor = shop.visitor
    visitor.get("/machines")
    answer = visitor.post("/machines", name="Second")
    place = answer.headers["location"]
    setup = visitor.post(f"{place}/setups", name="stock").headers["location"]
    text = "# mine\n[masses]\nrider_kg = 40.0\n"
    assert visitor.post(setup, name="stock", since="2024-06-01", toml=text).status == 303
    page = visitor.get(setup)
    assert "rider_kg = 40.0" in page.text and 'value="2024-06-01"' in page.text
    assert visitor.get(setup.replace(place, "/machines/9999")).status == 404
    answer = visitor.post(setup, name="stock", since="in June", toml=text)
    assert answer.status == 400 and "is no day" in answer.words


def test_a_set_up_says_what_cannot_be_and_keeps_the_text(shop: Workshop) -> None:
    visitor = shop.visitor
    visitor.get("/machines")
    place = visitor.post("/machines", name="Third").headers["location"]
    setup = visitor.post(f"{place}/setups", name="odd").headers["location"]
    assert "front_teeth" in visitor.get(setup).text, "an empty one explains every key"
    for text, words in (
        ("front_teeth = 0", "front_teeth = 0"),
        ("front_tooth = 11", "did you mean front_teeth"),
        ("= 11", "the set-up file is no TOML"),
        ("battery_nominal_v = 48\nbattery_full_v = 36", "battery"),
    ):
        visitor.post(setup, name="odd", since="", toml=text)
        page = visitor.get(setup)
        assert "The file is kept as it is, but:" in page.words and words in page.words, text
        assert page.text.count("front_too") <= 3


def test_a_set_up_is_filled_in_field_by_field(shop: Workshop) -> None:
    """Comments and keys that nobody knows stay in the file; what cannot be is said at its field."""
    visitor = shop.visitor
    visitor.get("/machines")
    place = visitor.post("/machines", name="Fourth").headers["location"]
    setup = visitor.post(f"{place}/setups", name="stock").headers["location"]
    form = visitor.get(setup)
    assert "<textarea" not in form.text
    for words in ("Teeth of the driven sprocket", "1 to 400", "two independent", "not known"):
        assert words in form.text, words
    typed = {"key_rear_teeth": "60", "key_front_teeth": "11", "key_brakes": "one"}
    assert visitor.post(setup, name="stock", since="", **typed).status == 303
    page = visitor.get(setup)
    assert 'name="key_rear_teeth" value="60"' in page.text and "rear_teeth = 60" in page.text
    assert "name = &#34;Fourth&#34;" in page.text
    assert '<option value="one" selected>' in page.text
    wrong = visitor.post(setup, name="stock", since="", key_rear_teeth="0")
    assert wrong.status == 400 and "a sprocket without teeth cannot be" in wrong.words
    # A file from elsewhere, with a comment and an unknown key.
    text = "# my own words\nrear_teeth = 60  # as delivered\nhorn_colour = 3\nfuse_a = 40\n"
    visitor.post(setup, name="stock", since="", toml=text)
    visitor.post(setup, name="stock", since="", key_rear_teeth="58", key_fuse_a="")
    page = visitor.get(setup)
    for kept in ("# my own words", "horn_colour = 3", "rear_teeth = 58", "# fuse_a ="):
        assert kept in page.text, kept
    # One that is no TOML at all stays below what is written anew.
    visitor.post(setup, name="stock", since="", toml="= 11\nmine")
    visitor.post(setup, name="stock", since="", key_rear_teeth="58")
    page = visitor.get(setup)
    assert "rear_teeth = 58" in page.text and "# = 11\n# mine" in page.text
    assert "The file is kept as it is" not in page.words


def kept_answer(visitor: Visitor, machine: int | None, begins: str) -> None:
    """See that what was asked last is listed with its machine and leads back to its address."""
    page = visitor.get(f"/machines/{machine}")
    answer = visitor.get(re.findall(r'href="(/kept/\d+)"', page.text)[0])
    assert answer.status == 303 and answer.headers["location"].startswith(begins)
    assert visitor.get(answer.headers["location"].partition("#")[0]).status == 200


def test_what_if_answers_from_the_rides(shop: Workshop) -> None:
    visitor = shop.visitor
    visitor.get("/rides/1")
    visitor.post("/rides/1/details", machine="Thistledrake 2", setup="64 teeth")
    with Book(shop.folder) as book:
        ride = book.rides.get(1)
    setup = f"/machines/{ride.machine_id}/setups/{ride.setup_id}"
    toml = (SAMPLES / "thistledrake-before.toml").read_text()
    visitor.post(setup, name="64 teeth", since="2024-06-08", toml=toml)
    page = visitor.get(f"{setup}/what-if")
    assert "now 15" in page.words and "now 64" in page.words and 'value="1" checked' in page.text
    answer = visitor.get(f"{setup}/what-if?asked=1&rear_teeth=56&ride=1")
    assert "rear teeth 64 to 56" in answer.words and "Predicted from 1 ride" in answer.words
    assert "Top speed" in answer.words and 'role="img"' in answer.text
    kept_answer(visitor, ride.machine_id, f"{setup}/what-if?asked=1&ride=1&rear_teeth=56#")
    said = "asked=1&rear_teeth=56&ride=1"
    assert visitor.get(f"{setup}/what-if/prediction.pdf?{said}").body.startswith(b"%PDF-")
    document = visitor.get(f"{setup}/what-if/prediction.json?{said}").json()
    assert document["changes"] == {"rear_teeth": 56}
    table = visitor.get(f"{setup}/what-if/prediction.csv?{said}").text
    assert table.startswith("name,title,unit,now_value")
    assert visitor.get(f"{setup}/what-if/ride.html?{said}").status == 404
    assert visitor.get(f"{setup}/what-if/prediction.pdf?asked=1").status == 404
    wrong = visitor.get(f"{setup}/what-if?asked=1&front_teeth=0")
    assert wrong.status == 200 and 'role="alert"' in wrong.text and "front_teeth" in wrong.words
    # Every key is a field with unit, help and bounds; no box for words of a file.
    for words in ("now 64; 1 to 400", "Fuse rating, amperes A", "0.5 to 1000 A", "as it is"):
        assert words in page.words, words
    assert 'name="more"' not in page.text and 'name="fuse_a"' in page.text
    fuse = visitor.get(f"{setup}/what-if?asked=1&fuse_a=2000&ride=1")
    assert "fuse_a = 2000: outside" in fuse.words and 'value="2000"' in fuse.text
    assert "<details open><summary>Protection</summary>" in fuse.text
    assert "Change to" in visitor.get(f"{setup}/what-if?asked=1").words
    # The set-up says how wide and high it is: measured again, turns against the tip-over threshold.
    visitor.get("/rides/1")
    wait_until_measured(visitor)
    assert visitor.get("/rides/1/result.json").json()["settings"]["track_width_m"] == 1.02


def test_options_from_a_form_and_the_decision_in_the_history(shop: Workshop) -> None:
    """Runs after the set-up of ride 1 has been filled in above."""
    visitor = shop.visitor
    with Book(shop.folder) as book:
        ride = book.rides.get(1)
    place = f"/machines/{ride.machine_id}/setups/{ride.setup_id}/options"
    form = visitor.get(place)
    assert form.status == 200 and "Options for the owner" in form.words
    # Every key of a set-up with unit, bounds and what is there now; no box for a file's text.
    for help_words in (
        "Teeth of the driven sprocket (1 to 400); now 64",
        "Fuse rating, amperes (0.5 to 1000 A)",
    ):
        assert help_words in form.text
    assert "<textarea" not in form.text
    said = (
        "asked=1&ride=1&currency=EUR&name_0=56+teeth&price_0=40&hours_0=1,5&key_0_0=rear_teeth"
        "&value_0_0=56&name_1=More+%3Cb%3E&price_1=620&key_1_0=battery_cells&value_1_0=16"
    )
    answer = visitor.get(f"{place}?{said}")
    for words in ("2 options to choose from", "Predicted from 1 ride", "A 56 teeth", "As it is",
                  "Before anyone rides it", "Paper to sign as PDF"):  # fmt: skip
        assert words in answer.words, words
    assert "More &lt;b&gt;" in answer.text and "More <b>" not in answer.text
    kept_answer(visitor, ride.machine_id, f"{place}?asked=1&ride=1&currency=EUR&name_0=56+teeth&")
    pdf = visitor.get(f"{place}/options.pdf?{said}")
    assert pdf.body.startswith(b"%PDF-")
    document = visitor.get(f"{place}/options.json?{said}").json()
    jsonschema.validate(document, schema_of("ridelog.options/1"))
    assert document["options"][0]["hours"] == 1.5
    table = visitor.get(f"{place}/options.csv?{said}").text.splitlines()
    assert table[0].startswith("option,name,title,unit,value") and len(table) > 20
    assert visitor.get(f"{place}/book.sqlite3?{said}").status == 404
    visitor.get(f"{place}?{said}")
    assert (
        '<option value="1">A 56 teeth (rear teeth 64 to 56), 40 EUR, 1.5 h</option>' in answer.text
    )
    hidden = dict(
        re.findall(r'name="((?:said|price|hours)_1|currency)" value="([^"]*)"', answer.text)
    )
    hidden["currency"] = "EUR"
    visitor.post(f"{place}/decision", decided="1", words="before the summer", **hidden)
    machine = visitor.get(f"/machines/{ride.machine_id}").words
    assert "56 teeth (rear teeth 64 to 56). before the summer (40 EUR, 1.5 h)" in machine
    assert ride.machine_id is not None
    with Book(shop.folder) as book:
        (decision,) = book.past.work(ride.machine_id)
    assert (decision.kind, decision.price, decision.hours) == ("decision", 40.0, 1.5)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("name_0=A&key_0_0=rear_teeth&value_0_0=56", "1 options are given"),
        ("name_0=A&name_1=B", 'option "A" changes nothing'),
        ("name_0=A&price_0=dear&key_0_0=rear_teeth&value_0_0=56", 'price "dear" is no number'),
        ("name_0=A&key_0_0=rear_teeth&value_0_0=0", "a sprocket without teeth cannot be"),
    ],
)
def test_options_that_cannot_be_are_said_beside_the_form(
    shop: Workshop, typed: str, words: str
) -> None:
    with Book(shop.folder) as book:
        ride = book.rides.get(1)
    place = f"/machines/{ride.machine_id}/setups/{ride.setup_id}/options"
    answer = shop.visitor.get(f"{place}?asked=1&{typed}")
    assert answer.status == 200 and 'role="alert"' in answer.text and words in answer.words


def test_before_and_after_are_compared(shop: Workshop) -> None:
    visitor = shop.visitor
    page = visitor.get("/compare?before=1&after=2")
    assert page.status == 200 and "What the change did" in page.words
    assert "How sure is it" in page.words and "Owner's sheet as PDF" in page.words
    pdf = visitor.get("/compare/sheet.pdf?before=1&after=2&workshop=Quillgarth+Works")
    assert pdf.body.startswith(b"%PDF-") and pdf.headers["content-type"] == "application/pdf"
    document = visitor.get("/compare/result.json?before=1&after=2").json()
    jsonschema.validate(document, schema_of("ridelog.compare/1"))
    assert visitor.get("/compare/sheet.html?before=1&after=2").status == 200
    assert visitor.get("/compare/book.sqlite3?before=1&after=2").status == 404


@pytest.mark.parametrize(
    ("query", "status", "words"),
    [
        ("", 400, "No ride before the change was ticked."),
        ("before=1", 400, "No ride after the change was ticked."),
        ("before=1&after=1", 400, "a ride counts once"),
        ("before=1&after=777", 404, "Ride 777 is not in the book."),
        ("before=x&after=2", 400, "No ride before the change was ticked."),
        ("before=1&" + "&".join(f"after={n}" for n in range(2, 30)), 400, "28 rides after"),
    ],
)
def test_comparisons_that_cannot_be(shop: Workshop, query: str, status: int, words: str) -> None:
    answer = shop.visitor.get(f"/compare?{query}")
    assert answer.status == status and words in answer.words


def test_events_tell_a_page_what_happens(shop: Workshop) -> None:
    answer = shop.visitor.ask("GET", "/events")
    assert answer.headers["content-type"].startswith("text/event-stream")
    assert json.loads(answer.text.split("data: ")[1].split("\n")[0])[0]["file"] == "before-2.nmea"


def test_units_change_every_page(shop: Workshop) -> None:
    other = Visitor(shop.visitor.app)
    other.get("/")
    other.post("/units", unit="mph", back="/")
    for path in ("/", "/rides/1", "/machines/1", "/compare?before=1&after=2"):
        page = other.get(path)
        main = page.text.split('<main id="main">')[1]
        assert " mph" in main, path
    assert other.get("/rides/1/chart").json()["unit"] == "mph"
    document = other.get("/compare/result.json?before=1&after=2").json()
    names = [each["name"] for each in document["measures"]]
    assert document["round_in"] == "mph"
    assert any(name.endswith(("mph", "ft")) for name in names), names
    assert not any(name.endswith("km/h") for name in names), names


def test_a_ride_goes_only_when_one_is_sure(shop: Workshop) -> None:
    visitor = shop.visitor
    ride = visitor.put("gone.nmea", short_log("before-2.nmea", 100)).json()["ride"]
    wait_until_measured(visitor)
    visitor.get(f"/rides/{ride}")
    assert visitor.post(f"/rides/{ride}/remove").status == 400
    assert visitor.post(f"/rides/{ride}/remove", sure="yes").status == 303
    assert visitor.get(f"/rides/{ride}").status == 404


def test_what_a_version_changed_is_shown(shop: Workshop) -> None:
    with Book(shop.folder) as book:
        result = book.results.latest(2)
        assert result is not None
        old = json.loads(json.dumps(result.document))
        old["top_speed"]["at_s"] = 1.0
        # As an older ridelog would have left it.
        connection = book._connection
        connection.execute(
            "INSERT INTO result (id, ride_id, version, settings, document, made_utc)"
            " VALUES (-1, 2, '0.0.9', '{}', ?, '2024-01-01T00:00:00Z')",
            (json.dumps(old),),
        )
    page = shop.visitor.get("/rides/2")
    assert "What changed since ridelog 0.0.9: 1 figures" in page.words
    assert "top_speed.at_s" in page.words
