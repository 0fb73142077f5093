"""Coasting: rolling and air resistance per mass, from stretches on which the machine rolled out."""

from dataclasses import dataclass, field

import numpy as np

from ridelog.analysis.braking.measure import measure_brakings
from ridelog.analysis.braking.slowing import coasting_limit_mps2, joined_runs, smoothed
from ridelog.analysis.coasting.resistance import CoastedSpeeds, Resistance, fit_resistance
from ridelog.analysis.fitted import FittedPath, along_speed, fitted_paths, usable_between
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate
from ridelog.core.spans import Span
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion

# Hard level road with good tyres still takes 0.008 of the weight (Marks' Standard Handbook,
# Moyer): what slows down less than three quarters of that is driven, or rolls downhill.
_LEAST_DECEL_MPS2 = 0.06
# A stretch lasts at least this long and loses at least this much speed, from above walking pace;
# common practice, no source. 40 CFR 1066.310 asks for 16 runs, 8 each way, of heavier vehicles.
_LEAST_S, _LEAST_DROP_MPS, _LEAST_DROP_SD, _FROM_MPS = 3.0, 1.0, 6.0, 2.0
# Decelerations are means over this long or so many intervals between fixes.
_WIDTH_S, _WIDTH_INTERVALS = 1.0, 2.0
# The throttle closes and the brake bites at the ends, so this much of them is left out. A smoothed
# acceleration rounds a corner over as many intervals to either side as differences it takes, one
# of reported speeds or two of positions: so early may a stretch begin, so long is it rounded after.
_TRIM_S, _TRIM_INTERVALS = 0.5, {"reported": 2.0, "positions": 4.0}
# A bend drags on its own: what turns faster than this is left out. [rad/s]
_STRAIGHT_RADPS = 0.15
# Opposite within 45 degrees of the main direction.
_OPPOSITE = 0.7
# Free rolling strays from the model by the error of the speed and by gusts; beyond this, or this
# many standard deviations of the speed, somebody drove. Common practice, no source.
_STRAY_MPS, _STRAY_SD = 0.08, 2.0
# b and c are told apart if each is known to this share of the whole at the middle speed.
_TOLD_APART = 0.3
_SPACING_S = 0.1
_CURVE_POINTS = 13


@dataclass(frozen=True)
class Coast:
    """One stretch of free rolling; course clockwise from north, decel its mean over time."""

    start_s: float
    end_s: float
    from_mps: float
    to_mps: float
    course_rad: float
    decel: Estimate


@dataclass(frozen=True)
class Coasting:
    """What rolling out tells of a machine, per mass (machine, rider, rotating parts).

    Attributes
    ----------
    each : stretches of free rolling, in time order.
    speed_mps, decel : resistance per mass at speeds (k,) that the stretches cover. [m/s²]
    rolling, linear, air : a, b, c of a + b v + c v². [m/s²], [1/s], [1/m]. ``linear`` is None if
        the stretches cannot tell it from ``air``; the other two then hold if it is 0. All are
        None without stretches in opposite directions.
    columns : the fit on every column of ``Paths`` behind ``decel``; None without a fit.
    named_columns : the fit behind ``rolling``, ``linear`` and ``air``: the same if they are told
        apart, else the one without ``linear``.
    both_ways : whether opposite directions take slope and wind out.
    reason : what is missing and why.
    """

    each: tuple[Coast, ...]
    speed_mps: FloatArray
    decel: tuple[Estimate | None, ...]
    rolling: Estimate | None
    linear: Estimate | None
    air: Estimate | None
    columns: Resistance | None = field(repr=False)
    named_columns: Resistance | None = field(repr=False)
    both_ways: bool
    reason: str = ""

    def at(self, speed_mps: float) -> Estimate | None:
        """Return the resistance per mass at a speed inside the covered range, else None. [m/s²]"""
        if self.columns is None or not len(self.speed_mps):
            return None
        if not self.speed_mps[0] <= speed_mps <= self.speed_mps[-1]:
            return None
        return estimate(self.columns.decel_mps2(speed_mps))


