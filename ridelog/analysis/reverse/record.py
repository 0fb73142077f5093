"""What is said of reverse travel: the whole ride, and each stretch with what speaks for it."""

from dataclasses import dataclass
from typing import Literal

from ridelog.core.estimate import Estimate
from ridelog.core.spans import Span


@dataclass(frozen=True)
class Segment:
    """One stretch of travel that was, or may have been, backwards.

    Attributes
    ----------
    start_s, end_s : when. [s]
    state : "found" by evidence, "marked" by the rider, or "uncertain".
    distance_m : way covered on the fitted path. [m]
    top_speed : best one-second mean inside (the mean over all of it if shorter); None if the
        motion cannot be told there.
    probability : of reverse, by the heading grid alone; NaN for a mark.
    evidence : sentence that says what speaks for it and what against.
    """

    start_s: float
    end_s: float
    state: Literal["found", "marked", "uncertain"]
    distance_m: float
    top_speed: Estimate | None
    probability: float
    evidence: str


@dataclass(frozen=True)
class Reverse:
    """Reverse travel of one ride.

    Attributes
    ----------
    state : "none", "found" (by evidence or by a mark) or "uncertain".
    top_speed : of all found and marked stretches together, freed from the bias of choosing the
        best; None if there is none. [m/s]
    distance_m : way covered in them. [m]
    segments : in time order, uncertain ones included.
    reason : sentence behind the state.
    """

    state: Literal["none", "found", "uncertain"]
    top_speed: Estimate | None
    distance_m: float
    segments: tuple[Segment, ...]
    reason: str

    @property
    def spans(self) -> tuple[Span, ...]:
        """Return (start_s, end_s) of the stretches that count as reverse."""
        return tuple((s.start_s, s.end_s) for s in self.segments if s.state != "uncertain")

    @property
    def possible_spans(self) -> tuple[Span, ...]:
        """Return (start_s, end_s) of the stretches that may have been reverse."""
        return tuple((s.start_s, s.end_s) for s in self.segments if s.state == "uncertain")
