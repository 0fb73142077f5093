"""A ride of the book: how it is measured, and what lists say of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

from ridelog.analysis.settings import Settings
from ridelog.book.book import Book
from ridelog.book.records import COLUMNS, RideEntry
from ridelog.compare.charge import charge_of_rides
from ridelog.core import quantity
from ridelog.core.errors import BookError, SetupError
from ridelog.core.estimate import Estimate
from ridelog.core.text import shown_name
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_file import setup_of_text
from ridelog.machine.tipping import effective_track_m
from ridelog.present.words import duration_words, zone_words

_MONTHS = "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec".split()


@dataclass(frozen=True)
class LogAt:
    """A log of the book and how it is to be measured; plain, so that a pipe can carry it."""

    name: str
    place: str
    sha256: str
    settings: dict[str, Any]


def settings_of(book: Book, ride: RideEntry) -> Settings:
    """Return the settings with which a ride is measured."""
    marks = book.details.marks(ride.id)
    text = book.machines.setup(ride.setup_id).toml if ride.setup_id else ""
    try:
        setup = setup_of_text(text)
    except SetupError:  # a file that cannot be read says nothing
        setup = MachineSetup()
    reverse = tuple((m.start_s, m.end_s) for m in marks if m.kind == "reverse")
    usual, kmh = Settings(), SPEED_UNITS["km/h"]
    limit_kmh, class_kmh = setup.reverse_limit_kmh, setup.class_speed_kmh
    limit_mps = usual.reverse_caution_mps if limit_kmh is None else kmh.to_mps(limit_kmh)
    return Settings(
        # Someone who marks reverse travel was there; the file may be of another state.
        has_reverse=None if reverse else setup.has_reverse,
        reverse_marks_s=reverse,
        left_out_s=tuple((m.start_s, m.end_s) for m in marks if m.kind == "left_out"),
        modes_s=tuple((m.name, m.start_s, m.end_s) for m in marks if m.kind == "mode"),
        reverse_caution_mps=limit_mps,
        reverse_strong_mps=max(usual.reverse_strong_mps, limit_mps),
        advised_mps=usual.advised_mps if class_kmh is None else kmh.to_mps(class_kmh),
        track_width_m=effective_track_m(setup),
        cg_height_m=setup.cg_height_m,
        adult_rider=bool(setup.adult_rider),
        columns=book.details.conditions(ride.id).get(COLUMNS, ""),
    )


def log_at(book: Book, ride: RideEntry) -> LogAt:
    """Return the log of a ride with its settings, for the worker."""
    settings = settings_of(book, ride)
    return LogAt(ride.file, str(book.place(ride.sha256)), ride.sha256, settings.as_json())


def ride_of_log(book: Book, log: Path) -> RideEntry:
    """Return the ride of a log that lies anywhere; BookError if it is not in the book."""
    # What cannot be read says so where it is measured.
    ride = book.rides.by_hash(sha256(log.read_bytes()).hexdigest())
    if ride is None:
        raise BookError(
            f"{shown_name(log.name)} is not in the ride book {shown_name(str(book.folder))}.",
            "add it with `ridelog book add`, or leave out --book.",
        )
    return ride


def noted_charge(
    book: Book, rides: Sequence[RideEntry], setup: MachineSetup
) -> tuple[float, float] | None:
    """Return the battery's charge during rides as the book notes it, None where it does not."""
    noted = [book.details.conditions(ride.id).get("charge", "") for ride in rides]
    return charge_of_rides(noted, setup)


def top_speed(figures: Mapping[str, Estimate]) -> Estimate | None:
    """Return what "top speed" means: the mean of both directions, else the fastest second."""
    return figures.get("two_way_mps") or figures.get("best_1s_mps")


def speed(figure: Estimate | None, unit: SpeedUnit) -> str:
    """Return a speed with its unit, or a dash."""
    return "–" if figure is None else quantity.value(figure, quantity.SPEED, unit)


def bounds(figure: Estimate | None, unit: SpeedUnit) -> str:
    """Return the bounds of a speed, such as "34.8 to 35.0"."""
    return "" if figure is None else quantity.bounds(figure, quantity.SPEED, unit)


def moment(utc: str) -> str:
    """Return a moment in this machine's zone, named: "9 Jun 2024, 11:05 CEST".

    Without a date it stays in UTC, because nobody knows whether it was in summer time; text that
    is no time gives "time unknown".
    """
    if utc.startswith("T"):
        return f"{utc[1:6]} UTC, no date"
    try:
        there = datetime.fromisoformat(utc).astimezone()
    except (ValueError, OverflowError, OSError):  # the last two where the calendar ends
        return "time unknown"
    day = day_in_words(there.date().isoformat())
    return f"{day}, {there:%H:%M} {zone_words(there)}"


def local_day(utc: str) -> str:
    """Return the day of a moment in this machine's zone as YYYY-MM-DD, empty without one."""
    try:
        return datetime.fromisoformat(utc).astimezone().date().isoformat()
    except (ValueError, OverflowError, OSError):
        return ""


def day_in_words(day: str) -> str:
    """Return a day as moments have it, such as "9 Jun 2024" for 2024-06-09; other text as it is."""
    try:
        there = date.fromisoformat(day)
    except ValueError:
        return day
    return f"{there.day} {_MONTHS[there.month - 1]} {there.year}"


def day_and_year(start_utc: str) -> tuple[str, str]:
    """Return the day on which a ride began here, such as ("9 Jun", "2024"), a dash without one."""
    words = moment(start_utc).partition(",")[0].rpartition(" ")
    return (words[0], words[2]) if words[2].isdigit() else ("–", "")


def lasting(duration_s: float | None) -> str:
    """Return how long a ride lasts."""
    return "" if duration_s is None else duration_words(duration_s)
