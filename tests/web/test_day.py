"""A day's logs in one go: what belongs to them said once, zips, two set-ups compared."""

import io
import re
import time
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from html import unescape
from pathlib import Path
from typing import cast

import pytest
from visitor import SAMPLES, Visitor, app_in, queue_of, short_log, wait_until_measured

from ridelog.book.book import Book
from ridelog.book.records import RideEntry
from ridelog.core.errors import UnreadableLogError
from ridelog.importer.several import several_logs
from ridelog.web import job_queue
from ridelog.web.compare_pages import _stem, noted_of
from ridelog.web.job_queue import JobQueue
from ridelog.web.security import SecurityMiddleware
from ridelog.web.work_pages import TypedWork, typed_work
from ridelog.web.worker import Job, Worker

LOGS = ("before-2.nmea", "after-2.nmea")


def zipped(**logs: bytes) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in logs.items():
            archive.writestr(f"day/{name}", data)
        archive.writestr("day/read me.txt", "no log")
        archive.writestr("__MACOSX/._one.nmea", b"$GPRMC,")
    return stream.getvalue()


def in_zip(tmp_path: Path, data: bytes, most: int = 10**8) -> list[tuple[str, bytes]]:
    path = tmp_path / "day.zip"
    path.write_bytes(data)
    return list(several_logs("day.zip", path, limit_bytes=most))


def test_every_log_of_a_zip_comes_out_byte_for_byte(tmp_path: Path) -> None:
    logs = {name: (SAMPLES / name).read_bytes() for name in LOGS}
    assert dict(in_zip(tmp_path, zipped(**logs))) == logs


def test_what_is_no_zip_of_several_logs_is_left_alone(tmp_path: Path) -> None:
    log = short_log(LOGS[0], 50)
    whole = zipped(one=log, two=log + b"\r\n")
    cases = [b"", b"no zip", log, zipped(one=log), zipped(a=b"x", b=b"y"), whole[: len(whole) // 2]]
    damaged = bytearray(whole)
    damaged[200] ^= 0xFF  # inside the first member
    for data in (*cases, bytes(damaged)):
        assert in_zip(tmp_path, data) == []


def test_a_zip_of_too_much_is_refused_before_it_is_unpacked(tmp_path: Path) -> None:
    log = short_log(LOGS[0], 50)
    data = zipped(one=log, two=log + b"\r\n")
    with pytest.raises(UnreadableLogError, match="2 logs in the zip are larger together than"):
        in_zip(tmp_path, data, most=len(log))


@pytest.fixture
def app(tmp_path: Path) -> SecurityMiddleware:
    return app_in(tmp_path / "book")


def put(visitor: Visitor, query: str, data: bytes) -> list[dict[str, object]]:
    headers = {"origin": f"http://{visitor.host}", "x-ridelog-token": visitor.token}
    answer = visitor.ask("PUT", f"/logs?{query}", data, headers=headers)
    assert answer.status in (200, 202), answer.text
    rides: list[dict[str, object]] = answer.json()["rides"]
    return rides


def test_a_zip_brings_several_rides_with_what_belongs_to_them(
    app: SecurityMiddleware, tmp_path: Path
) -> None:
    visitor = Visitor(app)
    visitor.get("/")
    logs = {name: short_log(name, 50) for name in LOGS}
    said = "machine_name=Thistledrake+2&setup_name=64+teeth&rider=Edda&wind=calm"
    rides = put(visitor, f"name=day.zip&{said}", zipped(**logs))
    assert [ride["file"] for ride in rides] == list(LOGS) and all(ride["new"] for ride in rides)
    with Book(tmp_path / "book") as book:
        for ride in book.rides.found():
            assert (ride.machine, ride.setup) == ("Thistledrake 2", "64 teeth")
            assert book.details.conditions(ride.id) == {"rider": "Edda", "wind": "calm"}
            assert book.original(ride.sha256) == logs[ride.file]
        assert not list((tmp_path / "book" / "incoming").iterdir())
    # The same again, said to be another machine's: what the book knows already stays.
    again = put(visitor, "name=day.zip&machine_name=Other&rider=Nobody", zipped(**logs))
    assert not any(ride["new"] for ride in again)
    with Book(tmp_path / "book") as book:
        assert {ride.machine for ride in book.rides.found()} == {"Thistledrake 2"}


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (f"machine_name={'M' * 81}", "the name has 81 letters, 80 are the most"),
        ("setup_name=64+teeth", "a set-up belongs to a machine"),
        ("machine_name=A&load=same+rider", "same rider: this tells no mass"),
        (f"machine_name=A&setup_name={'S' * 81}", "the name has 81 letters, 80 are the most"),
    ],
)
def test_what_cannot_belong_is_refused_before_the_log_is_taken(
    app: SecurityMiddleware, tmp_path: Path, said: str, words: str
) -> None:
    visitor = Visitor(app)
    visitor.get("/")
    headers = {"origin": f"http://{visitor.host}", "x-ridelog-token": visitor.token}
    answer = visitor.ask(
        "PUT", f"/logs?name=a.nmea&{said}", short_log(LOGS[0], 50), headers=headers
    )
    assert answer.status == 400 and words in answer.json()["problem"]
    with Book(tmp_path / "book") as book:
        assert book.rides.count() == 0


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    """Two rides of one machine in two set-ups, one of them also as ride 3 of another machine."""
    folder = tmp_path_factory.mktemp("day") / "book"
    app = app_in(folder)
    queue_of(app).start()
    visitor = Visitor(app)
    visitor.get("/")
    for name, setup in zip(LOGS, ("64+teeth", "56+teeth"), strict=True):
        said = f"machine_name=Thistledrake+2&setup_name={setup}"
        put(visitor, f"name={name}&{said}", short_log(name))
    put(visitor, "name=third.nmea&machine_name=Gorsehopper", short_log(LOGS[0], 299))
    wait_until_measured(visitor, 400.0)
    yield visitor
    queue_of(app).stop()


