"""Rolling and air resistance per mass, from spans on which the machine rolled freely."""

from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from ridelog.analysis.braking.corners import coasting_limit_mps2, joined_runs, smoothed
from ridelog.analysis.fitted import FittedPath, along_speed, fitted_paths, usable_between
from ridelog.core.crossings import cumulative_trapezoid
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate, even_normals
from ridelog.core.spans import Span, inside_spans
from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.filtering.motion import Motion

# Air of a usual small machine with its rider, 0.5 · 1.2041 kg/m³ · 0.45 m² / (55 + 50) kg, the
# centres of the ranges that ``ridelog.machine.priors`` gives with their source, its standard
# deviation as a share, and that of the smallest (0.18 m² of Cossalter's range, 300 kg). [1/m]
USUAL_AIR_PM, _AIR_SHARE, _LEAST_AIR_PM = 0.00258, 0.45, 0.00036
# Shuffles what is spread evenly over the draws.
_SEED = 20240608
# Pull of the slope that may lie against the wind unseen: coast-downs ask for a road level to
# 0.5 % (SAE J1263, from memory), taken as two standard deviations. [m/s²]
_SLOPE_SD_MPS2 = 0.0025 * STANDARD_GRAVITY_MPS2


@dataclass(frozen=True)
class CoastedSpeeds:
    """Speeds over one span of free rolling, on an even grid (m,), a column for each path (m, k).

    ``side`` is the cosine between the direction of travel and the ride's main direction.
    """

    time_s: FloatArray
    speed_mps: FloatArray
    side: float


@dataclass(frozen=True)
class ResistanceFit:
    """Deceleration a + b v + c v² of free rolling: a in m/s², b in 1/s, c in 1/m; shape (k,).

    ``misfit_mps`` is how far the speeds of the fitted path stray from it, root mean square.
    """

    a_mps2: FloatArray
    b_ps: FloatArray
    c_pm: FloatArray
    misfit_mps: float

    def decel_mps2(self, speed_mps: FloatArray | float) -> FloatArray:
        """Return the deceleration at a speed, or at speeds (m, k), on every column. [m/s²]"""
        return self.a_mps2 + self.b_ps * speed_mps + self.c_pm * speed_mps**2


def fit_resistance(coasts: tuple[CoastedSpeeds, ...], *, linear: bool) -> ResistanceFit:
    """Return the resistance that explains the speeds best, for every column.

    The coasts, all with the same number of columns, go in opposite directions, which tell slope and
    wind from the resistance. Unless ``linear``, b is 0 and not fitted, as in 40 CFR 86.529-98.

    Source
    ------
    Model: 40 CFR 1066.210 and 1066.310, F = A + B v + C v². The fit is an own derivation.
    """
    columns = coasts[0].speed_mps.shape[1]
    count = 4 + linear
    square = np.zeros((columns, count, count))
    right = np.zeros((columns, count))
    fitted: list[tuple[FloatArray, FloatArray]] = []
    for one in coasts:
        time_s = (one.time_s - one.time_s[0])[:, None]
        first = cumulative_trapezoid(time_s, one.speed_mps)
        second = cumulative_trapezoid(time_s, one.speed_mps**2)
        since = np.broadcast_to(time_s, first.shape)
        parts = [since, second, *([first] if linear else []), one.side * since, one.side * first]
        basis = np.stack(parts, axis=2)
        # Each coast begins at a speed of its own, which taking off the means leaves out.
        basis = basis - basis.mean(axis=0)
        fallen = one.speed_mps.mean(axis=0) - one.speed_mps
        basis = np.swapaxes(basis, 0, 1)
        square += np.swapaxes(basis, 1, 2) @ basis
        right += np.einsum("kmp,mk->kp", basis, fallen)
        fitted.append((basis[0], fallen[:, 0]))
    # Units differ by powers of the speed; scaled, the normal equations keep their digits.
    scale = np.sqrt(np.maximum(np.einsum("kpp->kp", square), 1e-30))
    square = square / (scale[:, :, None] * scale[:, None, :])
    solved = np.linalg.solve(
        square + 1e-12 * np.eye(count), (right / scale)[:, :, None]
    )[:, :, 0] / scale  # fmt: skip
    left = np.concatenate([fallen - basis @ solved[0] for basis, fallen in fitted])
    misfit_mps = float(np.sqrt(np.mean(left**2)))
    air = solved[:, 1]
    middle = float(np.mean(np.concatenate([one.speed_mps[:, 0] for one in coasts])))
    rolling = solved[:, 0] - wind_square(solved[:, -2], solved[:, -1], air, middle)
    return ResistanceFit(rolling, solved[:, 2] if linear else np.zeros(columns), air, misfit_mps)


