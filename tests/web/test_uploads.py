"""Logs come in, good and hostile: each gets its sentence, and the page lives on."""

import asyncio
from collections.abc import Iterator
from pathlib import Path

import hostile_logs
import pytest
from visitor import HOST, SAMPLES, Visitor, app_in, queue_of, short_log, wait_until_measured

from ridelog.book.book import Book
from ridelog.web import incoming


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("uploads") / "book"


@pytest.fixture(scope="module")
def visitor(folder: Path) -> Iterator[Visitor]:
    app = app_in(folder)
    queue = queue_of(app)
    queue.start()
    visitor = Visitor(app)
    visitor.get("/")
    yield visitor
    queue.stop()


def leftovers(folder: Path) -> list[Path]:
    return list((folder / "incoming").iterdir())


def problem_of(visitor: Visitor, name: str, data: bytes) -> str:
    """Return what the queue says about a log that cannot be used; it is kept all the same."""
    answer = visitor.put(name, data)
    assert answer.status == 202, answer.text
    number = answer.json()["task"]
    task = next(t for t in wait_until_measured(visitor) if t["number"] == number)
    assert task["state"] == "failed", task
    page = visitor.get(f"/rides/{answer.json()['ride']}")
    assert page.status == 200 and "This ride could not be measured." in page.words
    assert "The log, notes and marks stay in the book. Try again" in page.words
    return str(task["problem"])


def test_a_log_is_kept_and_measured(visitor: Visitor, folder: Path) -> None:
    data = short_log("before-2.nmea")
    answer = visitor.put("before-2.nmea", [data[:1000], data[1000:]])
    assert answer.status == 202 and answer.json()["new"]
    task = wait_until_measured(visitor)[-1]
    assert task["state"] == "done" and task["first"]["best_1s_mps"]["value"] > 10.0
    with Book(folder) as book:
        assert book.original(answer.json()["sha256"]) == data
    page = visitor.get("/")
    assert "8 Jun 2024, 09:20 UTC" in page.words and "km/h" in page.words
    assert not leftovers(folder)


def test_the_same_log_again_is_the_same_ride(visitor: Visitor) -> None:
    data = short_log("before-2.nmea")
    first = visitor.put("before-2.nmea", data).json()
    again = visitor.put("copy of it.nmea", data)
    assert again.status == 200
    assert again.json() == {**first, "new": False, "task": None}


@pytest.mark.parametrize(("name", "data"), list(hostile_logs.wrong_types()))
def test_what_is_no_log_gets_its_sentence(visitor: Visitor, name: str, data: bytes) -> None:
    assert problem_of(visitor, name, data).startswith(name)
    assert visitor.get("/").status == 200


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("deep.gpx", hostile_logs.deep_xml(), "deep.gpx"),
        ("entities.gpx", hostile_logs.entity_bomb(), "entities.gpx"),
        ("outside.gpx", hostile_logs.outside_entity(), "outside.gpx"),
        ("bomb.zip", hostile_logs.zip_bomb(), "the limit is "),
        ("bomb.gz", hostile_logs.gzip_bomb(), "the limit is "),
    ],
)
def test_bombs_do_not_go_off(
    visitor: Visitor, folder: Path, name: str, data: bytes, words: str
) -> None:
    problem = problem_of(visitor, name, data)
    assert words in problem and "root:" not in problem and "hahaha" not in problem
    assert not leftovers(folder)
    assert visitor.get("/").status == 200


def test_ten_thousand_tracks_are_one_ride(visitor: Visitor) -> None:
    answer = visitor.put("tracks.gpx", hostile_logs.many_tracks())
    assert answer.status == 202
    task = wait_until_measured(visitor)[-1]
    assert task["state"] in ("done", "failed")
    assert visitor.get("/").status == 200


def test_an_empty_log_is_refused_at_once(visitor: Visitor, folder: Path) -> None:
    answer = visitor.put("empty.gpx", b"")
    assert answer.status == 400 and answer.json()["problem"] == "empty.gpx: the file is empty."
    assert not leftovers(folder)


def test_a_log_that_says_it_is_too_large_is_not_read(visitor: Visitor, folder: Path) -> None:
    answer = visitor.put("zeros.gpx", b"x", **{"content-length": str(1024**3)})
    assert answer.status == 413
    assert answer.json()["problem"] == (
        "zeros.gpx: the log is larger than the page takes (128 MiB)."
    )
    assert not leftovers(folder)


def test_a_log_that_does_not_say_its_size_is_counted(
    visitor: Visitor, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(incoming, "MOST_UPLOAD_BYTES", 3 * 1024**2)
    answer = visitor.put("zeros.gpx", [bytes(1024**2)] * 5)
    assert answer.status == 413 and not leftovers(folder)


def test_an_upload_that_breaks_off_leaves_nothing(visitor: Visitor, folder: Path) -> None:
    before = visitor.get("/tasks").json()
    headers = {"origin": f"http://{HOST}", "x-ridelog-token": visitor.token}
    data = (SAMPLES / "before-1.gpx").read_bytes()[:100_000]
    visitor.ask("PUT", "/logs?name=cut.gpx", [data, data], headers=headers, leaves=True)
    assert visitor.get("/tasks").json() == before and not leftovers(folder)


@pytest.mark.parametrize(
    ("name", "shown"),
    [
        ("../../../etc/passwd", "passwd"),
        ("<script>alert(1)</script>.gpx", "script>.gpx"),
        ("<img src=x onerror=alert(1)>.gpx", "<img src=x onerror=alert(1)>.gpx"),
        ("a\x00b\r\nset-cookie: x.gpx", "a\ufffdb\ufffd\ufffdset-cookie: x.gpx"),
        ("{{ 7 * 7 }}.gpx", "{{ 7 * 7 }}.gpx"),
        ("\u202exnavgpx", "\ufffdxnavgpx"),
        ("x" * 4000, "x" * 179 + "…" + "x" * 20),
    ],
)
def test_names_stay_names(visitor: Visitor, folder: Path, name: str, shown: str) -> None:
    data = short_log("before-2.nmea", 20) + name.encode()
    answer = visitor.put(name, data)
    assert answer.status == 202 and answer.json()["file"] == shown
    for path in ("/", f"/rides/{answer.json()['ride']}"):
        text = visitor.get(path).text
        assert "<script>alert" not in text and "<img src=x" not in text and "49.gpx" not in text
    ours = ("book", "originals", "incoming", "words", "rides", "machines")
    names = {path.name.removesuffix(".json") for path in folder.rglob("*")} - {*ours}
    names = {entry for entry in names if not entry.startswith(("book.sqlite3", "in-use"))}
    assert not any(set(entry) - set("0123456789abcdef") for entry in names)
    with Book(folder) as book:  # not measured any further: the name was the question
        book.rides.remove(answer.json()["ride"])


def test_too_many_at_once_are_asked_to_wait(visitor: Visitor) -> None:
    slots = visitor.app.inner.state.server.upload_slots
    for _ in range(incoming.MOST_AT_ONCE):
        asyncio.run(slots.acquire())
    answer = visitor.put("a.gpx", b"log")
    for _ in range(incoming.MOST_AT_ONCE):
        slots.release()
    assert answer.status == 503
    assert answer.json()["problem"] == "too many logs are coming in at once."


def test_a_queue_that_is_full_takes_no_more(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(incoming, "MOST_WAITING", 0)
    answer = visitor.put("a.gpx", b"log")
    assert answer.status == 503 and "wait for their figures already" in answer.json()["problem"]