def machine_of(visitor: Visitor, ride: int) -> str:
    """Return the address of a ride's machine."""
    found = re.search(r'href="(/machines/\d+)"', visitor.get(f"/rides/{ride}").text)
    assert found
    return found[1]


def test_two_set_ups_are_compared_in_one_click(measured: Visitor) -> None:
    page = measured.get("/machines/1")
    assert "Compare these two set-ups" in page.words
    chosen = re.findall(r'<option value="(\d)" selected>', page.text)
    assert chosen == ["1", "2"], "the one before, then the latest"
    answer = measured.get("/machines/1/compare?before=1&after=2")
    assert (answer.status, answer.headers["location"]) == (303, "/compare?before=1&after=2")
    compared = measured.get(answer.headers["location"])
    assert "What the change did" in compared.words and "Is it the change?" not in compared.words


def test_a_comparison_is_kept_with_its_machine(measured: Visitor) -> None:
    measured.get("/compare?before=1&after=2&price=40+EUR&workshop=Quillgarth")
    made = measured.get("/compare?before=1&after=2&price=45+EUR&workshop=Quillgarth")
    (answer,) = re.findall(r'<p class="bounds"><strong>([^<]+)</strong>', made.text)
    page = measured.get("/machines/1")
    assert page.words.count("64 teeth to 56 teeth: 1 ride before, 1 after") == 1, (
        "the same, asked again"
    )
    assert "before and after" in page.words and unescape(answer) in page.words
    (number,) = re.findall(r'href="/kept/(\d+)"', page.text)
    again = measured.get(f"/kept/{number}")
    place = "/compare?before=1&after=2&price=45+EUR&workshop=Quillgarth"
    assert (again.status, again.headers["location"]) == (303, place)
    sheet = measured.get("/compare/sheet.html?before=1&after=2")
    assert sheet.headers["content-disposition"] == (
        'attachment; filename="thistledrake-2-64-teeth-to-56-teeth-sheet.html"'
    )
    # Between two machines it stands with both; a ride that is gone is said.
    measured.get("/compare?before=1&after=3")
    pages = [measured.get(machine_of(measured, ride)).text for ride in (1, 3)]
    both = [re.findall(r'href="/kept/(\d+)"', page) for page in pages]
    assert [len(each) for each in both] == [2, 1]
    measured.post("/machines/1/kept/remove", kept=number)
    assert "64 teeth to 56 teeth" not in measured.get("/machines/1").words
    gone = measured.get(f"/kept/{number}")
    assert gone.status == 404 and f"Answer {number} is not in the book." in gone.words


