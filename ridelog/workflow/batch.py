"""Many logs, each measured once: rows of one table, by several processes or a cluster."""

import hashlib
import os
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Set
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Protocol, TypeVar

from ridelog.core.bounded_read import read_at_most
from ridelog.core.errors import NotEnoughDataError, RideLogError
from ridelog.core.text import clean
from ridelog.importer.kinds import HEAD_BYTES, looks_like_log

T = TypeVar("T")
Row = dict[str, Any]
MEASURED, NO_ANSWER, UNREADABLE = "measured", "no answer", "unreadable"
# What a folder is searched for; a log that is named itself may be called anything.
LOG_ENDINGS = (
    ".gpx", ".nmea", ".ubx", ".fit", ".tcx", ".csv", ".log", ".txt", ".gz", ".zip",
)  # fmt: skip
# Most tables are no logs: in a folder only those count whose head names a place.
_TABLE_ENDING = ".csv"
# So many logs wait beside each one that is being measured: enough to keep every worker busy, few
# enough that a season does not lie in memory.
_WAITING_A_WORKER = 2
# A worker of a cluster that dies gives its log to another so often.
_OTHER_WORKERS = 2


@dataclass(frozen=True)
class LogToMeasure:
    """One log of a batch: its bytes, or where they lie, and what they must be."""

    file: str
    sha256: str
    place: str
    data: bytes | None
    settings: Mapping[str, Any]


@dataclass
class Counts:
    """How a batch went: rows of the table, and of which kind the new ones are."""

    rows: int = 0
    measured: int = 0
    no_answer: int = 0
    unreadable: int = 0
    skipped: int = 0

    def take(self, row: Row) -> None:
        """Count a new row."""
        self.rows += 1
        name = row["status"].replace(" ", "_")
        setattr(self, name, getattr(self, name) + 1)


class Engine(Protocol):
    """Something that works on logs: ``submit`` returns at once, ``close`` ends it."""

    workers: int

    def submit(self, work: "Callable[[LogToMeasure], T]", log: LogToMeasure) -> "Future[T]":
        """Begin to work on a log."""

    def next_done(self, waiting: "set[Future[T]]") -> "set[Future[T]]":
        """Return those that are finished, at least one."""

    def close(self) -> None:
        """Let the workers go."""


def measure_log(log: LogToMeasure) -> Row:
    """Return the row of one log; a log that gives no answer is a row with its reason.

    Row
    ---
    sha256, file, status, reason, start_utc, grade, then NAME_value, NAME_low, NAME_high for every
    figure that may be named, in SI units; None where there is none.
    """
    from ridelog.analysis.ride import analyse
    from ridelog.analysis.settings import Settings
    from ridelog.workflow.measure import motion_of_bytes

    row: Row = {"sha256": log.sha256, "file": log.file, "status": MEASURED, "reason": "",
                "start_utc": None, "grade": None}  # fmt: skip
    try:
        data = log.data if log.data is not None else Path(log.place).read_bytes()
        if hashlib.sha256(data).hexdigest() != log.sha256:
            return row | {"status": UNREADABLE, "reason": "the file changed while it was read"}
        settings = Settings.from_json(dict(log.settings))
        ride = analyse(motion_of_bytes(log.file, data, columns=settings.columns), settings)
    except NotEnoughDataError as error:
        return row | {"status": NO_ANSWER, "reason": str(error)}
    except (RideLogError, OSError) as error:
        return row | {"status": UNREADABLE, "reason": str(error)}
    row["start_utc"] = ride.source.start_utc
    row["grade"] = ride["signal"].grade
    for figure in ride.figures.values():
        found = figure.firm
        row[f"{figure.name}_value"] = found.value if found else None
        row[f"{figure.name}_low"] = found.low if found else None
        row[f"{figure.name}_high"] = found.high if found else None
    return row


class OneByOne:
    """The one process that runs already, for programs that start no others."""

    workers = 1

    def submit(self, work: "Callable[[LogToMeasure], T]", log: LogToMeasure) -> "Future[T]":
        """Work on a log."""
        done: Future[T] = Future()
        done.set_result(work(log))
        return done

    def next_done(self, waiting: "set[Future[T]]") -> "set[Future[T]]":
        """Return all: each was finished at once."""
        return waiting

    def close(self) -> None:
        """Nothing was started."""


class Processes:
    """Workers on this machine."""

    def __init__(self, workers: int) -> None:
        self.workers = workers
        self._pool = self._new_pool(workers)

    @staticmethod
    def _new_pool(workers: int) -> ProcessPoolExecutor:
        # Each worker has one thread of linear algebra: the logs are what runs side by side.
        for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
            os.environ.setdefault(name, "1")
        return ProcessPoolExecutor(workers, mp_context=get_context("spawn"))

    def submit(self, work: "Callable[[LogToMeasure], T]", log: LogToMeasure) -> "Future[T]":
        """Begin to work on a log, with new workers if one has died."""
        try:
            return self._pool.submit(work, log)
        except BrokenProcessPool:
            self._pool.shutdown(wait=False)
            self._pool = self._new_pool(self.workers)
            return self._pool.submit(work, log)

    def next_done(self, waiting: "set[Future[T]]") -> "set[Future[T]]":
        """Return those that are finished, at least one."""
        return set(wait(waiting, return_when=FIRST_COMPLETED).done)

    def close(self) -> None:
        """Let the workers go; what waits is not begun."""
        self._pool.shutdown(wait=True, cancel_futures=True)


