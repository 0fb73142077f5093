"""What the work bench can do, by name; runs in the child process and touches no database."""

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
from ridelog.workflow.ride_cache import KeptRides, LogAt

# The launch windows of a machine that no ride tells of: as of one that reaches 30 km/h.
_USUAL_TOP_MPS = 25.0 / 3.0

Tell = Callable[[str, Any], None]


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


def measure_ride(tell: Tell, kept: KeptRides, *, log: LogAt) -> None:
    """Measure one log; tells "progress", "first", "result" (Measured) and "pages" (bytes)."""
    motion = kept.motion(log, lambda done: tell("progress", 0.5 * done))
    tell("progress", 0.5)
    tell("first", first_figures(motion, Settings.from_json(log.settings)))
    result = kept.ridden(log)
    tell("progress", 0.7)
    tell("result", measured(motion, result))
    tell("pages", pages_bytes(result))


def report_page(tell: Tell, kept: KeptRides, *, log: LogAt, unit: str) -> None:
    """Draw the page of a ride that stands alone; tells "answer" (bytes)."""
    ride, reader = kept.ridden(log), SPEED_UNITS[unit]
    pictures = ride_pictures(ride, reader)
    sections = ride_sections(ride, reader)
    page = ride_page(ride, pictures, reader, sections=sections)
    tell("answer", page.encode("utf-8", "replace"))


def compare_rides(
    tell: Tell,
    kept: KeptRides,
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
    """Compare rides before a change with those after it; tells "answer" (ComparedRides)."""
    sides = [tuple(kept.ridden(log) for log in logs) for logs in (before, after)]
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
    tell("answer", ComparedRides(words, picture, files, lacking))


def predict_change(
    tell: Tell,
    kept: KeptRides,
    *,
    setup: dict[str, Any],
    logs: list[LogAt],
    asked: dict[str, Any],
    sweep: tuple[str, list[Any]] | None,
    unit: str,
) -> None:
    """Predict a change of a machine; tells "answer" (PredictedChange)."""
    reader, known = SPEED_UNITS[unit], MachineSetup(**setup)
    rides = [kept.evidence(log) for log in logs]
    tops = [ride.top_mps[0] for ride in rides if ride.top_mps]
    windows = suited(default_windows(max(tops, default=_USUAL_TOP_MPS)), reader)
    prediction = predict(known, rides, asked, windows, sweep=sweep)
    pictures = [
        {"wide_svg": p.wide_svg, "narrow_svg": p.narrow_svg}
        for p in predict_pictures(prediction, reader)
    ]
    words = prediction_words(prediction, reader)
    tell("answer", PredictedChange(words, pictures, to_bytes(sealed(predict_json(prediction)))))


JOBS: dict[str, Callable[..., None]] = {
    "measure_ride": measure_ride,
    "report_page": report_page,
    "compare_rides": compare_rides,
    "predict_change": predict_change,
}
