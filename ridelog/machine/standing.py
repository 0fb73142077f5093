"""Standing starts of possible machines, and the peaks of what they draw on the way."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.machine.drive import Drive, IntArray, top_speed

# Steps of the speed grid on which launches are integrated, and how near to the top speed it ends.
# Own choices: steps trade time against digits; the top itself is never reached.
_STEPS, _NEARNESS = 240, 0.995


@dataclass(frozen=True)
class PossibleLaunch:
    """A standing start at full throttle on the level, n possible machines on one grid each.

    speed_mps, time_s, distance_m : shape (n, k); speed rises from 0 to just under the top speed,
        time counts from the first motion and includes half the time in which the throttle opens.
    limit : which limit holds the machine back at each speed, (n, k).
    top_mps : shape (n,). [m/s]
    """

    speed_mps: FloatArray
    time_s: FloatArray
    distance_m: FloatArray
    limit: IntArray
    top_mps: FloatArray

    def time_to_speed_s(self, speed_mps: float) -> FloatArray:
        """Return the time until a speed is first reached, NaN where it is not, (n,). [s]"""
        return _across(self.speed_mps, self.time_s, speed_mps)

    def window_s(self, from_mps: float, to_mps: float) -> FloatArray:
        """Return the time from one speed to another, from 0 as a standing start, (n,). [s]"""
        if from_mps <= 0.0:
            return self.time_to_speed_s(to_mps)
        return self.time_to_speed_s(to_mps) - self.time_to_speed_s(from_mps)

    def time_to_distance_s(self, distance_m: float) -> FloatArray:
        """Return the time over a distance from the start; steady at the top after the grid. [s]"""
        end, time = self.distance_m[:, -1], self.time_s[:, -1]
        inside = _across(self.distance_m, self.time_s, distance_m)
        beyond = time + (distance_m - end) / self.speed_mps[:, -1]
        return np.where(distance_m > end, beyond, inside)

    def speed_at_distance_mps(self, distance_m: float) -> FloatArray:
        """Return the speed after a distance from the start, (n,). [m/s]"""
        inside = _across(self.distance_m, self.speed_mps, distance_m)
        return np.where(distance_m > self.distance_m[:, -1], self.speed_mps[:, -1], inside)

    def longest_limit(self, from_mps: float, to_mps: float) -> IntArray:
        """Return the limit that holds the machine back for most of the time of a window, (n,)."""
        step = np.diff(self.time_s, axis=1)
        middle = 0.5 * (self.speed_mps[:, 1:] + self.speed_mps[:, :-1])
        inside = (middle >= from_mps) & (middle <= to_mps)
        spent = np.stack(
            [np.sum(step * (inside & (self.limit[:, 1:] == i)), axis=1) for i in range(4)]
        )
        return np.asarray(np.argmax(spent, axis=0))


def launch(drive: Drive) -> PossibleLaunch:
    """Return the standing start of every possible machine.

    Time is the integral of dv / a, distance that of v dv / a, by Simpson's rule on each step. A
    throttle that opens over a time o as s(t) makes the machine run through the same speeds with
    its own clock, the integral of s, which lags behind by o / 2 in the end: own derivation.
    """
    top, _ = top_speed(drive)
    known = np.where(np.isfinite(top), top, 1.0)
    # Finer near the top, where the pull fades and every step takes longer.
    share = 1.0 - (1.0 - np.linspace(0.0, 1.0, _STEPS + 1)) ** 2
    nodes = np.empty(2 * _STEPS + 1)
    nodes[::2] = share
    nodes[1::2] = 0.5 * (share[1:] + share[:-1])
    speed = _NEARNESS * known[:, None] * nodes
    slowness = 1.0 / np.maximum(drive.pull_mps2(speed), 1e-6)
    step = np.diff(speed[:, ::2], axis=1)

    def grown(rate: FloatArray) -> FloatArray:
        parts = step / 6.0 * (rate[:, :-2:2] + 4.0 * rate[:, 1::2] + rate[:, 2::2])
        return np.concatenate([np.zeros((len(rate), 1)), np.cumsum(parts, axis=1)], axis=1)

    time_s = grown(slowness) + 0.5 * drive.opening_s[:, None]
    time_s[:, 0] = 0.0
    distance_m = grown(slowness * speed)
    cannot = ~np.isfinite(top)
    time_s[cannot] = distance_m[cannot] = np.nan
    at = speed[:, ::2]
    return PossibleLaunch(at, time_s, distance_m, drive.limits(at), top)


def _across(grid: FloatArray, values: FloatArray, wanted: float) -> FloatArray:
    """Return values where a rising grid reaches a number, row by row; NaN where it does not."""
    count = grid.shape[1]
    index = np.clip(np.sum(grid < wanted, axis=1), 1, count - 1)
    rows = np.arange(len(grid))
    left, right = grid[rows, index - 1], grid[rows, index]
    share = (wanted - left) / np.where(right > left, right - left, 1.0)
    found: FloatArray = values[rows, index - 1] + share * (
        values[rows, index] - values[rows, index - 1]
    )
    return np.where(grid[:, -1] >= wanted, found, np.nan)


def peak(drive: Drive, what: str) -> tuple[FloatArray, IntArray]:
    """Return the largest of a quantity over all speeds up to the top, and what limits there, (n,).

    ``what`` is "battery_current_a", "battery_power_w" or "winding_a".
    """
    top, _ = top_speed(drive)
    known = np.where(np.isfinite(top), top, 1.0)
    speed = known[:, None] * np.linspace(0.0, 1.0, 161)
    values: FloatArray = getattr(drive, what)(speed)
    at = np.argmax(values, axis=1)
    rows = np.arange(len(at))
    limit: IntArray = drive.limits(speed)[rows, at]
    return np.where(np.isfinite(top), values[rows, at], np.nan), limit


def launch_time_s(drive: Drive, speed_mps: float) -> FloatArray:
    """Return the time of a start to a low speed, throttle open at once, (n,), by a quick rule. [s]

    Sixteen steps are enough well below the top speed; NaN where the speed is not reached.
    """
    edges = np.linspace(0.0, speed_mps, 17)
    middles = 0.5 * (edges[1:] + edges[:-1])
    pull = drive.pull_mps2(middles)
    time_s = np.sum(np.diff(edges) / np.maximum(pull, 1e-6), axis=1)
    return np.where(np.all(pull > 0.0, axis=1), time_s, np.nan)