def measure_coasting(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> Coasting:
    """Return the resistance of a machine from the stretches on which it rolled out.

    A log cannot show the throttle: a rider who eases off slowly looks like a machine that rolls
    out with more resistance, which is why the result names the stretches.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    excluded : tuple of (start_s, end_s)
        Stretches that may not take part, such as reverse travel.
    """
    braked = tuple((b.start_s, b.end_s) for b in measure_brakings(motion).each)
    return coasting_between(motion, excluded=(*excluded, *braked))


def coasting_between(motion: Motion, *, excluded: tuple[Span, ...]) -> Coasting:
    """Return the same where the brakings are known and among ``excluded`` already."""
    sd = motion.usual_speed_sd_mps
    each: list[Coast] = []
    speeds: list[CoastedSpeeds] = []
    for path in fitted_paths(motion):
        for start_s, end_s in _stretches(path, motion, sd, excluded):
            if not usable_between(motion, start_s, end_s):
                continue
            paths = motion.paths(start_s, end_s, spacing_s=_SPACING_S)
            speed = along_speed(paths)
            decel = estimate((speed[0] - speed[-1]) / (paths.time_s[-1] - paths.time_s[0]))
            if decel is None:
                continue
            way = paths.position_m[-1, :, 0] - paths.position_m[0, :, 0]
            course = float(np.arctan2(way[0], way[1]) % (2.0 * np.pi))
            each.append(
                Coast(start_s, end_s, float(speed[0, 0]), float(speed[-1, 0]), course, decel)
            )
            speeds.append(CoastedSpeeds(paths.time_s, speed, 0.0))
    if not each:
        return _nothing((), "the machine rolls out freely nowhere for three seconds")
    return _resistance(tuple(each), speeds, max(_STRAY_MPS, _STRAY_SD * sd))


def _resistance(each: tuple[Coast, ...], speeds: list[CoastedSpeeds], stray_mps: float) -> Coasting:
    course = np.array([coast.course_rad for coast in each])
    weight = np.array([coast.end_s - coast.start_s for coast in each])
    # The main direction of runs there and back: the mean of doubled angles.
    axis = 0.5 * np.angle(np.sum(weight * np.exp(2j * course)))
    side = np.cos(course - axis)
    if not (side.max() > _OPPOSITE and side.min() < -_OPPOSITE):
        return _nothing(
            each, "the machine rolls out in one direction only, so slope and wind are in the figure"
        )
    sided = tuple(
        CoastedSpeeds(one.time_s, one.speed_mps, float(s))
        for one, s in zip(speeds, side, strict=True)
    )
    low, high = _covered(each, side)
    if high - low < 0.5:
        return _nothing(each, "the two directions share no range of speeds")
    full = fit_resistance(sided, linear=True, both_ways=True)
    if full.misfit_mps > stray_mps:
        return _nothing(
            each,
            "the stretches contradict each other, so not all of them were rolled out with the "
            "throttle shut",
        )
    middle = 0.5 * (low + high)
    named, linear = full, estimate(full.b_ps)
    whole = estimate(full.decel_mps2(middle))
    reason = ""
    if not _told_apart(linear, estimate(full.c_pm), whole, middle):
        named, linear = fit_resistance(sided, linear=False, both_ways=True), None
        reason = (
            "the stretches cannot tell a resistance that grows with speed from one that grows "
            "with its square; rolling and air hold if there is none of the first kind, as in "
            "40 CFR 86.529-98"
        )
    grid = np.linspace(low, high, _CURVE_POINTS)
    return Coasting(
        each=each,
        speed_mps=grid,
        decel=tuple(estimate(full.decel_mps2(float(v))) for v in grid),
        rolling=estimate(named.a_mps2),
        linear=linear,
        air=estimate(named.c_pm),
        columns=full,
        named_columns=named,
        both_ways=True,
        reason=reason,
    )


def _covered(each: tuple[Coast, ...], side: FloatArray) -> tuple[float, float]:
    """Return the range of speeds rolled through in both directions. [m/s]"""
    ways = [[c for c, s in zip(each, side, strict=True) if s * sign > 0.0] for sign in (1.0, -1.0)]
    low = max(min(c.to_mps for c in way) for way in ways)
    high = min(max(c.from_mps for c in way) for way in ways)
    return low, high


def _told_apart(
    linear: Estimate | None, air: Estimate | None, whole: Estimate | None, middle_mps: float
) -> bool:
    if linear is None or air is None or whole is None or whole.value <= 0.0:
        return False
    share = _TOLD_APART * whole.value
    return (
        0.5 * (linear.high - linear.low) * middle_mps < share
        and 0.5 * (air.high - air.low) * middle_mps**2 < share
    )


def _nothing(each: tuple[Coast, ...], reason: str) -> Coasting:
    return Coasting(each, np.zeros(0), (), None, None, None, None, None, False, reason)


def _stretches(
    path: FittedPath, motion: Motion, sd_mps: float, excluded: tuple[Span, ...]
) -> list[Span]:
    """Return where the machine slows down no harder than rolling out and is not turning."""
    interval = 1.0 / motion.rate_hz
    spacing = float(path.time_s[1] - path.time_s[0])
    width_s = max(_WIDTH_S, _WIDTH_INTERVALS * interval)
    width = max(1, round(width_s / spacing))
    decel = -smoothed(path.accel_mps2, width)
    decel_sd = np.sqrt(2.0) * sd_mps / width_s
    inside = decel > max(_LEAST_DECEL_MPS2, decel_sd)
    inside &= decel < coasting_limit_mps2(path.speed_mps) + decel_sd
    inside &= np.abs(smoothed(path.yaw_rate_radps, width)) < _STRAIGHT_RADPS
    inside &= path.speed_mps > 1.0
    for first_s, last_s in excluded:
        inside &= (path.time_s < first_s) | (path.time_s > last_s)
    trim = max(_TRIM_S, _TRIM_INTERVALS[motion.speed_source] * interval)
    drop = max(_LEAST_DROP_MPS, _LEAST_DROP_SD * sd_mps)
    found: list[Span] = []
    for first, stop in joined_runs(inside, path.time_s, spacing):
        begin = int(np.searchsorted(path.time_s, path.time_s[first] + trim))
        end = int(np.searchsorted(path.time_s, path.time_s[stop - 1] - trim, side="right")) - 1
        if end <= begin or path.time_s[end] - path.time_s[begin] < _LEAST_S:
            continue
        if path.speed_mps[begin] < _FROM_MPS:
            continue
        if path.speed_mps[begin] - path.speed_mps[end] < drop:
            continue
        found.append((float(path.time_s[begin]), float(path.time_s[end])))
    return found