def wind_square(
    slope_mps2: FloatArray, wind_ps: FloatArray, air_pm: FloatArray, speed_mps: float
) -> FloatArray:
    """Return what wind along the course adds to the mean of both directions, on every column.

    Air speed is v + side w, so c w² stays in the mean of both directions. e = 2 c w shows the wind,
    but a short coast leaves e and c open, though not how far the directions differ at its middle,
    d + e v, which is known best at the mean speed of the coasts: any share of that may be wind.
    Both sayings are weighed by their variances. d, e and c have the shape (k,). The first columns
    have the mean, the last half (the cautious draws) its spread too. [m/s²]

    Source
    ------
    Own derivation: METHOD.md of coasting, (3) to (5).
    """
    draws = (len(wind_ps) - 1) // 2
    apart = abs(float(slope_mps2[0] + wind_ps[0] * speed_mps)) / speed_mps
    # A share even between none and all has the mean 1 / 2 and the variance 1 / 12.
    likely = np.copysign(0.5 * apart, slope_mps2[0] + wind_ps[0] * speed_mps)
    wind, wind_sd = _weighed(
        float(wind_ps[0]),
        _sd(wind_ps, draws),
        float(likely),
        float(np.sqrt(apart**2 / 12.0 + (_SLOPE_SD_MPS2 / speed_mps) ** 2)),
    )
    air, air_sd = _weighed(
        float(air_pm[0]), _sd(air_pm, draws), USUAL_AIR_PM, _AIR_SHARE * USUAL_AIR_PM
    )
    air = max(air, _LEAST_AIR_PM)
    # Mean and variance of the square of a normal variable.
    mean = (wind**2 + wind_sd**2) / (4.0 * air)
    spread = np.sqrt(4.0 * wind**2 * wind_sd**2 + 2.0 * wind_sd**4) / (4.0 * air)
    columns = np.full(len(wind_ps), mean)
    if draws:
        columns[-draws:] += np.hypot(spread, mean * air_sd / air) * even_normals(draws, _SEED)
    return columns


def _sd(columns: FloatArray, draws: int) -> float:
    return float(np.std(columns[-draws:])) if draws else 0.0


def _weighed(one: float, one_sd: float, other: float, other_sd: float) -> tuple[float, float]:
    """Return the mean of two sayings by their variances, with its standard deviation."""
    share = one_sd**2 / (one_sd**2 + other_sd**2)
    return one + share * (other - one), float(np.sqrt(share)) * other_sd


