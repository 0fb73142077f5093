"""The worker: one child process that measures, so that no log can stop the server; and its jobs.

The child touches no database: it gets jobs through a pipe and answers with messages; it holds the
rides it smoothed last, so that a new mark does not smooth one again. If it dies, runs out of memory
or takes too long, the job fails with a sentence and a fresh child takes its place.
"""

import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field, replace
from multiprocessing.connection import Connection
from typing import Any, Unpack

from ridelog.analysis.ride import sides_of_modes
from ridelog.analysis.settings import Settings
from ridelog.compare.comparison import Comparison, compare
from ridelog.compare.predicted import options_from, predict_from
from ridelog.compare.stated import StatedSpeed, against_stated
from ridelog.core.errors import CalculationError, RideLogError
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.machine.conditions import Conditions
from ridelog.machine.cost import Cost
from ridelog.machine.options_file import options_of
from ridelog.machine.setup import MachineSetup
from ridelog.present.section import Picture
from ridelog.report.compare_json import compare_json, stated_json
from ridelog.report.compare_plot import compare_picture
from ridelog.report.compare_words import asks_charge
from ridelog.report.figures_csv import options_csv, predict_csv
from ridelog.report.options_json import options_json
from ridelog.report.options_page import options_files
from ridelog.report.options_plot import options_picture
from ridelog.report.options_words import options_words
from ridelog.report.predict_json import predict_json
from ridelog.report.predict_page import prediction_words
from ridelog.report.predict_pdf import predict_pdf
from ridelog.report.predict_plot import predict_pictures
from ridelog.report.ride_json import to_bytes
from ridelog.report.ride_page import ride_page, ride_pictures, ride_sections
from ridelog.report.sheet import sheet_words
from ridelog.report.sheet_pdf import sheet_files
from ridelog.report.stated_sheet import stated_files, stated_picture, stated_sheet_words
from ridelog.web.papers import OnPaper, head_of, said_on
from ridelog.workflow.book_ride import LogAt
from ridelog.workflow.measuring import RideCache, first_figures, measured, pages_bytes

# The largest child, at least and as a share of this machine's memory, and the longest job. Own
# choices: far beyond what a day at 5 Hz takes; a day at 10 Hz took 6.5 GB.
_LEAST_BYTES, _MOST_SHARE = 4 * 1024**3, 0.75
_LONGEST_S = 7200.0
# With which message a job ends: it is done, the input cannot be used, or something broke.
_LAST = ("done", "refused", "failed")
_CUT_DOWN = "cut the log down to the one test ride, or measure it by `ridelog book again`."
_TOO_LARGE = ("the log needs more memory than it may have.", _CUT_DOWN)

Send = Callable[[str, Any], None]


class AskedComparison(OnPaper):
    """Two sides of rides, what was noted of each, and the unit of speed."""

    before: list[LogAt]
    after: list[LogAt]
    noted_before: dict[str, str]
    noted_after: dict[str, str]
    unit: str


@dataclass(frozen=True)
class Job:
    """One piece of work: a function of this package by its name, and what it is given."""

    function: str
    arguments: dict[str, Any] = field(default_factory=dict)


class JobError(RideLogError):
    """A job that came to no end."""


class Worker:
    """One child process and the pipe to it. Jobs from one thread; any may stop it."""

    def __init__(self, longest_s: float = _LONGEST_S) -> None:
        self._longest_s = longest_s
        self._process: multiprocessing.process.BaseProcess | None = None
        self._pipe: Connection | None = None

    def start(self) -> None:
        """Start the child, which loads what it needs while nobody waits for it."""
        context = multiprocessing.get_context("spawn")
        mine, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()
        self._pipe = mine

    def stop(self) -> None:
        """End the child at once; another thread may do so, whose job then ends in words."""
        # Taken before it is used: whoever comes second finds nothing left to end.
        process, self._process = self._process, None
        pipe, self._pipe = self._pipe, None
        if process is not None:
            process.kill()
            process.join()
        if pipe is not None:
            pipe.close()

    def run(self, job: Job) -> Iterator[tuple[str, Any]]:
        """Do a job; yield its messages as they come, such as ("progress", 0.4).

        RideLogError as the job itself raised it about its input; JobError if the child broke, died
        or took too long.
        """
        if self._process is None or not self._process.is_alive():
            self.stop()
            self.start()
        pipe = self._pipe
        if pipe is None:  # another thread stopped it just now
            raise JobError("the work was stopped.", "start `ridelog serve` again.")
        deadline = time.monotonic() + self._longest_s
        done = False
        try:
            pipe.send(job)
            while True:
                if not pipe.poll(max(0.0, deadline - time.monotonic())):
                    raise JobError(
                        f"the work was stopped after {self._longest_s:.0f} s.", _CUT_DOWN
                    )
                kind, value = pipe.recv()
                if kind in _LAST:
                    done = True
                    if kind == "refused":
                        raise RideLogError(*value)
                    if kind == "failed":
                        raise JobError(*value)
                    return
                yield kind, value
        except (EOFError, OSError) as error:
            raise JobError(
                "the work on this log ended without an answer; it may need too much memory.",
                _CUT_DOWN,
            ) from error
        finally:
            if not done:
                self.stop()