def test_what_cannot_be_asked_again_is_said(measured: Visitor, tmp_path: Path) -> None:
    folder = measured.app.inner.state.server.folder
    with Book(folder) as book:
        rides = {"before": ["0" * 64], "after": ["1" * 64]}
        questions: dict[str, dict[str, object]] = {
            "comparison": {"rides": rides},
            "prediction": {"rides": {}, "setup": "gone", "query": "rear_teeth=56"},
        }
        for kind, asked in questions.items():
            book.kept.put(1, kind, asked, words={}, title=f"old {kind}", answer="")
        numbers = {answer.title: answer.id for answer in book.kept.of(1)}
    for title, words in (
        ("old comparison", "A ride that this was asked of is not in the book any more."),
        ("old prediction", "The set-up that this was asked of has another name now."),
    ):
        answer = measured.get(f"/kept/{numbers[title]}")
        assert answer.status == 404 and words in answer.words


def test_files_are_called_by_plain_letters() -> None:
    ride = RideEntry(
        id=1, sha256="0" * 64, size_bytes=1, file="a.gpx", format="", start_utc="", state="ready",
        problem="", duration_s=None, machine_id=1, setup_id=1, added_utc="",
        machine='Zoé\r\nset-cookie: "x', setup="",
    )  # fmt: skip
    assert _stem((ride,), (ride,)) == "zo-set-cookie-x"
    assert _stem((replace(ride, machine=""),), (ride,)) == "zo-set-cookie-x"
    assert _stem((replace(ride, machine="日本"),), (replace(ride, machine="日本"),)) == "rides"
    long = replace(ride, machine="M" * 80, setup="s" * 80)
    assert len(_stem((long,), (long,))) == 80


def test_one_set_up_has_nothing_to_be_compared_with(measured: Visitor) -> None:
    page = measured.get(machine_of(measured, 3))
    assert "Gorsehopper" in page.words and "Compare these two" not in page.words
    for query, status, words in (
        ("before=1&after=1", 400, "Two set-ups are compared."),
        ("before=1", 400, "Two set-ups are compared."),
        ("before=1&after=9", 404, "The set-up chosen as after the change has no measured ride."),
    ):
        answer = measured.get(f"/machines/1/compare?{query}")
        assert answer.status == status and words in answer.words


def test_what_the_book_knows_against_a_comparison_is_said(measured: Visitor) -> None:
    page = measured.get("/compare?before=1&after=3")
    assert "The rides are not of one machine (Gorsehopper and Thistledrake 2)" in page.words
    sheet = measured.get("/compare/sheet.html?before=1&after=3")
    assert "Gorsehopper" in sheet.words, "on the owner's sheet as well"
    measured.get("/rides/2")
    measured.post("/rides/2/details", machine="Thistledrake 2", setup="64 teeth")
    page = measured.get("/compare?before=1&after=2")
    assert "have the same set-up (64 teeth): by the book nothing was changed" in page.words


def test_the_picture_follows_the_figures_of_a_comparison(measured: Visitor) -> None:
    place = "before=1&after=2&price=1+EUR"
    first = measured.get(f"/compare?{place}")
    assert "What the change did" in first.words
    assert 'data-drawn="/compare/result.json?' in first.text and "<figure>" not in first.text
    assert measured.get(f"/compare/result.json?{place}").json()
    drawn = measured.get(f"/compare?{place}")
    assert "<figure>" in drawn.text and "data-drawn" not in drawn.text


