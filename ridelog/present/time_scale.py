"""Time on the axis of a picture: even, but for long gaps, which are drawn short."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes

from ridelog.core.track import FloatArray

# A gap is drawn no longer than this share of the time that was logged: it holds nothing to see.
_LONGEST_SHARE = 0.08
# So far beyond both ends the axis goes on evenly. [s]
_BEYOND_S = 1e7


@dataclass(frozen=True)
class TimeScale:
    """Where the times of a ride lie on an axis.

    Attributes
    ----------
    start_s, end_s : what is drawn. [s]
    knots_s, places : times between which the axis is even, and where they lie, counted in seconds
        of an even axis; shape (k,), increasing.
    """

    start_s: float
    end_s: float
    knots_s: FloatArray
    places: FloatArray

    @classmethod
    def of(
        cls, start_s: float, end_s: float, gaps: Sequence[tuple[float, float]] = ()
    ) -> "TimeScale":
        """Return the scale of a ride from its first to its last fix in time, and its gaps."""
        end_s = max(end_s, start_s + 1.0)
        inside = sorted((a, b) for a, b in gaps if start_s <= a < b <= end_s)
        logged_s = end_s - start_s - sum(b - a for a, b in inside)
        longest_s = max(_LONGEST_SHARE * logged_s, 1.0)
        knots, places = [start_s - _BEYOND_S, start_s], [-_BEYOND_S, 0.0]
        for first, last in inside:
            if last - first > longest_s and first >= knots[-1]:
                places += [places[-1] + first - knots[-1]] if first > knots[-1] else []
                knots += [first] if first > knots[-1] else []
                places.append(places[-1] + longest_s)
                knots.append(last)
        places.append(places[-1] + end_s + _BEYOND_S - knots[-1])
        knots.append(end_s + _BEYOND_S)
        return cls(start_s, end_s, np.array(knots), np.array(places))

    @property
    def shortens(self) -> bool:
        """Whether a gap is drawn short."""
        return len(self.knots_s) > 3

    @property
    def shown_s(self) -> float:
        """Length of the axis, counted in seconds of an even one."""
        return float(self.place(self.end_s) - self.place(self.start_s))

    def place(self, time_s: FloatArray | float) -> FloatArray:
        """Return where times lie, counted in seconds of an even axis."""
        return np.asarray(np.interp(time_s, self.knots_s, self.places))

    def share(self, first_s: float, last_s: float) -> float:
        """Return which share of the axis lies between two times."""
        return float(self.place(last_s) - self.place(first_s)) / self.shown_s

    def set_on(self, axes: Axes) -> None:
        """Give axes this scale and its limits."""
        if self.shortens:
            axes.set_xscale(
                "function",
                functions=(self.place, lambda place: np.interp(place, self.places, self.knots_s)),
            )
        axes.set_xlim(self.start_s, self.end_s)

    def ticks(self, step_s: float) -> list[float]:
        """Return round times that lie about a step apart on the axis and outside short gaps."""
        first, last = np.ceil(self.start_s / step_s), np.floor(self.end_s / step_s)
        if not self.shortens:
            return [float(k * step_s) for k in np.arange(first, last + 1)]
        found: list[float] = []
        slope = np.diff(self.places) / np.diff(self.knots_s)
        for piece in np.flatnonzero(slope > 0.999):
            begin = max(self.knots_s[piece], self.start_s)
            end = min(self.knots_s[piece + 1], self.end_s)
            for k in range(int(np.ceil(begin / step_s)), int(np.floor(end / step_s)) + 1):
                time_s = k * step_s
                if not found or self.place(time_s) - self.place(found[-1]) > 0.6 * step_s:
                    found.append(float(time_s))
        return found
