"""What a laid-out ride is made of: labelled stretches, and the wind and slope they meet."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Span:
    """One labelled stretch of a ride: what it is, when, and its true figures.

    Attributes
    ----------
    kind : word for what it is.
    start_s, end_s : when. [s]
    from_mps, to_mps : velocity at its ends, negative in reverse. [m/s]
    top_mps : highest speed inside, never negative. [m/s]
    distance_m : way covered, never negative. [m]
    heading_rad : where the nose was meant to point at its start. [rad]
    turn_rad : how far the nose was turned on purpose, clockwise positive. [rad]
    """

    kind: str
    start_s: float
    end_s: float
    from_mps: float
    to_mps: float
    top_mps: float
    distance_m: float
    heading_rad: float = 0.0
    turn_rad: float = 0.0

    @property
    def duration_s(self) -> float:
        """Return the length of the span. [s]"""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class Surroundings:
    """Where the ride takes place: wind and slope, the same everywhere.

    ``wind_east_mps`` and ``wind_north_mps`` are where the air goes to. The ground is a plane that
    rises by ``slope`` (rise over run) towards ``slope_bearing_rad``.
    """

    wind_east_mps: float = 0.0
    wind_north_mps: float = 0.0
    slope: float = 0.0
    slope_bearing_rad: float = 0.0

    def headwind_mps(self, heading_rad: float) -> float:
        """Return the wind against a body of some heading. [m/s]"""
        east, north = np.sin(heading_rad), np.cos(heading_rad)
        return float(-(self.wind_east_mps * east + self.wind_north_mps * north))

    def grade(self, heading_rad: float) -> float:
        """Return the slope met by a body of some heading, positive uphill."""
        return float(self.slope * np.cos(heading_rad - self.slope_bearing_rad))
