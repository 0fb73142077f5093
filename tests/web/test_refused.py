"""A ride whose measurement is refused stays in the book with its reason, and can be tried again."""

import shutil
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ridelog.book.book import Book
from ridelog.core.errors import RideLogError
from ridelog.web.job_queue import JobQueue
from ridelog.web.worker import Job, Worker


class Refusing(Worker):
    """Refuses every log with a sentence."""

    def run(self, job: Job) -> Iterator[tuple[str, Any]]:
        raise RideLogError("the log cannot give a speed.", "record it anew.")
        yield


def ended(queue: JobQueue, number: int) -> dict[str, Any]:
    for _ in range(500):
        task = queue.tasks()[number]
        if task["state"] in ("done", "failed"):
            return task
        time.sleep(0.02)
    raise AssertionError(queue.tasks())


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a book with one ride that waits, with everything riders write."""
    with Book(tmp_path / "book") as book:
        ride, _ = book.rides.add(book.store(b"a log"), "one.gpx")
        book.details.add_note(ride.id, "pulled left")
        book.details.add_mark(ride.id, "reverse", 1.0, 2.0)
        book.assign(ride.id, "Thistledrake 2", "56 teeth")
    return tmp_path / "book"


def test_what_is_refused_stays_with_its_reason(folder: Path) -> None:
    queue = JobQueue(folder, Refusing())
    queue.start()
    try:
        assert ended(queue, 0)["problem"].startswith("the log cannot give a speed.")
        with Book(folder) as book:
            (ride,) = book.rides.found()
            assert (ride.state, ride.machine, ride.setup) == (
                "failed", "Thistledrake 2", "56 teeth",
            )  # fmt: skip
            assert ride.problem == "the log cannot give a speed. What to do: record it anew."
            assert [note.words for note in book.details.notes(ride.id)] == ["pulled left"]
            assert len(book.details.marks(ride.id)) == 1
            assert book.original(ride.sha256) == b"a log"
            queue.submit(ride)
        assert ended(queue, 1)["state"] == "failed"
    finally:
        queue.stop()


def test_a_book_out_of_reach_is_a_sentence_and_the_queue_goes_on(folder: Path) -> None:
    queue = JobQueue(folder, Refusing())
    queue.start()
    try:
        ended(queue, 0)
        with Book(folder) as book:
            (ride,) = book.rides.found()
        away = folder.with_name("away")
        shutil.move(folder, away)
        queue.submit(ride)
        assert "there is no ride book here" in ended(queue, 1)["problem"]
        assert not folder.exists()  # no empty book where a drive is to come back
        shutil.move(away, folder)
        queue.submit(ride)
        assert ended(queue, 2)["problem"].startswith("the log cannot give a speed.")
    finally:
        queue.stop()
