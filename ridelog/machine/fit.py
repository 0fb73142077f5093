"""From rides to possible machines: a sample of the posterior, by annealing the prior's sample."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import solve_triangular

from ridelog.core.interval import systematic
from ridelog.core.track import FloatArray
from ridelog.filtering.standing_start.paths import UNSEEN_START_S
from ridelog.machine.calibration_data import CalibrationData, NearTop
from ridelog.machine.drive import Drive, launch_time_s, top_speed
from ridelog.machine.passages import Curve
from ridelog.machine.priors import COUNT, UNKNOWNS, draw, machines_of
from ridelog.machine.setup import MachineSetup

# Possible machines that are carried; 5 % quantiles of as many are known to 0.7 %.
MACHINES = 1000
# Moves of every machine at each step of the annealing, and after it.
_MOVES, _LAST_MOVES = 12, 40
# What rides of one state differ by beyond the receiver's errors (charge, wind left over, ground),
# and what the model cannot follow. Common practice, no source; METHOD.md, (8).
_DAY_GAIN, _DAY_MPS2, _DAY_TOP = 0.012, 0.015, 0.007
_MODEL_GAIN, _MODEL_MPS2 = 0.015, 0.012
# A rider may never have held full throttle: then the top speed seen is only a lower bound.
_HELD_BACK = 0.05
_HELD_BACK_SCALE = 0.3

# Acceleration by which wind and slope part two directions, usually: 2 m/s of wind and 0.5 % of
# slope; common practice, no source. Steepness of the pull is taken over this much either side.
_ODD_MPS2, _SLOPE_STEP_MPS, _FREEDOM = 0.08, 0.15, 4.0

Likelihood = Callable[[Drive], FloatArray]


@dataclass(frozen=True)
class Fitted:
    """Possible machines, equally likely, after what the rides told.

    z : shape (n, COUNT), see ``priors``. drive : the machines. rides : names of the rides used.
    learnt : for each of UNKNOWNS, the spread of its logarithm now as a share of that before.
    """

    setup: MachineSetup
    z: FloatArray
    drive: Drive
    rides: tuple[str, ...]
    learnt: dict[str, float]


def from_setup(setup: MachineSetup, count: int = 2 * MACHINES) -> Fitted:
    """Return the possible machines of a set-up alone."""
    z = draw(count)
    return Fitted(setup, z, machines_of(setup, z), (), {u.name: 1.0 for u in UNKNOWNS})


def fit(setup: MachineSetup, rides: Sequence[CalibrationData], count: int = MACHINES) -> Fitted:
    """Return the possible machines of a set-up after some rides.

    Annealed importance sampling with resampling: the likelihood is let in by degrees, each step as
    large as keeps half of the sample's weight, and after each step every machine is moved by
    random walks that leave the present distribution unchanged.

    Rides are taken as independent; ``count`` machines are carried.

    Source
    ------
    P. Del Moral, A. Doucet, A. Jasra, Sequential Monte Carlo samplers, J. R. Stat. Soc. B 68
    (2006) 411-436 (from memory); random walk of 2.38/sqrt(d) times the sample's spread: Roberts
    and Rosenthal, Statistical Science 16 (2001) 351-367 (from memory).
    """
    terms = [term for ride in rides for term in _terms(ride)]
    starts = [ride.start for ride in rides if ride.start is not None]
    terms += [_starts_term(starts)] if starts else []
    if not terms:
        return from_setup(setup)
    rng = np.random.default_rng(2)

    def log_likelihood(z: FloatArray) -> FloatArray:
        drive = machines_of(setup, z)
        total = np.zeros(len(z))
        for term in terms:
            total += term(drive)
        return np.where(np.isfinite(total), total, -1e12)

    z = draw(count)
    before = _spreads(machines_of(setup, z))
    log_l = log_likelihood(z)
    let_in = 0.0
    while let_in < 1.0:
        step = _next_step(log_l, 1.0 - let_in)
        weight = np.exp(step * (log_l - log_l.max()))
        let_in = 1.0 if step >= 1.0 - let_in else let_in + step
        kept = systematic(weight, len(weight), rng)
        z, log_l = z[kept], log_l[kept]
        moves = _LAST_MOVES if let_in >= 1.0 else _MOVES
        z, log_l = _moved(z, log_l, let_in, moves, log_likelihood, rng)
    drive = machines_of(setup, z)
    after = _spreads(drive)
    return Fitted(
        setup, z, drive, tuple(ride.name for ride in rides),
        {u.name: float(after[i] / max(before[i], 1e-12)) for i, u in enumerate(UNKNOWNS)},
    )  # fmt: skip


def _moved(
    z: FloatArray,
    log_l: FloatArray,
    let_in: float,
    moves: int,
    log_likelihood: Callable[[FloatArray], FloatArray],
    rng: np.random.Generator,
) -> tuple[FloatArray, FloatArray]:
    spread = np.linalg.cholesky(np.cov(z, rowvar=False) + 1e-9 * np.eye(COUNT))
    scale = 2.38 / np.sqrt(COUNT)
    for _ in range(moves):
        # Steps of very different lengths, so that ridges and wide valleys are both walked along.
        length = scale * np.exp(rng.normal(-0.4, 0.7, size=(len(z), 1)))
        tried = z + length * (rng.standard_normal(z.shape) @ spread.T)
        tried_l = log_likelihood(tried)
        gain = let_in * (tried_l - log_l) - 0.5 * (np.sum(tried**2, 1) - np.sum(z**2, 1))
        taken = np.log(rng.random(len(z))) < gain
        z = np.where(taken[:, None], tried, z)
        log_l = np.where(taken, tried_l, log_l)
    return z, log_l


def _next_step(log_l: FloatArray, rest: float) -> float:
    """Return how much of the likelihood can be let in while half of the sample counts."""

    def counting(step: float) -> float:
        weight = np.exp(step * (log_l - log_l.max()))
        return float(weight.sum() ** 2 / np.sum(weight**2) / len(weight))

    if counting(rest) > 0.5:
        return rest
    low, high = 0.0, rest
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if counting(middle) > 0.5 else (low, middle)
    return max(low, 1e-12)


def _spreads(drive: Drive) -> FloatArray:
    """Return the spread of the logarithm of each unknown over the possible machines."""
    return np.array([np.std(np.log(np.maximum(u.of(drive), 1e-9))) for u in UNKNOWNS])


def _terms(ride: CalibrationData) -> list[Likelihood]:
    terms: list[Likelihood] = []
    if ride.pull is not None:
        terms.append(_curve_term(ride.pull, lambda d, v: d.pull_mps2(v)))
    if ride.coasting is not None:
        terms.append(_curve_term(ride.coasting, lambda d, v: d.coasting_mps2(v)))
    if ride.near_top:
        terms.append(_near_top_term(ride.near_top))
    elif ride.top_mps is not None:
        terms.append(_top_term(*ride.top_mps))
    return terms


def _curve_term(curve: Curve, of: Callable[[Drive, FloatArray], FloatArray]) -> Likelihood:
    seen = curve.accel_mps2
    one = np.ones_like(seen)
    covariance = (
        curve.covariance
        + _DAY_MPS2**2 * np.outer(one, one)
        + _DAY_GAIN**2 * np.outer(seen, seen)
        + np.diag((_MODEL_GAIN * seen) ** 2 + _MODEL_MPS2**2)
    )
    root = np.linalg.cholesky(covariance)

    def term(drive: Drive) -> FloatArray:
        miss = solve_triangular(root, (seen - of(drive, curve.speed_mps)).T, lower=True)
        return np.asarray(-0.5 * np.sum(miss**2, axis=0))

    return term


def _near_top_term(ends: Sequence[NearTop]) -> Likelihood:
    """Return the likelihood of the last seconds at the top, of one or two opposite directions.

    What helps in one direction, wind or slope, holds back in the other by as much: seen minus
    modelled acceleration is +f in one and -f in the other, so that their sum vanishes. With f
    normal about nothing and the speeds' errors normal, f is integrated out on straight pieces of
    the pull: own derivation, METHOD.md, (7). The mean of both
    speeds alone would be too low wherever another limit takes over in one direction, and a run that
    had not settled would be taken for a slower machine.
    """
    at = np.array([end.speed_mps for end in ends])
    count = len(at)
    seen = np.array([end.accel_mps2 for end in ends])
    accel_var = np.array([end.accel_sd_mps2**2 + _MODEL_MPS2**2 for end in ends])
    speed_sd = np.array([end.speed_sd_mps for end in ends])
    nodes = np.concatenate([at, at - _SLOPE_STEP_MPS, at + _SLOPE_STEP_MPS])
    day = _DAY_TOP * float(at.mean())

    def term(drive: Drive) -> FloatArray:
        pull = drive.pull_mps2(nodes)
        steep = np.maximum(
            (pull[:, count : 2 * count] - pull[:, 2 * count :]) / (2.0 * _SLOPE_STEP_MPS), 0.01
        )
        miss = pull[:, :count] - seen
        middle = miss.mean(axis=1)
        variance = np.sum((steep * speed_sd) ** 2 + accel_var, axis=1) / count**2
        variance += (steep.mean(axis=1) * day) ** 2
        reached = np.log(steep).sum(axis=1)
        if count == 2:
            odd = 0.5 * (miss[:, 0] - miss[:, 1])
            reached = reached + _log_student(odd / _ODD_MPS2) - np.log(_ODD_MPS2)
        else:
            variance += _ODD_MPS2**2
        reached = reached + _log_student(middle / np.sqrt(variance)) - 0.5 * np.log(variance)
        speed, _ = top_speed(drive)
        beyond = np.maximum(speed / float(at.mean()) - 1.0, 0.0) / _HELD_BACK_SCALE
        # Held back: each speed may be anything below the top, over as wide a range as that.
        slower = np.where(middle > 0.0, -beyond, -np.inf)
        slower = slower - count * np.log(_HELD_BACK_SCALE * float(at.mean()) / np.sqrt(2.0 * np.pi))
        return _either(reached, slower)

    return term


def _log_student(deviation: FloatArray) -> FloatArray:
    """Return the logarithm of Student's t density, bar a constant: one odd day may be far off."""
    return -0.5 * (_FREEDOM + 1.0) * np.log1p(deviation**2 / _FREEDOM)


