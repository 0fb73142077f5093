"""What the worker can do, by name; runs in the child process and touches no database."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from typing import Any

from ridelog.analysis.launches.windows import default_windows, suited
from ridelog.analysis.settings import Settings
from ridelog.compare.comparison import compare
from ridelog.core.units import SPEED_UNITS
from ridelog.machine.predict import predict
from ridelog.machine.setup import MachineSetup
from ridelog.present.digest import sealed
from ridelog.report.compare_files import sheet_files
from ridelog.report.compare_json import compare_json
from ridelog.report.compare_plot import compare_picture
from ridelog.report.predict_json import predict_json
from ridelog.report.predict_page import prediction_words
from ridelog.report.predict_plot import predict_pictures
from ridelog.report.ride_json import to_bytes
from ridelog.report.ride_page import ride_page
from ridelog.report.ride_pictures import ride_pictures
from ridelog.report.ride_sections import ride_sections
from ridelog.report.sheet import sheet_words
from ridelog.workflow.measuring import first_figures, measured, pages_bytes
from ridelog.workflow.ride_cache import LogAt, RideCache

# The launch windows of a machine without a ride: as of one that reaches 30 km/h.
_USUAL_TOP_MPS = 25.0 / 3.0

Send = Callable[[str, Any], None]


@dataclass(frozen=True)
class ComparedRides:
    """A comparison for the page: what it says, its picture, and its files by name."""

    words: dict[str, Any]
    picture: dict[str, str] | None
    files: dict[str, bytes]
    lacking: str


@dataclass(frozen=True)
class PredictedChange:
    """A prediction for the page: what it says, its pictures, and its result as JSON."""

    words: dict[str, Any]
    pictures: list[dict[str, str]]
    document: bytes


def measure_ride(send: Send, cache: RideCache, *, log: LogAt) -> None:
    """Measure one log; sends "progress", "first", "result" (MeasuredLog) and "pages" (bytes)."""
    motion = cache.motion(log, lambda done: send("progress", 0.5 * done))
    send("progress", 0.5)
    send("first", first_figures(motion, Settings.from_json(log.settings)))
    result = cache.ridden(log).result
    send("progress", 0.7)
    send("result", measured(motion, result))
    send("pages", pages_bytes(motion, result))


def report_page(send: Send, cache: RideCache, *, log: LogAt, unit: str) -> None:
    """Draw the page of a ride that stands alone; sends "answer" (bytes)."""
    ride, reader = cache.ridden(log), SPEED_UNITS[unit]
    pictures = ride_pictures(ride.motion, ride.result, reader)
    sections = ride_sections(ride.motion, ride.result, reader)
    page = ride_page(ride.motion, ride.result, pictures, reader, sections=sections)
    send("answer", page.encode("utf-8", "replace"))


def compare_rides(
    send: Send,
    cache: RideCache,
    *,
    before: list[LogAt],
    after: list[LogAt],
    noted_before: dict[str, str],
    noted_after: dict[str, str],
    unit: str,
    workshop: str,
    note: str,
    paper: str,
) -> None:
    """Compare rides before a change with those after it; sends "answer" (ComparedRides)."""
    sides = [tuple(cache.ridden(log) for log in logs) for logs in (before, after)]
    reader = SPEED_UNITS[unit]
    comparison = compare(
        sides[0], sides[1], unit=reader, noted_before=noted_before, noted_after=noted_after
    )
    files, lacking = sheet_files(
        comparison, reader, to_bytes(compare_json(comparison)), workshop=workshop, note=note,
        paper=paper,
    )  # fmt: skip
    drawn = compare_picture(comparison, reader)
    picture = {"wide_svg": drawn.wide_svg, "narrow_svg": drawn.narrow_svg} if drawn else None
    words = asdict(sheet_words(comparison, reader, workshop=workshop, note=note))
    send("answer", ComparedRides(words, picture, files, lacking))


def predict_change(
    send: Send,
    cache: RideCache,
    *,
    setup: dict[str, Any],
    logs: list[LogAt],
    asked: dict[str, Any],
    sweep: tuple[str, list[Any]] | None,
    unit: str,
) -> None:
    """Predict a change of a machine; sends "answer" (PredictedChange)."""
    reader, known = SPEED_UNITS[unit], MachineSetup(**setup)
    rides = [cache.evidence(log) for log in logs]
    tops = [ride.top_mps[0] for ride in rides if ride.top_mps]
    windows = suited(default_windows(max(tops, default=_USUAL_TOP_MPS)), reader)
    prediction = predict(known, rides, asked, windows, sweep=sweep)
    pictures = [
        {"wide_svg": p.wide_svg, "narrow_svg": p.narrow_svg}
        for p in predict_pictures(prediction, reader)
    ]
    words = prediction_words(prediction, reader)
    send("answer", PredictedChange(words, pictures, to_bytes(sealed(predict_json(prediction)))))


JOBS: dict[str, Callable[..., None]] = {
    "measure_ride": measure_ride,
    "report_page": report_page,
    "compare_rides": compare_rides,
    "predict_change": predict_change,
}
