"""The contract of a subject, and the ride that subjects measure one after another."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from ridelog.analysis.figure import Figure, Figures
from ridelog.analysis.settings import Settings
from ridelog.core.quantity import both_units
from ridelog.core.spans import Span
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.filtering.motion import Motion

if TYPE_CHECKING:
    from ridelog.present.section import Section

_MPH, _KMH = SPEED_UNITS["mph"], SPEED_UNITS["km/h"]
# Published youth classes, 16 CFR 1420 (ANSI/SVIA 1) as the CPSC explains them, and ASTM F2641-08.
_AGE_8_TO_12_MPS = _MPH.to_mps(10.0)
_AGE_6_MPS = _MPH.to_mps(15.0)
_AGE_10_AND_12_MPS = _MPH.to_mps(30.0)

# Own choice: ranks, of which only the order counts.
DANGER, WARNING, DOUBT = 3, 2, 1
GRAVITY_WORDS = {DANGER: "Danger", WARNING: "Warning", DOUBT: "Doubt"}
# What always holds, where there is no room for ``general_cautions``.
ALWAYS = (
    "Protective gear, closed private ground, local law and codes. Wiring, battery and brakes "
    "belong in competent hands, licensed where codes ask."
)


@dataclass(frozen=True)
class Caution:
    """One warning; value and limit in SI units, or None where the warning has no number.

    ``code`` is stable and meant for scripts; ``general`` is True for what holds on every ride.
    ``gravity`` is DANGER where somebody can get hurt, WARNING where that depends on how it is
    ridden, DOUBT where a figure is in question: the gravest are said first.
    """

    code: str
    text: str
    value: float | None
    limit: float | None
    source: str
    general: bool = False
    gravity: int = DOUBT


def general_cautions() -> tuple[Caution, ...]:
    """Return what every result to an owner carries, whatever was measured."""
    return tuple(
        Caution(code, text, None, None, source, general=True) for code, text, source in _GENERAL
    )


def stands_first(caution: Caution) -> bool:
    """Return whether it belongs at the headline: a danger, or that a machine is for no child."""
    return caution.gravity == DANGER or not_for_a_child(caution)


def not_for_a_child(caution: Caution) -> bool:
    """Return whether it says that the machine is faster than the fastest youth class."""
    return caution.code == "age_class" and caution.limit == _AGE_10_AND_12_MPS


def age_class_caution(speed_mps: float, verb: str = "reached") -> Caution | None:
    """Return the warning that a speed is above a published youth class, if it is. [m/s]

    ``verb`` is "reached" of a speed that was measured, "reaches" of one that is predicted.
    """
    if speed_mps <= _AGE_8_TO_12_MPS:
        return None
    seen, limit = f"it {verb} {both_units(speed_mps)}", _AGE_8_TO_12_MPS
    if speed_mps > _AGE_10_AND_12_MPS:
        limit = _AGE_10_AND_12_MPS
        text = (
            f"Not for a child: {seen}, above the {both_units(limit)} of the fastest youth quad "
            "class."
        )
    elif speed_mps > _AGE_6_MPS:
        limit = _AGE_6_MPS
        text = (
            f"{seen.capitalize()}; youth quads are built for {both_units(limit)} from age 6, and "
            f"for {both_units(_AGE_10_AND_12_MPS)} from age 10 or 12."
        )
    else:
        text = (
            f"{seen.capitalize()}; powered scooters and pocket bikes for ages 8 to 12 are meant "
            f"for {both_units(limit)} at most."
        )
    return Caution(
        "age_class",
        text,
        speed_mps,
        limit,
        "CPSC, children's ATV tips (classes of 16 CFR 1420); ASTM F2641-08, scope",
        gravity=WARNING,
    )


_GENERAL = (
    (
        "closed_ground",
        "Ride and test only on closed, private, clear ground, never on public roads; local law "
        "and codes decide what is allowed where.",
        "CPSC, ATV safety tips",
    ),
    (
        "protective_gear",
        "Helmet, eye protection, gloves, long sleeves and trousers, and boots over the ankle on "
        "every run.",
        "CPSC, ATV safety tips",
    ),
    (
        "children",
        "Nobody under 6, no passenger on a one-person machine, a child only on a class meant for "
        "its age and with an adult watching.",
        "CPSC, ATV safety tips",
    ),
    (
        "brakes_first",
        "Brakes before speed: with the same brakes, a tenth more speed needs a fifth more "
        "stopping distance, and twice the speed four times as much.",
        "physics: distance = speed² / (2 × deceleration)",
    ),
    (
        "licensed_work",
        "Changes to wiring, battery or brakes belong in competent and, where local codes ask for "
        "it, licensed hands. A satellite log is neither a safety inspection nor a type approval.",
        "common practice, no source",
    ),
    (
        "road_approval",
        "A vehicle made faster than its class may lose approval, insurance or the licence class "
        "it was sold for: ask before it goes on a road.",
        "compare StVZO § 30a (1) on tampering; consequences from memory, check locally",
    ),
)


@dataclass(frozen=True)
class RideSource:
    """The log a result was computed from, enough to find it again.

    ``start_utc`` and ``end_utc`` are those of the first and last fix in the order of the file;
    ``start_s`` and ``end_s`` the earliest and latest in time, which differ if a clock stepped back.
    """

    file: str
    sha256: str
    format: str
    fixes_read: int
    fixes_used: int
    start_utc: str
    end_utc: str
    date_known: bool
    start_s: float
    end_s: float
    duration_s: float
    rate_hz: float
    speed_source: str

    @classmethod
    def of(cls, motion: Motion) -> "RideSource":
        """Return which log a motion comes from and what it covers."""
        track = motion.track
        known = track.time_s[np.isfinite(track.time_s)]
        start_s, end_s = (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
        # First and last in file order, as the log tells it: a clock that steps back stays visible.
        first_s, last_s = (float(known[0]), float(known[-1])) if len(known) else (0.0, 0.0)
        return cls(
            file=track.source.file,
            sha256=track.source.sha256,
            format=track.source.format,
            fixes_read=len(track),
            fixes_used=int(np.count_nonzero(motion.used)),
            start_utc=track.utc_text(first_s),
            end_utc=track.utc_text(last_s),
            date_known=track.date_known,
            start_s=start_s,
            end_s=end_s,
            duration_s=end_s - start_s,
            rate_hz=motion.rate_hz,
            speed_source=motion.speed_source,
        )


@dataclass(frozen=True)
class ModeOfRide:
    """What was ridden in one drive mode: its stretches, and a ride of them alone."""

    name: str
    spans: tuple[Span, ...]
    ride: "MeasuredRide"


@dataclass(frozen=True)
class MeasuredRide:
    """One ride: its motion, and what every subject found in it.

    motion : the smoothed ride.
    source : the log it comes from.
    settings : what was chosen, so that the figures can be computed again.
    records : the record of each subject by its name; ``ride["braking"]`` for short.
    figures : every figure by name, in the order of reading.
    cautions : particular ones first, the gravest of them first; then those that always hold.
    modes : what was ridden in each drive mode that was named.
    """

    motion: Motion = field(repr=False)
    source: RideSource
    settings: Settings
    records: Mapping[str, Any] = field(default_factory=dict, repr=False)
    figures: Figures = field(default_factory=Figures, repr=False)
    cautions: tuple[Caution, ...] = field(default=(), repr=False)
    modes: tuple[ModeOfRide, ...] = field(default=(), repr=False)

    def __getitem__(self, subject: str) -> Any:
        """Return the record of a subject."""
        try:
            return self.records[subject]
        except KeyError:
            raise KeyError(f"{subject!r}; measured were {', '.join(self.records)}") from None

    @property
    def name(self) -> str:
        """Name of the log's file."""
        return self.source.file

    @property
    def history(self) -> tuple[str, ...]:
        """What was done to the data, one line a stage."""
        return self.motion.history

    @property
    def warnings(self) -> tuple[str, ...]:
        """Sentences for results that stand but deserve doubt."""
        return self.motion.warnings

    @property
    def excluded(self) -> tuple[Span, ...]:
        """Stretches that carry no figure of forward travel: left out, or in reverse. [s]"""
        return (*self.settings.left_out_s, *self["reverse"].spans)

    def with_record(self, subject: str, record: Any) -> "MeasuredRide":
        """Return the ride with the record of one more subject, or another one in its place."""
        return replace(self, records={**self.records, subject: record})

    def course_at(self, time_s: float) -> float | None:
        """Return the course at a time in degrees clockwise from north, None where unknown."""
        known = self.motion.used & np.isfinite(self.motion.course_rad)
        if not known.any() or not np.isfinite(time_s):
            return None
        apart = np.where(known, np.abs(self.motion.track.time_s - time_s), np.inf)
        row = int(np.nanargmin(apart))
        if apart[row] > 2.0:
            return None
        return float(np.degrees(self.motion.course_rad[row]) % 360.0)


class Subject:
    """One thing that is measured on a ride, and everything that is said about it.

    A subject is one folder and one entry in ``analysis.ride.SUBJECTS``; every surface iterates
    that register. What a subject has nothing to say about stays as it is here.

    name : key of its record in ``ride[name]``.
    needs : names of the subjects it is measured after.
    members : what it adds to the machine-readable result: name of a member to the type of what
        ``document`` gives for it (the record, unless it says otherwise), from which the JSON
        Schema is made.
    """

    name: str
    needs: tuple[str, ...] = ()
    members: ClassVar[dict[str, Any]] = {}

    def measure(self, ride: MeasuredRide) -> Any:
        """Return the record of a ride that holds the records of ``needs``."""
        raise NotImplementedError

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the figures of a ride whose records all stand."""
        return ()

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return what a reader must be warned of."""
        return ()

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return (label, words) for the terminal."""
        return ()

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return what the page says of it."""
        return ()

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return ``members`` as records, whose fields are named as JSON has them."""
        return dict.fromkeys(self.members, ride[self.name])