@dataclass(frozen=True)
class ComparedRides:
    """A comparison for the page: what it says, its picture, and its files by name."""

    words: dict[str, Any]
    picture: Picture | None
    files: dict[str, bytes]
    lacking: str


def measure_ride(send: Send, cache: RideCache, *, log: LogAt) -> None:
    """Measure one log; sends "progress", "first" and "result" (MeasuredLog)."""
    motion = cache.motion(log, lambda done: send("progress", 0.5 * done))
    send("progress", 0.5)
    send("first", first_figures(motion, Settings.from_json(log.settings)))
    result = cache.ridden(log)
    send("progress", 0.7)
    send("result", measured(motion, result))


def draw_ride(send: Send, cache: RideCache, *, log: LogAt) -> None:
    """Draw what the page of a ride shows; sends "pages" (bytes)."""
    send("pages", pages_bytes(cache.ridden(log)))


def report_page(send: Send, cache: RideCache, *, log: LogAt, unit: str) -> None:
    """Draw the page of a ride that stands alone; sends "answer" (bytes)."""
    ride, reader = cache.ridden(log), SPEED_UNITS[unit]
    pictures = ride_pictures(ride, reader)
    sections = ride_sections(ride, reader)
    page = ride_page(ride, pictures, reader, sections=sections)
    send("answer", page.encode("utf-8", "replace"))


def compare_rides(send: Send, cache: RideCache, **asked: Unpack[AskedComparison]) -> None:
    """Compare rides before a change with those after it; sends "answer", without its pictures."""
    comparison, reader = _comparison(cache, asked), SPEED_UNITS[asked["unit"]]
    send("answer", ComparedRides(_words(comparison, reader, asked), None, {}, ""))


def draw_comparison(send: Send, cache: RideCache, **asked: Unpack[AskedComparison]) -> None:
    """Draw the picture of a comparison and write its files; sends "answer"."""
    send("answer", _drawn(_comparison(cache, asked), SPEED_UNITS[asked["unit"]], asked))


def _drawn(comparison: Comparison, reader: SpeedUnit, typed: OnPaper) -> ComparedRides:
    """Return everything about a comparison: words, picture and files."""
    told = to_bytes(compare_json(comparison))
    files, lacking = sheet_files(comparison, reader, told, **said_on(typed), paper=typed["paper"])
    picture = compare_picture(comparison, reader)
    return ComparedRides(_words(comparison, reader, typed), picture, files, lacking)


def _words(comparison: Comparison, reader: SpeedUnit, typed: OnPaper) -> dict[str, Any]:
    words = asdict(sheet_words(comparison, reader, **said_on(typed)))
    return words | {"asks_charge": asks_charge(comparison)}


def _comparison(cache: RideCache, asked: AskedComparison) -> Comparison:
    before, after = (tuple(map(cache.ridden, asked[side])) for side in ("before", "after"))
    return compare(
        before, after, unit=SPEED_UNITS[asked["unit"]],
        noted_before=asked["noted_before"], noted_after=asked["noted_after"],
    )  # fmt: skip


def compare_modes(
    send: Send,
    cache: RideCache,
    *,
    logs: list[LogAt],
    modes: tuple[str, str],
    noted: dict[str, str],
    unit: str,
    **typed: Unpack[OnPaper],
) -> None:
    """Compare two drive modes inside the same logs; sends "answer" (ComparedRides)."""
    sides = sides_of_modes([cache.ridden(log) for log in logs], modes)
    reader = SPEED_UNITS[unit]
    found = compare(*sides, unit=reader, noted_before=noted, noted_after=noted, modes=modes)
    send("answer", _drawn(found, reader, typed))


