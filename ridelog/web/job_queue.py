"""The queue: rides wait their turn at the worker, questions of the page go first."""

import asyncio
import itertools
import queue
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any

from ridelog.book.book import Book
from ridelog.book.records import RideEntry
from ridelog.core.errors import BookError, RideLogError
from ridelog.web.worker import Job, JobError, Worker
from ridelog.workflow.book_ride import log_at
from ridelog.workflow.measuring import PAGES, keep

# Rides that may wait at once; and finished ones that the page still shows. Own choice.
MOST_WAITING, _MOST_SHOWN = 500, 50
# What waits goes by rank, then by a number that is never given twice.
_Waiting = tuple[int, int, Callable[[], None]]
# Drawing takes longer than all measuring (own measurement): pictures wait until every ride that
# came in has its figures.
_QUESTION, _RIDE, _PICTURES, _STOP = 0, 1, 2, -1
# States of a task that will still bring figures.
BUSY = ("waiting", "working", "drawing")


@dataclass
class Task:
    """What happens to one ride; the page shows it as it is.

    ``state`` is "waiting", "working", "drawing" (figures are there, pictures wait their turn or are
    being drawn), "done" or "failed".
    """

    number: int
    ride_id: int
    file: str
    state: str = "waiting"
    progress: float = 0.0
    first: dict[str, Any] | None = None
    problem: str = ""