def test_how_full_the_battery_was_is_noted_from_the_comparison(measured: Visitor) -> None:
    back = "/compare?before=1&after=2"
    for said, words in (
        ({"charge_after": "quite full"}, "Quite full: this tells no charge."),
        ({"charge_before": " "}, "No charge was typed."),
    ):
        answer = measured.post("/compare/charge", before="1", after="2", back=back, **said)
        assert answer.status == 400 and words in answer.words
    answer = measured.post(
        "/compare/charge", before="1", after="2", back=back, charge_before="full",
        charge_after="80 %",
    )  # fmt: skip
    assert (answer.status, answer.headers["location"]) == (303, back)
    for ride, words in ((1, "full"), (2, "80 %")):
        assert f"Battery charge at the start: {words}" in measured.get(f"/rides/{ride}").words


def test_a_note_of_some_rides_alone_is_none_of_their_side(measured: Visitor) -> None:
    with Book(measured.app.inner.state.server.folder) as book:
        rides = tuple(book.rides.get(number) for number in (1, 2))
        book.details.set_conditions(1, {"charge": "full", "wind": "none"})
        book.details.set_conditions(2, {"charge": "full", "wind": ""})
        noted = noted_of(book, rides)
        assert noted["battery charge at the start"] == "full" and "wind" not in noted
        assert noted["machine"] == "Thistledrake 2"


def test_the_comparison_points_to_every_source(measured: Visitor) -> None:
    page = measured.get("/compare?before=1&after=2").text
    listed = set(re.findall(r'id="source-(\d+)"', page))
    assert listed and listed == set(re.findall(r'href="#source-(\d+)"', page))


@pytest.mark.parametrize(
    ("typed", "price", "currency", "hours", "words"),
    [
        ({"done": "new chain"}, None, "", None, "new chain"),
        ({"done": "chain", "price": "85 EUR", "hours": "2"}, 85.0, "EUR", 2.0, "chain"),
        ({"done": "chain", "price": "€39,60", "hours": "1,5 h"}, 39.6, "€", 1.5, "chain"),
        ({"done": "chain", "price": "1,200 EUR"}, None, "", None, "chain; price: 1,200 EUR"),
        ({"done": "chain", "price": "about 80", "hours": "a day"}, None, "", None,
         "chain; price: about 80; hours: a day"),
        ({"done": "chain", "price": "$ 80 CAD"}, None, "", None, "chain; price: $ 80 CAD"),
        ({"done": "chain", "open": "bleed the brakes"}, None, "", None,
         "chain; still to be done: bleed the brakes"),
        ({"open": "brakes", "price": "80"}, 80.0, "", None, "still to be done: brakes"),
        ({"price": "80"}, 80.0, "", None, ""),
    ],
)  # fmt: skip
def test_work_for_the_history_is_a_number_where_it_is_plain(
    typed: dict[str, str], price: float | None, currency: str, hours: float | None, words: str
) -> None:
    assert typed_work(typed) == TypedWork(words, price, currency, hours)


def test_the_work_of_a_sheet_is_noted_with_its_machine(measured: Visitor) -> None:
    back = "/compare?before=1&after=2&done=rear+sprocket&price=40+EUR&hours=1.5&open=brakes"
    page = measured.get(back)
    assert "Note the work in the machine's history" in page.words
    (day,) = re.findall(r'name="day" value="([\d-]+)"', page.text)
    answer = measured.post("/compare/work", machine="1", day=day, back=back, price="40 EUR")
    assert (
        answer.status == 400
        and "Neither what was done nor what is still to be done" in answer.words
    )
    answer = measured.post(
        "/compare/work", machine="1", day=day, back=back, done="rear sprocket", price="40 EUR",
        hours="1.5", open="brakes",
    )  # fmt: skip
    assert (answer.status, answer.headers["location"]) == (303, back)
    page = measured.get(back)
    assert "rear sprocket; still to be done: brakes (40 EUR, 1.5 h)." in page.words.replace(
        " .", "."
    )
    assert "Note the work in the machine's history" not in page.words
    assert "Spent on it: 40 EUR, 1.5 h of work" in measured.get("/machines/1").words


def test_a_sheet_keeps_what_was_typed_for_it(measured: Visitor) -> None:
    measured.get("/compare?before=1&after=2")
    measured.get("/compare/sheet.html?before=1&after=2&note=Come+back+in+May")
    # The last one asked stands first.
    newest, *_ = re.findall(r'href="/kept/(\d+)"', measured.get("/machines/1").text)
    assert measured.get(f"/kept/{newest}").headers["location"].endswith("&note=Come+back+in+May")


