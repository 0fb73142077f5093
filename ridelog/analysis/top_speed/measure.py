"""Top speed: the best second and five seconds, the raw peak beside them, and two opposite runs.

All of them come from the same drawn paths and keep their order: METHOD.md.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from ridelog.analysis.windows import (
    LEAST_SEEN,
    LONGEST_HOLE_S,
    Windows,
    highest_means,
    raw_places,
    seen_share,
    windows_of,
)
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate, ordered_estimates
from ridelog.core.track import BoolArray, FloatArray
from ridelog.filtering.motion import DRAWS, Motion

# Two runs count as opposite within this of 180 degrees; standards differ on the time between them
# (30 min, 1 h, 2 h, same day): 1 h, common practice, no source.
OPPOSITE_WITHIN_RAD = np.radians(20.0)
LONGEST_BETWEEN_S = 3600.0
# Windows further below the best than this many standard deviations of speed cannot overtake it. Own
# choice: 4.2 of a difference, once in 10^5; the least is for logs that look surer than they are.
_MARGIN_SD, _LEAST_MARGIN_MPS = 6.0, 0.25
# Windows, from the fastest down, for which the fastest opposite one is looked up. Own choice to
# bound the work: neighbours of one run have nearly the same opposite ones.
_TRIED = 50
# One set of paths serves all figures, so there is time for twice the usual number: a half width is
# then known to 4 %.
_DRAWS = 2 * DRAWS
NO_FIVE = "no five seconds in a row are free of gaps and bad signal"
# Riding at the top that is drawn, the fastest first. Own choice to bound the work: who rides longer
# than that at the top has it told by these.
_LONGEST_S = 240.0


@dataclass(frozen=True)
class OppositeRun:
    """The best second of one of two opposite runs, which were ridden within an hour."""

    start_s: float
    end_s: float
    course_deg: float
    speed_mps: Estimate


@dataclass(frozen=True)
class TopSpeed:
    """Top speed of a ride; ``reason`` says why a missing figure is missing.

    Neither the best five seconds nor a run nor the mean of both exceeds the best second, by their
    values or by either end of their intervals.

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
    """Return the top speed of a ride."""
    one = windows_of(motion, 1.0, excluded=excluded)
    peak, kind = raw_peak(motion)
    seen = seen_share(motion)
    if seen < LEAST_SEEN or not one.usable.any():
        why = _why_unseen(seen) if seen < LEAST_SEEN else _why_none(motion, one)
        return TopSpeed(None, None, np.nan, peak, kind, None, (), why, seen)
    trusted = one.trusted_share
    if trusted < LEAST_SEEN:
        return TopSpeed(None, None, np.nan, peak, kind, None, (), _why_untrusted(trusted), seen)
    five = windows_of(motion, 5.0, excluded=excluded)
    ways, reason = _opposite_ways(motion, one)
    sought = [(one, one.usable, one.settling), (five, five.usable, five.settling)]
    sought += [(one, way & one.usable, way & one.settling) for way in ways]
    (best_1s, best_5s, *both), (counted, _, *of_ways) = _estimates(motion, sought)
    runs = _runs(one, of_ways, both[:2])
    two_way = both[2] if len(runs) == 2 else None
    if ways and two_way is None:
        runs, reason = (), "the speeds of the opposite runs cannot be told"
    if best_5s is None:
        reason = _joined(NO_FIVE, reason)
    at_s = float(one.start_s[_fastest(one, counted)])
    headline: Literal["two_way_mps", "best_1s_mps"] = "two_way_mps" if two_way else "best_1s_mps"
    return TopSpeed(best_1s, best_5s, at_s, peak, kind, two_way, runs, reason, seen, headline)


def raw_peak(motion: Motion) -> tuple[float, Literal["reported", "positions"]]:
    """Return the largest speed the log shows by itself, and where it comes from."""
    speed = motion.track.speed_mps
    if motion.speed_source == "reported" and np.isfinite(speed[motion.used]).any():
        return float(np.nanmax(speed[motion.used])), "reported"
    rows = motion.in_order(motion.used & np.isfinite(motion.east_m))
    if len(rows) < 2:
        return float("nan"), "positions"
    step = np.diff(motion.track.time_s[rows])
    usual = step <= 3.0 * np.median(step)
    distance_m = np.hypot(*np.diff(raw_places(motion, rows), axis=0).T)
    return float(np.max((distance_m / step)[usual])), "positions"