class Cluster:
    """Workers of a Dask scheduler, on whatever machines they run."""

    def __init__(self, address: str) -> None:
        try:
            from distributed import Client
        except ImportError as error:
            raise RideLogError(
                "a scheduler needs the package dask.distributed, which is not installed.",
                "install it with pip install 'ridelog[fleet]'.",
            ) from error
        try:
            self._client = Client(address, timeout="10s", set_as_default=False)
        except (OSError, ValueError) as error:
            raise RideLogError(
                f"{clean(address)}: no scheduler answers ({clean(str(error))}).",
                "start one with dask scheduler and give its address, such as tcp://host:8786.",
            ) from error
        self.workers = max(1, sum(self._client.nthreads().values()))
        self._sent = 0

    def submit(self, work: "Callable[[LogToMeasure], T]", log: LogToMeasure) -> "Future[T]":
        """Begin to work on a log; a worker that dies gives it to another."""
        # A key of its own, or a log that is tried again would be given its first failure.
        self._sent += 1
        key = f"ride-{log.sha256}-{self._sent}"
        done: Future[T] = self._client.submit(
            work, log, key=key, retries=_OTHER_WORKERS, pure=False
        )
        return done

    def next_done(self, waiting: "set[Future[T]]") -> "set[Future[T]]":
        """Return those that are finished, at least one."""
        from distributed import wait as wait_for

        with self._client.as_current():
            return set(wait_for(waiting, return_when="FIRST_COMPLETED").done)

    def close(self) -> None:
        """Leave the scheduler as it was."""
        self._client.close()


def spread(
    work: Callable[[LogToMeasure], T], logs: Iterable[LogToMeasure], engine: Engine
) -> Iterator[tuple[LogToMeasure, T | Exception]]:
    """Yield each log with what came of it, in the order in which they are finished.

    A log whose worker died is tried once more by itself, for it may have died of its neighbour;
    then the exception comes in the place of a result.
    """
    waiting: dict[Future[T], LogToMeasure] = {}
    suspects: list[LogToMeasure] = []

    def finished(most: int) -> Iterator[tuple[LogToMeasure, T | Exception]]:
        while len(waiting) > (0 if suspects else most):
            for done in engine.next_done(set(waiting)):
                log = waiting.pop(done)
                found = _result(done)
                if isinstance(found, Exception):
                    suspects.append(log)
                else:
                    yield log, found
        for log in suspects:
            alone = engine.submit(work, log)
            engine.next_done({alone})
            last = _result(alone)
            yield log, last
        suspects.clear()

    for log in logs:
        waiting[engine.submit(work, log)] = log
        yield from finished(engine.workers * (1 + _WAITING_A_WORKER) - 1)
    yield from finished(0)


def _result(done: "Future[T]") -> T | Exception:
    try:
        return done.result()
    except Exception as error:  # a worker that died, whatever its engine calls that
        return error


def logs_of(places: Iterable[Path]) -> Iterator[tuple[str, Path]]:
    """Yield the logs in files and folders, each with the name it has in the table.

    A folder is searched to its ground, in the order of names; what is hidden is passed over.

    RideLogError if a place does not exist.
    """
    for place in places:
        if not place.exists():
            raise RideLogError(
                f"{clean(str(place))}: there is no such file or folder.", "check the name."
            )
        if place.is_file():
            yield place.name, place
            continue
        for folder, inside, names in os.walk(place):
            inside[:] = sorted(name for name in inside if not name.startswith("."))
            for name in sorted(names):
                path = Path(folder) / name
                if not name.lower().endswith(LOG_ENDINGS) or name.startswith("."):
                    continue
                if not name.lower().endswith(_TABLE_ENDING) or _is_log_table(path):
                    yield str(path.relative_to(place)), path


def _is_log_table(path: Path) -> bool:
    try:
        return looks_like_log(read_at_most(path, HEAD_BYTES))
    except OSError:
        return True  # its row says what is wrong


@dataclass
class Batch:
    """One run over many logs.

    Attributes
    ----------
    known : SHA-256 of the logs that have their row already.
    keep : takes each new row at once, so that a run that is killed loses none.
    settings : how each log is measured.
    send : whether the bytes travel to the worker, which then needs no place that both see.
    counts : how it went.
    """

    known: Set[str]
    keep: Callable[[Row], None]
    settings: Mapping[str, Any] = field(default_factory=dict)
    send: bool = False
    counts: Counts = field(default_factory=Counts)

    def run(
        self,
        logs: Iterable[tuple[str, Path]],
        engine: Engine,
        report_progress: Callable[[Counts, float], None] = lambda counts, since_s: None,
    ) -> None:
        """Measure every log whose bytes are not known yet."""
        begun_s = time.monotonic()
        self.counts.rows = len(self.known)
        for log, row in spread(measure_log, self._new(logs), engine):
            if isinstance(row, Exception):
                reason = f"its worker ended before it was measured ({type(row).__name__})"
                row = {"sha256": log.sha256, "file": log.file, "status": UNREADABLE,
                       "reason": reason}  # fmt: skip
            self._take(row)
            report_progress(self.counts, time.monotonic() - begun_s)

    def _new(self, logs: Iterable[tuple[str, Path]]) -> Iterator[LogToMeasure]:
        """Yield the logs that have no row yet; one that cannot be opened gets its row at once."""
        seen = set(self.known)
        for name, path in logs:
            try:
                data = path.read_bytes()
            except OSError as error:
                reason = f"the file cannot be read ({error.strerror or error})"
                self._take({"sha256": "", "file": name, "status": UNREADABLE, "reason": reason})
                continue
            sha256 = hashlib.sha256(data).hexdigest()
            if sha256 in seen:
                self.counts.skipped += 1
                continue
            seen.add(sha256)
            place = str(path.resolve())
            yield LogToMeasure(name, sha256, place, data if self.send else None, self.settings)

    def _take(self, row: Row) -> None:
        self.keep(row)
        self.counts.take(row)
