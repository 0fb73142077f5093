"""The one receiver that the page listens to, and the ride that is recorded from it."""

import json
import threading
import time
from contextlib import ExitStack, suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ridelog.book.book import Book
from ridelog.book.originals import Intake
from ridelog.book.records import PointEntry, RideEntry, now_utc
from ridelog.book.use import alone
from ridelog.core.errors import BookError, ReceiverError, RideLogError
from ridelog.core.units import SpeedUnit
from ridelog.web.job_queue import JobQueue

if TYPE_CHECKING:
    from ridelog.receiving.listening import Listening
    from ridelog.receiving.monitor import Reading

# Where a ride grows until it stands in the book, inside the book's folder.
RECORDING = "recording"
_PART_BYTES = 1 << 20
# So long the ending of a listening may take: it waits for its line at most a part of a second.
_ENDS_WITHIN_S = 10.0


@dataclass(frozen=True)
class RiddenWith:
    """What is kept with a ride: whose it is, and what was looked at before it."""

    machine: str = ""
    setup: str = ""
    points: tuple[PointEntry, ...] = ()


@dataclass(frozen=True)
class _Recording:
    path: Path
    begun_s: float
    lock: ExitStack


class ReceiverDesk:
    """Listens to one receiver at a time, for every browser that is let in."""

    def __init__(self, folder: Path, queue: JobQueue) -> None:
        self._folder, self._queue = folder, queue
        self._changing = threading.RLock()
        self._listening: Listening | None = None
        self._thread: threading.Thread | None = None
        self._reading: Reading | None = None
        self._told_s = 0.0
        self._ride: _Recording | None = None
        self._kept: int | None = None
        self._problem = ""
        # Of the next ride, and the source that was named last.
        self.ridden_with, self.source = RiddenWith(), ""

    def listen(self, words: str) -> None:
        """Begin to listen; ReceiverError if there is no such source, or one is listened to."""
        from ridelog.receiving.line import open_source
        from ridelog.receiving.listening import Listening

        if words.strip() in ("", "-"):
            raise ReceiverError(
                "no receiver is named.",
                "name a serial device such as /dev/ttyUSB0@9600, tcp://host:port or udp://:port.",
            )
        with self._changing:
            if self._listening is not None:
                raise ReceiverError("a receiver is listened to already.", "end that first.")
            line = open_source(words.strip())
            self.source, self._problem, self._kept = words.strip(), "", None
            self._reading, self._told_s = None, time.monotonic()
            self._listening = Listening(line, None)
            self._thread = threading.Thread(
                target=self._follow, args=(self._listening,), name="receiver", daemon=True
            )
            self._thread.start()

    def end(self) -> None:
        """End the listening, and the ride with it; what was recorded is kept."""
        listening, thread = self._listening, self._thread
        if listening is not None and thread is not None:
            listening.stop()
            thread.join(_ENDS_WITHIN_S)

    def start_ride(self, ridden_with: RiddenWith) -> None:
        """Record from now on; ReceiverError or BookError if that cannot be."""
        from ridelog.receiving.recorder import Recorder

        with self._changing:
            if self._listening is None:
                raise ReceiverError("no receiver is listened to.", "listen to one first.")
            if self._ride is not None:
                raise ReceiverError("a ride is being recorded already.", "stop that one first.")
            self._begin_folder()
            with ExitStack() as stack:
                self._enter_alone(stack)
                path = self._folder / RECORDING / time.strftime("ride-%Y%m%d-%H%M%S.nmea")
                told = path.with_suffix(".json")
                told.write_text(json.dumps(asdict(ridden_with)), encoding="utf-8")
                try:
                    recorder = Recorder(path)
                except RideLogError:
                    told.unlink(missing_ok=True)
                    raise
                self._ride = _Recording(path, time.monotonic(), stack.pop_all())
            self._kept, self._problem = None, ""
            self._listening.record(recorder)

    def stop_ride(self) -> None:
        """Stop recording and put the ride into the book; ReceiverError if none is recorded."""
        with self._changing:
            if self._ride is None:
                raise ReceiverError("no ride is being recorded.", "it may have ended by itself.")
            if self._listening is not None:
                recorder = self._listening.recorder
                self._listening.record(None)
                if recorder is not None:
                    with suppress(RideLogError):  # what is not on the disk yet, its disk refuses
                        recorder.close()
            self._finish_ride()

    def close(self) -> None:
        """End everything, as the page is closed."""
        self.end()

    def take_what_was_left(self) -> None:
        """Put into the book what a page was recording that was ended in its midst."""
        if not (self._folder / RECORDING).is_dir():
            return
        with suppress(BookError), ExitStack() as stack:
            self._enter_alone(stack)  # or another page records at this moment
            for path in sorted((self._folder / RECORDING).glob("ride-*.nmea")):
                self._keep(path)

    def now(self, unit: SpeedUnit) -> dict[str, Any]:
        """Return how the receiver is, as the page shows it."""
        reading, ride, listening = self._reading, self._ride, self._listening
        word, reason = "off", "no receiver is listened to"
        if listening is not None:
            word = reading.word if reading else "no fix"
            reason = reading.reason.removeprefix("lost: ") if reading else "nothing has arrived yet"
            if ride is not None and word == "ready":
                word, reason = "riding", "the ride is recorded, the receiver is steady"
        now_s = time.monotonic()
        return {
            "listening": listening is not None,
            "source": listening.source.name if listening is not None else "",
            "word": word,
            "reason": reason,
            "details": list(reading.details(unit)) if listening is not None and reading else [],
            "late_s": now_s - self._told_s if listening is not None else 0.0,
            "ride_s": now_s - ride.begun_s if ride is not None else None,
            "problem": self._problem,
            "kept": self._kept,
        }

    def _follow(self, listening: "Listening") -> None:
        """Note each state until the listening ends, then leave nothing open."""
        try:
            for reading in listening.readings():
                self._reading, self._told_s = reading, time.monotonic()
        finally:
            with self._changing:
                if self._ride is not None:
                    self._finish_ride()
                if listening.problem is not None:
                    self._problem = f"{listening.problem} {self._problem}".strip()
                self._listening = None  # last: who sees it sees the rest

    def _begin_folder(self) -> None:
        try:
            (self._folder / RECORDING).mkdir(exist_ok=True, mode=0o700)
        except OSError as error:
            raise BookError(
                f"a ride cannot be recorded in the book's folder ({error.strerror}).",
                "check the folder's rights and free space.",
            ) from error

    def _enter_alone(self, stack: ExitStack) -> None:
        try:
            stack.enter_context(alone(self._folder / RECORDING))
        except BookError as error:
            raise BookError(
                "another workshop page is recording a ride into this book.", "stop that one first."
            ) from error

    def _finish_ride(self) -> None:
        assert self._ride is not None
        ride, self._ride = self._ride, None
        try:
            self._keep(ride.path)
        finally:
            ride.lock.close()

    def _keep(self, path: Path) -> None:
        """Put a recorded log into the book; where that cannot be it stays, and the page says so."""
        told = path.with_suffix(".json")
        try:
            if not path.stat().st_size:
                self._problem = "Nothing arrived during the ride, so there is none to keep."
            else:
                ride = self._in_book(path, _read_told(told))
                self._queue.submit(ride)
                self._kept = ride.id
            path.unlink()
            told.unlink(missing_ok=True)
        except (RideLogError, OSError) as error:
            self._problem = (
                f"The ride is not in the book yet: {error} It lies as {path}, and comes into the "
                "book when this page is started again."
            )

    def _in_book(self, path: Path, ridden_with: RiddenWith) -> RideEntry:
        with Book(self._folder, make=False) as book:
            with book.intake() as intake:
                name = _copied(path, intake)
                original = intake.finish()
            with book.all_or_nothing():
                ride, new = book.rides.add(original, name)
                if new and ridden_with.machine:
                    book.assign(ride.id, ridden_with.machine, ridden_with.setup)
                if new:
                    book.details.note_points(ride.id, ridden_with.points)
            return book.rides.get(ride.id)


def _copied(path: Path, intake: Intake) -> str:
    """Copy a log to where the book takes it in; return the name that fits what it holds."""
    from ridelog.importer.ubx_messages import holds_motion

    ubx = False
    with path.open("rb") as stream:
        while part := stream.read(_PART_BYTES):
            ubx = ubx or holds_motion(part)
            intake.write(part)
    return path.with_suffix(".ubx").name if ubx else path.name


def _read_told(path: Path) -> RiddenWith:
    """Return what was said of a ride when it began; nothing of it holds its log back."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        points = tuple(PointEntry(**point) for point in told["points"])
        return RiddenWith(str(told["machine"]), str(told["setup"]), points)
    except (OSError, ValueError, TypeError, KeyError):
        return RiddenWith()


def noted_now(ridden_with: RiddenWith, points: list[tuple[str, bool]]) -> RiddenWith:
    """Return what is kept with a ride, with what was looked at just now."""
    at_utc = now_utc()
    return replace(ridden_with, points=tuple(PointEntry(*point, at_utc) for point in points))