def predict_change(
    send: Send,
    cache: RideCache,
    *,
    setup: dict[str, Any],
    logs: list[LogAt],
    asked: dict[str, Any],
    sweep: tuple[str, list[Any]] | None,
    rides_charge: tuple[float, float] | None,
    cost: tuple[float | None, float | None, str],
    unit: str,
    **typed: Unpack[OnPaper],
) -> None:
    """Predict a change of a machine; sends "answer" (ComparedRides), its pictures in the words."""
    reader, known = SPEED_UNITS[unit], MachineSetup(**setup)
    rides = tuple(cache.ridden(log) for log in logs)
    conditions = Conditions(rides_charge=rides_charge)
    prediction = predict_from(known, rides, asked, reader, sweep=sweep, conditions=conditions)
    prediction = replace(prediction, cost=Cost(*cost))
    told = predict_json(prediction)
    document = to_bytes(told)
    head, note = head_of(typed), typed["note"]
    pdf, lacking = predict_pdf(
        prediction, reader, document, rides, letterhead=head, note=note, paper=typed["paper"]
    )
    files = {
        "prediction.pdf": pdf, "prediction.json": document, "prediction.csv": predict_csv(told)
    }  # fmt: skip
    words = prediction_words(prediction, reader, letterhead=head, note=note)
    words["pictures"] = predict_pictures(prediction, reader)
    send("answer", ComparedRides(words, None, files, lacking))


def lay_options(
    send: Send,
    cache: RideCache,
    *,
    setup: dict[str, Any],
    logs: list[LogAt],
    options: list[dict[str, Any]],
    currency: str,
    rides_charge: tuple[float, float] | None,
    unit: str,
    **typed: Unpack[OnPaper],
) -> None:
    """Lay options of a machine side by side; sends "answer" (ComparedRides)."""
    reader, known = SPEED_UNITS[unit], MachineSetup(**setup)
    rides = tuple(cache.ridden(log) for log in logs)
    _, listed = options_of({"currency": currency, "option": options})
    said = said_on(typed)
    conditions = Conditions(rides_charge=rides_charge)
    found = options_from(known, rides, listed, reader, currency=currency, conditions=conditions)
    told = options_json(found, rides, reader)
    files, lacking = options_files(
        found, rides, reader, to_bytes(told), **said, paper=typed["paper"]
    )
    files["options.csv"] = options_csv(told)
    words = asdict(options_words(found, reader, **said))
    send("answer", ComparedRides(words, options_picture(found, reader), files, lacking))


def hold_stated(
    send: Send,
    cache: RideCache,
    *,
    logs: list[LogAt],
    stated: tuple[float, float, str],
    noted: dict[str, str],
    unit: str,
    **typed: Unpack[OnPaper],
) -> None:
    """Hold rides against a stated speed; sends "answer" (ComparedRides)."""
    rides, reader = tuple(cache.ridden(log) for log in logs), SPEED_UNITS[unit]
    found = against_stated(StatedSpeed(*stated), rides, noted=noted)
    said = said_on(typed)
    files, lacking = stated_files(
        found, reader, to_bytes(stated_json(found, reader)), **said, paper=typed["paper"]
    )
    words = asdict(stated_sheet_words(found, reader, **said))
    send("answer", ComparedRides(words, stated_picture(found, reader), files, lacking))


_EVERY = (
    measure_ride,
    draw_ride,
    report_page,
    compare_rides,
    draw_comparison,
    compare_modes,
    predict_change,
    lay_options,
    hold_stated,
)
_JOBS: dict[str, Callable[..., None]] = {each.__name__: each for each in _EVERY}


def _serve(pipe: Connection) -> None:
    """Do jobs until the server has gone."""
    _limit_memory()
    cache = RideCache()
    while True:
        try:
            job = pipe.recv()
        except (EOFError, OSError):
            return  # the server ended, whichever way
        try:
            function = _JOBS[job.function]
            function(lambda kind, value: pipe.send((kind, value)), cache, **job.arguments)
            answer: tuple[str, Any] = ("done", None)
        except CalculationError as error:  # the log stays with its ride
            print(f"ridelog: {job.function} failed: {error!r}", file=sys.stderr)
            answer = ("failed", (error.problem, error.advice))
        except RideLogError as error:
            answer = ("refused", (error.problem, error.advice))
        except MemoryError:
            cache = RideCache()
            answer = ("failed", _TOO_LARGE)
        except Exception as error:  # a mistake in ridelog must not stop the queue
            print(f"ridelog: {job.function} failed: {error!r}", file=sys.stderr)
            words = f"ridelog made a mistake here ({type(error).__name__})."
            answer = ("failed", (words, "please report it with the log, if you may share it."))
        try:
            pipe.send(answer)
        except (OSError, ValueError):
            return


def _limit_memory() -> None:
    if os.name == "nt":
        return
    import resource

    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    there = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    most = max(_LEAST_BYTES, int(_MOST_SHARE * there))
    most = most if hard == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(resource.RLIMIT_AS, (most, hard))