# Hard level road with good tyres still takes 0.008 of the weight (Marks' handbook, after Moyer):
# what slows down less than three quarters of that is driven, or rolls downhill.
_LEAST_DECEL_MPS2 = 0.06
# A coast lasts at least this long and loses at least this much speed, from above walking pace;
# common practice, no source. 40 CFR 1066.310 asks for 16 runs, 8 each way, of heavier vehicles.
_LEAST_S, _LEAST_DROP_MPS, _LEAST_DROP_SD, _FROM_MPS = 3.0, 1.0, 6.0, 2.0
# Decelerations are means over this long or so many intervals between fixes. Own choice: rolling
# slows ten times less than braking and needs a longer mean; longer still, short coasts are lost.
_WIDTH_S, _WIDTH_INTERVALS = 1.0, 2.0
# The throttle closes and the brake bites at the ends, so this much of them is left out (0.5 s: own
# choice). A smoothed acceleration rounds a corner over as many intervals to either side as
# differences it takes, one of reported speeds or two of positions: so early may a coast begin, so
# long is it rounded after, which gives the intervals (derived).
_TRIM_S, _TRIM_INTERVALS = 0.5, {"reported": 2.0, "positions": 4.0}
# A bend drags on its own: what turns faster than this is left out. Own choice: 33 m of radius at
# 5 m/s, three times what a hand leaves on a straight; tighter bends drag unseen. [rad/s]
_STRAIGHT_RADPS = 0.15
# Opposite within 45 degrees of the main direction: own choice, beyond that slope and wind across
# the way count for more than along it.
_OPPOSITE = 0.7
# Free rolling strays from the model by the error of the speed and by gusts; beyond this, or this
# many standard deviations of the speed, somebody drove. Common practice, no source.
_STRAY_MPS, _STRAY_SD = 0.08, 2.0
# b and c are told apart if each is known to this share of the whole at the middle speed. Own
# choice: laxer names coefficients that are mostly noise, stricter names none.
_TOLD_APART = 0.3
# Own choice: the speed of a coast bends so little that finer steps move nothing that is told.
_SPACING_S = 0.1
# Own choice: the fit is known in between too; more points only draw the same curve.
_CURVE_POINTS = 13


@dataclass(frozen=True)
class Coast:
    """One span of free rolling; course clockwise from north, deceleration its mean over time."""

    start_s: float
    end_s: float
    from_mps: float
    to_mps: float
    course_deg: float
    decel_mps2: Estimate


@dataclass(frozen=True)
class ResistanceAt:
    """Resistance per mass at one speed."""

    speed_mps: float
    decel_mps2: Estimate | None


@dataclass(frozen=True)
class CoastDown:
    """What free rolling tells of a machine, per mass (machine, rider, rotating parts).

    coasts : spans of free rolling, in time order.
    rolling_mps2, linear_ps, air_pm : a, b, c of a + b v + c v². ``linear_ps`` is None if the coasts
        cannot tell it from ``air_pm``; the other two then hold if it is 0. All are None without
        coasts in opposite directions.
    curve : resistance at speeds that the coasts cover in both directions.
    reason : what is missing and why.
    fit, named_fit : on every column of ``Paths``, behind ``curve`` and behind the coefficients (the
        same if a, b and c are told apart, else that without b); None without one.
    """

    coasts: tuple[Coast, ...]
    rolling_mps2: Estimate | None = None
    linear_ps: Estimate | None = None
    air_pm: Estimate | None = None
    curve: tuple[ResistanceAt, ...] = ()
    reason: str = ""
    fit: ResistanceFit | None = field(default=None, repr=False)
    named_fit: ResistanceFit | None = field(default=None, repr=False)

    def at(self, speed_mps: float) -> Estimate | None:
        """Return the resistance per mass at a speed inside the covered range, else None. [m/s²]"""
        if self.fit is None:
            return None
        if not self.curve[0].speed_mps <= speed_mps <= self.curve[-1].speed_mps:
            return None
        return estimate(self.fit.decel_mps2(speed_mps))