class JobQueue:
    """Does one piece of work after the other in a thread of its own."""

    def __init__(self, folder: Path, worker: Worker) -> None:
        self._folder = folder
        self._worker = worker
        self._waiting: queue.PriorityQueue[_Waiting] = queue.PriorityQueue()
        self._numbers = itertools.count(1)
        self._lock = threading.Lock()
        self._tasks: dict[int, Task] = {}
        # The results whose pictures are still to be drawn, by task.
        self._undrawn: dict[int, int] = {}
        self._thread = threading.Thread(target=self._work, name="job queue", daemon=True)
        # Grows with every change of a task, so that a reader knows when to look again.
        self.version = 0

    def start(self) -> None:
        """Begin; rides that an earlier run left without figures come first."""
        with Book(self._folder, make=False) as book:
            book.sweep()
            for ride in book.rides.waiting():
                self.submit(ride)
        self._thread.start()

    def stop(self) -> None:
        """End; what is not done is done at the next start."""
        self._waiting.put((_STOP, 0, lambda: None))
        self._worker.stop()
        if self._thread.is_alive():
            self._thread.join(timeout=5.0)

    def submit(self, ride: RideEntry, unless: Sequence[str] = ("waiting",)) -> Task:
        """Let a ride wait to be measured, unless a task of it is in one of such states."""
        with self._lock:
            for task in self._tasks.values():
                if task.ride_id == ride.id and task.state in unless:
                    return task
            task = Task(next(self._numbers), ride.id, ride.file)
            self._tasks[task.number] = task
            shown = [t for t in self._tasks.values() if t.state in ("done", "failed")]
            for old in shown[: max(0, len(shown) - _MOST_SHOWN)]:
                del self._tasks[old.number]
            self.version += 1
        self._waiting.put((_RIDE, task.number, lambda: self._measure(task)))
        return task

    def hurry(self, ride_id: int) -> None:
        """Let the pictures of a ride go before everything else: somebody looks at it."""
        with self._lock:
            known = [self._tasks[number] for number in self._undrawn if number in self._tasks]
            tasks = [task for task in known if task.ride_id == ride_id]
        for task in tasks:
            self._waiting.put((_QUESTION, next(self._numbers), partial(self._draw, task)))

    async def ask(self, job: Job) -> Any:
        """Return the worker's answer to a question of the page, which goes before waiting rides."""
        answer: Future[Any] = Future()

        def work() -> None:
            if not answer.set_running_or_notify_cancel():
                return
            try:
                answer.set_result(dict(self._worker.run(job)).get("answer"))
            except Exception as error:
                answer.set_exception(error)

        self._waiting.put((_QUESTION, next(self._numbers), work))
        return await asyncio.wrap_future(answer)

    def tasks(self) -> list[dict[str, Any]]:
        """Return what is known of the tasks, the oldest first."""
        with self._lock:
            return [asdict(task) for task in self._tasks.values()]

    def waiting(self) -> int:
        """Return how many rides have no figures yet."""
        with self._lock:
            return sum(task.state in ("waiting", "working") for task in self._tasks.values())

    def dismiss(self, number: int) -> None:
        """Show a finished task no longer."""
        with self._lock:
            if number in self._tasks and self._tasks[number].state in ("done", "failed"):
                del self._tasks[number]
                self.version += 1

    def _work(self) -> None:
        while True:
            rank, _, work = self._waiting.get()
            if rank == _STOP:
                return
            try:
                work()
            except Exception as error:  # nothing that happens to one ride may end the queue
                print(f"ridelog: the queue met {error!r}")

    def _set(self, task: Task, **changes: Any) -> None:
        with self._lock:
            for name, value in changes.items():
                setattr(task, name, value)
            self.version += 1

    def _measure(self, task: Task) -> None:
        with self._ride_of(task, kept=False) as found:
            if found is None:
                return
            book, ride = found
            self._set(task, state="working")
            job = Job("measure_ride", {"log": log_at(book, ride)})
            for kind, value in self._worker.run(job):
                if kind == "progress":
                    self._set(task, progress=value)
                elif kind == "first":
                    self._set(task, first=value)
                elif kind == "result":
                    result_id = keep(book, ride.id, value)
                    with self._lock:
                        self._undrawn[task.number] = result_id
            self._set(task, state="drawing", progress=0.8)
            self._waiting.put((_PICTURES, task.number, partial(self._draw, task)))

    def _draw(self, task: Task) -> None:
        """Draw the pictures of a ride that was measured, once."""
        with self._lock:
            result_id = self._undrawn.pop(task.number, None)
            busy = [t for t in self._tasks.values() if t.ride_id == task.ride_id and t is not task]
            anew = any(each.state in ("waiting", "working") for each in busy)
        if result_id is None:
            return
        with self._ride_of(task, kept=True) as found:
            if found is not None and not anew:
                book, ride = found
                for kind, value in self._worker.run(Job("draw_ride", {"log": log_at(book, ride)})):
                    if kind == "pages":
                        book.results.attach(result_id, PAGES, value)
            self._set(task, state="done", progress=1.0)

    @contextmanager
    def _ride_of(self, task: Task, *, kept: bool) -> Iterator[tuple[Book, RideEntry] | None]:
        """Open the book with a task's ride, None if it was removed meanwhile; say what goes wrong.

        ``kept`` is whether the ride has its figures already.
        """
        try:
            with Book(self._folder, make=False) as book:
                try:
                    ride = book.rides.get(task.ride_id)
                except RideLogError:
                    yield None
                    self._set(task, state="done", progress=1.0)
                    return
                try:
                    yield book, ride
                except RideLogError as error:
                    self._fail(book, task, error, kept=kept or task.number in self._undrawn)
                except Exception as error:
                    words = f"ridelog made a mistake here ({type(error).__name__})."
                    known = kept or task.number in self._undrawn
                    self._fail(book, task, JobError(words), kept=known)
                    raise
        except RideLogError as error:  # the book itself is out of reach for now
            self._set(task, state="failed", problem=str(error))

    def _fail(self, book: Book, task: Task, error: RideLogError, *, kept: bool) -> None:
        """Write down why a ride has no figures; it stays until its owner removes it."""
        try:
            ride = book.rides.get(task.ride_id)
        except BookError:
            self._set(task, state="done", progress=1.0)  # removed while it was measured
            return
        if not kept:
            book.rides.fail(ride.id, str(error))
        self._set(task, state="failed", problem=str(error))