class Recorded:
    """A worker that measures and draws nothing, and tells in which order it was asked to."""

    def __init__(self) -> None:
        self.asked: list[str] = []
        self.meanwhile: dict[str, Callable[[], None]] = {}

    def run(self, job: Job) -> Iterator[tuple[str, object]]:
        self.asked.append(f"{job.function} {job.arguments['log'].name}")
        self.meanwhile.get(self.asked[-1], lambda: None)()
        yield ("result", None) if job.function == "measure_ride" else ("pages", b"{}")

    def stop(self) -> None:
        """Nothing runs."""


def test_pictures_wait_until_every_ride_has_its_figures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """But those of a ride that somebody looks at go first."""
    monkeypatch.setattr(job_queue, "keep", lambda *measured: 1)
    worker = Recorded()
    with Book(tmp_path / "book") as book:
        for name in "abc":
            with book.intake() as intake:
                intake.write(name.encode())
                last, _ = book.rides.add(intake.finish(), name)
    queue = JobQueue(tmp_path / "book", cast(Worker, worker))
    worker.meanwhile["draw_ride a"] = lambda: queue.hurry(last.id)
    queue.start()
    end = time.monotonic() + 60.0
    while any(task["state"] != "done" for task in queue.tasks()) and time.monotonic() < end:
        time.sleep(0.01)
    queue.stop()
    measured, drawn = [f"measure_ride {n}" for n in "abc"], [f"draw_ride {n}" for n in "acb"]
    assert worker.asked == [*measured, *drawn]


def test_what_belongs_to_several_rides_is_said_once(measured: Visitor) -> None:
    measured.get("/")
    said = {"machine_name": "Gorsehopper", "wind": "west", "rider": " "}
    answer = measured.post("/rides/details", rides="1,3", back="/?machine=2&named=9", **said)
    assert (answer.status, answer.headers["location"]) == (303, "/?machine=2&named=2")
    page = measured.get("/?named=2")
    assert "Named on 2 rides." in page.words
    for ride in (1, 3):
        shown = measured.get(f"/rides/{ride}")
        assert 'name="machine" list="machine-names" value="Gorsehopper"' in shown.text
        assert "Wind: west" in shown.words
    # What is left empty stays: the machine of each, and the set-up of a machine that stays.
    measured.post("/rides/details", rides="1,2", setup_name="72 teeth", back="//elsewhere")
    assert "Gorsehopper 72 teeth" in measured.get("/").words
    measured.post("/rides/details", rides="1,2", rider="Edda")
    assert "Thistledrake 2 72 teeth" in measured.get("/").words
    assert "Wind: west" in measured.get("/rides/1").words
    # Nothing at all, or not everywhere: then nowhere.
    for form, status, words in (
        ({"rides": "1"}, 400, "Nothing was named."),
        ({"rides": "1,77", "rider": "Zebedee"}, 404, "Ride 77 is not in the book."),
        ({"rides": "", "rider": "Zebedee"}, 400, "Ride: '' is no number."),
        ({"rides": ",".join(map(str, range(60))), "rider": "N"}, 400, "60 rides are too many"),
        ({"rides": "1", "machine_name": "M" * 81}, 400, "the name has 81 letters"),
        ({"rides": "1", "load": "heavy"}, 400, "Heavy: this tells no mass."),
    ):
        answer = measured.post("/rides/details", **form)
        assert answer.status == status and words in answer.words, words
    assert "Zebedee" not in measured.get("/rides/1").words


def test_the_list_shows_how_good_the_signal_was(measured: Visitor) -> None:
    grades = []
    for ride in (1, 2, 3):
        grades.append(measured.get(f"/rides/{ride}/result.json").json()["signal"]["grade"])
        assert f"signal {grades[-1]}" in measured.get(f"/rides/{ride}").words
    shown = re.findall(r'data-grade="([a-z ]+)"', measured.get("/").text)
    assert sorted(shown) == sorted(grades) and "good" in grades
