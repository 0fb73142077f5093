"""Top speed: the best second and five seconds, the raw peak beside them, and two opposite runs."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ridelog.analysis.coverage import (
    LEAST_SEEN,
    LONGEST_HOLE_S,
    raw_places,
    rows_in_time,
    seen_share,
)
from ridelog.analysis.windows import (
    Windows,
    stretches_near_the_top,
    window_means,
    windows_of,
)
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import Motion

# Two runs count as opposite within this of 180 degrees; standards differ on the time between them
# (30 min, 1 h, 2 h, same day): 1 h, common practice, no source.
OPPOSITE_WITHIN_RAD = np.radians(20.0)
LONGEST_BETWEEN_S = 3600.0
# Windows further below the best than this many standard deviations of speed cannot overtake it.
_MARGIN_SD, _LEAST_MARGIN_MPS = 6.0, 0.25
NO_FIVE = "no five seconds in a row are free of gaps and bad signal"
# Riding at the top that is drawn; more of it only repeats what these tell.
_LONGEST_S = 240.0


@dataclass(frozen=True)
class OppositeRun:
    """The best second of one of the two opposite runs."""

    start_s: float
    end_s: float
    course_deg: float
    speed_mps: Estimate


@dataclass(frozen=True)
class TopSpeed:
    """Top speed of a ride; ``reason`` says why a missing figure is missing.

    at_s : start of the best second, NaN without one. [s]
    raw_peak_mps : largest speed that the log shows by itself: reported, or differenced positions
        of neighbouring fixes when it reports none; NaN if neither. [m/s]
    headline : which figure is called the top speed: the mean of both directions of a ride with two
        opposite runs, else the fastest second.
    """

    best_1s_mps: Estimate | None
    best_5s_mps: Estimate | None
    at_s: float
    raw_peak_mps: float
    raw_peak_kind: Literal["reported", "positions"]
    two_way_mps: Estimate | None
    two_way_runs: tuple[OppositeRun, ...]
    reason: str
    seen_share: float = 1.0
    headline: Literal["two_way_mps", "best_1s_mps"] = "best_1s_mps"

    @property
    def top(self) -> Estimate | None:
        """The figure that is called the top speed. [m/s]"""
        return self.two_way_mps if self.headline == "two_way_mps" else self.best_1s_mps


def measure_top_speed(
    motion: Motion, *, excluded: tuple[tuple[float, float], ...] = ()
) -> TopSpeed:
    """Return the top speed of a ride.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : tuple of (start_s, end_s)
        Stretches that may not carry it, such as reverse travel.
    """
    one = windows_of(motion, 1.0, excluded=excluded)
    peak, kind = raw_peak(motion)
    seen = seen_share(motion)
    if seen < LEAST_SEEN or not one.usable.any():
        why = _why_unseen(seen) if seen < LEAST_SEEN else _why_none(motion, one)
        return TopSpeed(None, None, np.nan, peak, kind, None, (), why, seen)
    trusted = one.trusted_share
    if trusted < LEAST_SEEN:
        return TopSpeed(None, None, np.nan, peak, kind, None, (), _why_untrusted(trusted), seen)
    best = int(np.flatnonzero(one.usable)[np.argmax(one.mean_mps[one.usable])])
    best_1s, _ = _best(motion, one, one.usable, one.settling)
    five = windows_of(motion, 5.0, excluded=excluded)
    best_5s = _best(motion, five, five.usable, five.settling)[0] if five.usable.any() else None
    two_way, runs, reason = _opposite_runs(motion, one)
    if best_5s is None:
        reason = _joined(NO_FIVE, reason)
    at_s = float(one.start_s[best])
    headline: Literal["two_way_mps", "best_1s_mps"] = "two_way_mps" if two_way else "best_1s_mps"
    return TopSpeed(best_1s, best_5s, at_s, peak, kind, two_way, runs, reason, seen, headline)


def raw_peak(motion: Motion) -> tuple[float, Literal["reported", "positions"]]:
    """Return the largest speed the log shows by itself, and where it comes from."""
    speed = motion.track.speed_mps
    if motion.speed_source == "reported" and np.isfinite(speed[motion.used]).any():
        return float(np.nanmax(speed[motion.used])), "reported"
    rows = rows_in_time(motion, motion.used & np.isfinite(motion.east_m))
    if len(rows) < 2:
        return float("nan"), "positions"
    step = np.diff(motion.track.time_s[rows])
    usual = step <= 3.0 * np.median(step)
    distance_m = np.hypot(*np.diff(raw_places(motion, rows), axis=0).T)
    return float(np.max((distance_m / step)[usual])), "positions"


def _best(
    motion: Motion, windows: Windows, chosen: BoolArray, settling: BoolArray
) -> tuple[Estimate | None, FloatArray]:
    """Return the estimate of the highest mean over the chosen windows, and all columns of it.

    Windows during settling take part with their larger errors, so that a run which the receiver
    half saw is neither trusted like the others nor forgotten: it is the figure if it was plainly
    faster, and otherwise only says how much faster it may have been.
    """
    margin = max(_LEAST_MARGIN_MPS, _MARGIN_SD * motion.usual_speed_sd_mps)
    tops = _highest(motion, windows, chosen, margin, 1.0)
    if not tops:
        return None, np.zeros(0)
    columns: FloatArray = np.max(tops, axis=0)
    settled = estimate(columns, smallest=0.0)
    if settled is None or not settling.any():
        return settled, columns
    factor = motion.settling_factor
    best = windows.mean_mps[chosen].max()
    near = settling & (windows.mean_mps >= best - factor * margin)
    before = _highest(motion, windows, near, factor * margin, factor)
    if not before:
        return settled, columns
    early: FloatArray = np.max(before, axis=0)
    both: FloatArray = np.maximum(columns, early)
    unsettled, joint = estimate(early, smallest=0.0), estimate(both, smallest=0.0)
    if unsettled is None or joint is None:
        return settled, columns
    if unsettled.value > settled.high:
        return joint, both
    return replace(settled, high=max(settled.high, joint.high)), both


def _highest(
    motion: Motion, windows: Windows, chosen: BoolArray, margin_mps: float, noisier: float
) -> list[FloatArray]:
    """Return for each stretch near the top its highest mean, one value a column."""
    tops: list[FloatArray] = []
    for start, end in stretches_near_the_top(motion, windows, chosen, margin_mps, _LONGEST_S):
        # A tenth of a second places a window to 0.005 m/s even at a corner of 2 m/s².
        means = window_means(motion.paths(start, end, spacing_s=0.1), windows.length_s)[1]
        if len(means):
            means[:, 1:] = means[:, :1] + noisier * (means[:, 1:] - means[:, :1])
            tops.append(means.max(axis=0))
    return tops


def _opposite_runs(
    motion: Motion, windows: Windows
) -> tuple[Estimate | None, tuple[OppositeRun, ...], str]:
    usable = np.flatnonzero(windows.usable)
    order = usable[np.argsort(-windows.mean_mps[usable], kind="stable")]
    # A run is a pull: what is slower than half the best is a turn or a crawl.
    order = order[windows.mean_mps[order] > 0.5 * windows.mean_mps[order[0]]]
    for first in order[:: max(1, len(order) // 50)]:
        away = windows.course_rad[order] - windows.course_rad[first]
        opposite = np.cos(away) <= -np.cos(OPPOSITE_WITHIN_RAD)
        soon = np.abs(windows.start_s[order] - windows.start_s[first]) <= LONGEST_BETWEEN_S
        found = order[opposite & soon]
        if len(found):
            return _both_ways(motion, windows, int(first), int(found[0]))
    return None, (), "the ride holds no two runs in opposite directions (180° within 20°)"


def _both_ways(
    motion: Motion, windows: Windows, first: int, second: int
) -> tuple[Estimate | None, tuple[OppositeRun, ...], str]:
    runs: list[OppositeRun] = []
    columns: list[FloatArray] = []
    for chosen in (first, second):
        away = windows.course_rad - windows.course_rad[chosen]
        same = np.cos(away) >= np.cos(OPPOSITE_WITHIN_RAD)
        same &= np.abs(windows.start_s - windows.start_s[chosen]) <= LONGEST_BETWEEN_S
        if _top_is_lost(motion, windows, same):
            return None, (), "one of the opposite runs was fastest where the log cannot be trusted"
        speed, column = _best(motion, windows, same & windows.usable, same & windows.settling)
        if speed is None:
            return None, (), "the speeds of the opposite runs cannot be told"
        start = float(windows.start_s[chosen])
        course = float(np.degrees(windows.course_rad[chosen]) % 360.0)
        runs.append(OppositeRun(start, start + windows.length_s, course, speed))
        columns.append(column)
    mean = estimate(0.5 * (columns[0] + columns[1]), smallest=0.0)
    runs.sort(key=lambda run: run.start_s)
    return mean, tuple(runs), ""


def _why_unseen(seen: float) -> str:
    share = f"only {100.0 * seen:.0f} %" if seen >= 0.005 else "nothing"
    return (
        f"{share} of the distance was logged by fixes no more than {LONGEST_HOLE_S:.0f} s apart, "
        "and between fixes further apart nobody can tell the speed of any one second"
    )


def _why_untrusted(trusted: float) -> str:
    return (
        f"only {100.0 * trusted:.0f} % of the distance is free of jumps, holes, settling and badly "
        "placed satellites, so the fastest second was more likely missed than seen"
    )


def _top_is_lost(motion: Motion, windows: Windows, same: BoolArray) -> bool:
    """Return whether a run's windows that carry no figure were plainly faster than those that do.

    Beside a hole the fit still knows the speed at its edge; a run that was faster there than in
    any window that counts has lost its top.
    """
    lost = same & windows.lost
    if not lost.any():
        return False
    margin = max(_LEAST_MARGIN_MPS, _MARGIN_SD * motion.usual_speed_sd_mps)
    best = float(windows.mean_mps[same & windows.usable].max())
    return bool((windows.mean_mps[lost] > best + margin).any())


def _why_none(motion: Motion, windows: Windows) -> str:
    if not len(windows.start_s):
        return (
            f"the fixes are {1.0 / motion.rate_hz:.3g} s apart and no second lies between two of "
            "them without a gap"
        )
    return "no second of the ride is free of settling, poor geometry and jumps"


def _joined(*reasons: str) -> str:
    return "; ".join(reason for reason in reasons if reason)