def measure_coast_down(motion: Motion, *, excluded: tuple[Span, ...] = ()) -> CoastDown:
    """Return the resistance of a machine from the spans on which it rolled freely.

    A log cannot show the throttle: a rider who eases off slowly looks like a machine with more
    resistance, which is why the result names the spans.
    """
    sd = motion.usual_speed_sd_mps
    coasts: list[Coast] = []
    speeds: list[CoastedSpeeds] = []
    for path in fitted_paths(motion):
        for start_s, end_s in _spans(path, motion, sd, excluded):
            if not usable_between(motion, start_s, end_s):
                continue
            paths = motion.paths(start_s, end_s, spacing_s=_SPACING_S)
            speed = along_speed(paths)
            decel = estimate((speed[0] - speed[-1]) / (paths.time_s[-1] - paths.time_s[0]))
            if decel is None:
                continue
            east_m, north_m = paths.position_m[-1, :, 0] - paths.position_m[0, :, 0]
            course_deg = float(np.degrees(np.arctan2(east_m, north_m) % (2.0 * np.pi)))
            coasts.append(
                Coast(start_s, end_s, float(speed[0, 0]), float(speed[-1, 0]), course_deg, decel)
            )
            speeds.append(CoastedSpeeds(paths.time_s, speed, 0.0))
    if not coasts:
        return CoastDown((), reason="the machine rolls freely nowhere for three seconds")
    return _fitted(tuple(coasts), speeds, max(_STRAY_MPS, _STRAY_SD * sd))


def _fitted(coasts: tuple[Coast, ...], speeds: list[CoastedSpeeds], stray_mps: float) -> CoastDown:
    course_rad = np.radians([coast.course_deg for coast in coasts])
    weight = np.array([coast.end_s - coast.start_s for coast in coasts])
    # The main direction of runs there and back: the mean of doubled angles.
    axis = 0.5 * np.angle(np.sum(weight * np.exp(2j * course_rad)))
    side = np.cos(course_rad - axis)
    nothing = partial(CoastDown, coasts)
    if not (side.max() > _OPPOSITE and side.min() < -_OPPOSITE):
        return nothing(
            reason="the machine rolls freely in one direction only, so slope and wind are in it"
        )
    sided = tuple(
        replace(one, side=float(cosine)) for one, cosine in zip(speeds, side, strict=True)
    )
    low, high = _covered(coasts, side)
    if high - low < 0.5:
        return nothing(reason="the two directions share no range of speeds")
    full = fit_resistance(sided, linear=True)
    if full.misfit_mps > stray_mps:
        return nothing(
            reason="the stretches contradict each other, so the throttle was not shut on all"
        )
    middle = 0.5 * (low + high)
    named, linear, reason = full, estimate(full.b_ps), ""
    if not _told_apart(linear, estimate(full.c_pm), estimate(full.decel_mps2(middle)), middle):
        named, linear = fit_resistance(sided, linear=False), None
        # As 40 CFR 86.529-98 has it.
        reason = (
            "the stretches cannot tell what grows with speed from what grows with its square; "
            "rolling and air hold if all of it grows with the square"
        )
    return CoastDown(
        coasts=coasts,
        rolling_mps2=estimate(named.a_mps2),
        linear_ps=linear,
        air_pm=estimate(named.c_pm),
        curve=tuple(
            ResistanceAt(float(v), estimate(full.decel_mps2(float(v))))
            for v in np.linspace(low, high, _CURVE_POINTS)
        ),
        reason=reason,
        fit=full,
        named_fit=named,
    )


def _covered(coasts: tuple[Coast, ...], side: FloatArray) -> tuple[float, float]:
    """Return the range of speeds rolled through in both directions. [m/s]"""
    there = [coast for coast, cosine in zip(coasts, side, strict=True) if cosine > 0.0]
    back = [coast for coast, cosine in zip(coasts, side, strict=True) if cosine < 0.0]
    low = max(min(coast.to_mps for coast in one) for one in (there, back))
    high = min(max(coast.from_mps for coast in one) for one in (there, back))
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


def _spans(
    path: FittedPath, motion: Motion, sd_mps: float, excluded: tuple[Span, ...]
) -> list[Span]:
    """Return where the machine slows down no harder than free rolling may and is not turning."""
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
    inside &= ~inside_spans(path.time_s, excluded)
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