def _either(reached: FloatArray, slower: FloatArray) -> FloatArray:
    """Return the likelihood of a top speed that was reached, or held back from."""
    return np.asarray(np.logaddexp(np.log(1.0 - _HELD_BACK) + reached, np.log(_HELD_BACK) + slower))


def _top_term(top_mps: float, sd_mps: float) -> Likelihood:
    whole_sd = float(np.hypot(sd_mps, _DAY_TOP * top_mps))

    def term(drive: Drive) -> FloatArray:
        speed, _ = top_speed(drive)
        miss = (np.nan_to_num(speed, nan=0.0) - top_mps) / whole_sd
        reached = -0.5 * miss**2 - np.log(whole_sd)
        beyond = np.maximum(speed / top_mps - 1.0, 0.0) / _HELD_BACK_SCALE
        held_back = np.where(miss > 0.0, -beyond, reached) - np.log(_HELD_BACK_SCALE * top_mps)
        return _either(reached, held_back)

    return term


def _starts_term(starts: Sequence[tuple[float, float, float]]) -> Likelihood:
    """Return the likelihood of the timed starts of all rides.

    What is too gentle to be seen at the start is alike in every start of one machine (the same
    throttle, the same controller), so it does not average out over starts or rides.
    """
    speed_mps, time_s, sd_s = np.array(starts).T
    precision = np.linalg.inv(np.diag(sd_s**2) + UNSEEN_START_S**2)
    # Rides are timed to the same speed, and a start is the costly part.
    speeds, ride = np.unique(speed_mps, return_inverse=True)

    def term(drive: Drive) -> FloatArray:
        times = np.stack([launch_time_s(drive, speed) for speed in speeds])
        miss = times[ride] - time_s[:, None]
        return np.asarray(-0.5 * np.sum(miss * (precision @ miss), axis=0))

    return term