def _estimates(
    motion: Motion, sought: Sequence[tuple[Windows, BoolArray, BoolArray]]
) -> tuple[list[Estimate | None], list[BoolArray]]:
    """Return the estimates of all choices and of the mean of two ways, and the windows that count.

    A choice is made of windows, of which count and of which would if the receiver had settled;
    the first holds all others. Windows during settling take part with their larger errors, so
    that a run which the receiver half saw is neither trusted like the others nor forgotten: it
    counts if it was plainly faster, and otherwise only says how much faster the machine may have
    been. Derivation: top_speed (8).
    """
    margin = max(_LEAST_MARGIN_MPS, _MARGIN_SD * motion.usual_speed_sd_mps)
    settled = highest_means(
        motion,
        [(windows, usable) for windows, usable, _ in sought],
        margin_mps=margin,
        longest_s=_LONGEST_S,
        draws=_DRAWS,
    )
    factor = motion.settling_factor
    near = [
        (windows, settling & _within(windows, usable, factor * margin))
        for windows, usable, settling in sought
    ]
    if not any(chosen.any() for _, chosen in near):
        counted = [usable for _, usable, _ in sought]
        return ordered_estimates(_with_mean(settled), smallest=0.0), counted
    early = highest_means(
        motion, near, margin_mps=factor * margin, longest_s=_LONGEST_S, noisier=factor, draws=_DRAWS
    )
    both = np.fmax(settled, early)
    faster = np.array([_plainly_faster(*each) for each in zip(early, settled, strict=True)])
    # What counts for a part counts for the whole.
    faster[0] = faster.any()
    found = ordered_estimates(_with_mean(np.where(faster[:, None], both, settled)), smallest=0.0)
    possible = [estimate(each, smallest=0.0) for each in _with_mean(both)]
    counted = [
        usable | settling if early_too else usable
        for (_, usable, settling), early_too in zip(sought, faster, strict=True)
    ]
    return _raised(found, possible), counted


def _with_mean(columns: FloatArray) -> FloatArray:
    """Return the columns with the mean of both ways, if there are ways, as the last row."""
    if len(columns) == 2:
        return columns
    return np.vstack([columns, columns[2:].mean(axis=0)])


def _raised(
    found: Sequence[Estimate | None], possible: Sequence[Estimate | None]
) -> list[Estimate | None]:
    """Return estimates whose upper ends reach as far as what is possible, none above the first."""
    result: list[Estimate | None] = []
    most = np.inf
    for one, other in zip(found, possible, strict=True):
        if one is not None and other is not None:
            one = replace(one, high=min(max(one.high, other.high), most))
        if not result and one is not None:
            most = one.high
        result.append(one)
    return result


def _within(windows: Windows, chosen: BoolArray, margin_mps: float) -> BoolArray:
    """Return which windows are not slower by more than a margin than the best of those chosen."""
    if not chosen.any():
        return np.zeros(len(chosen), dtype=bool)
    near: BoolArray = windows.mean_mps >= windows.mean_mps[chosen].max() - margin_mps
    return near


def _plainly_faster(early: FloatArray, settled: FloatArray) -> bool:
    one, other = estimate(early, smallest=0.0), estimate(settled, smallest=0.0)
    return one is not None and other is not None and one.value > other.high


def _opposite_ways(motion: Motion, windows: Windows) -> tuple[tuple[BoolArray, ...], str]:
    """Return which windows make up each of two opposite runs, or none and why.

    Of all pairs of opposite windows it is the one with the highest mean; with each of both go all
    windows that are opposite to the other. The fastest window of all need not be of it: a course
    told from one second of a weak log may be off, and what is opposite to it a crawl. Derivation:
    top_speed (9).
    """
    usable = np.flatnonzero(windows.usable)
    mean = windows.mean_mps
    order = usable[np.argsort(-mean[usable], kind="stable")]
    # A run is a pull: what is slower than half the best is a turn or a crawl.
    order = order[mean[order] > 0.5 * mean[order[0]]]
    ways: tuple[BoolArray, ...] = ()
    best = 0.0
    for first in order[:: max(1, len(order) // _TRIED)]:
        if mean[first] + mean[order[0]] <= best:
            break
        back = _opposite_to(windows, int(first))
        found = order[back[order]]
        if len(found) and mean[first] + mean[found[0]] > best:
            best = mean[first] + mean[found[0]]
            ways = _opposite_to(windows, int(found[0])), back
    if not ways:
        return (), "the ride holds no two fast runs in opposite directions"
    if any(_top_is_lost(motion, windows, way) for way in ways):
        return (), "one of the opposite runs was fastest where the log cannot be trusted"
    return ways, ""


def _opposite_to(windows: Windows, chosen: int) -> BoolArray:
    """Return which windows lead the opposite way of a chosen one, at most an hour from it."""
    away = windows.course_rad - windows.course_rad[chosen]
    opposite = np.cos(away) <= -np.cos(OPPOSITE_WITHIN_RAD)
    soon = np.abs(windows.start_s - windows.start_s[chosen]) <= LONGEST_BETWEEN_S
    both: BoolArray = opposite & soon
    return both


def _fastest(windows: Windows, counted: BoolArray) -> int:
    return int(np.argmax(np.where(counted, windows.mean_mps, -1.0)))


def _runs(
    windows: Windows, ways: Sequence[BoolArray], speeds: Sequence[Estimate | None]
) -> tuple[OppositeRun, ...]:
    """Return the runs whose speed is known, from the windows that count, in order of time."""
    runs: list[OppositeRun] = []
    for way, speed in zip(ways, speeds, strict=True):
        if speed is None:
            continue
        best = _fastest(windows, way)
        start = float(windows.start_s[best])
        course = float(np.degrees(windows.course_rad[best]) % 360.0)
        runs.append(OppositeRun(start, start + windows.length_s, course, speed))
    return tuple(sorted(runs, key=lambda run: run.start_s))


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
