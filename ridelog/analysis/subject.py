"""The contract of a subject, and the ride that subjects measure one after another."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from ridelog.analysis.cautions import Caution
from ridelog.analysis.figure import Figure, Figures
from ridelog.analysis.settings import Settings
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import Quantity, is_firm, span, text
from ridelog.core.spans import Span
from ridelog.core.units import SpeedUnit
from ridelog.filtering.motion import Motion

if TYPE_CHECKING:
    from ridelog.present.section import Section


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
class MeasuredRide:
    """One ride: its motion, and what every subject found in it.

    Attributes
    ----------
    motion : the smoothed ride.
    source : the log it comes from.
    settings : what was chosen, so that the figures can be computed again.
    records : the record of each subject by its name; ``ride["braking"]`` for short.
    figures : every figure by name, in the order of reading.
    cautions : particular ones first, the gravest of them first; then those that always hold.
    """

    motion: Motion = field(repr=False)
    source: RideSource
    settings: Settings
    records: Mapping[str, Any] = field(default_factory=dict, repr=False)
    figures: Figures = field(default_factory=Figures, repr=False)
    cautions: tuple[Caution, ...] = field(default=(), repr=False)

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

    def told(self, estimate: Estimate, quantity: Quantity, reader: SpeedUnit) -> str:
        """Return a figure with its interval; the range alone and why, where no figure stands."""
        if self["signal"].too_weak:
            return f"somewhere from {span(estimate, quantity, reader)} (weak signal)"
        if not is_firm(estimate):
            return f"somewhere from {span(estimate, quantity, reader)} (no closer with this log)"
        return text(estimate, quantity, reader)

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

    A subject is one folder and one entry in ``analysis.register.SUBJECTS``; every surface iterates
    that register. What a subject has nothing to say about stays as it is here.

    Attributes
    ----------
    name : key of its record in ``ride[name]``.
    needs : names of the subjects it is measured after.
    members : what it adds to the machine-readable result: name of a member to the type of what
        ``document`` gives for it, from which the JSON Schema is made.
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
        return {name: ride[name] for name in self.members}
