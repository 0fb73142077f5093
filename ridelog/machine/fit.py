"""From rides to possible machines: a sample of the posterior, by annealing the prior's sample."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from ridelog.core.interval import systematic
from ridelog.core.track import FloatArray
from ridelog.filtering.standing_start.paths import OPENING_SHARES
from ridelog.machine.calibration_data import CalibrationData, TimedStart
from ridelog.machine.drive import Drive, top_speed
from ridelog.machine.priors import COUNT, LONGEST_HAND_S, UNKNOWNS, Said, draw, machines_of
from ridelog.machine.setup import MachineSetup
from ridelog.machine.standing import launch_time_s
from ridelog.machine.strip import MODEL_MPS2, Known, Strip, side_of, strips_of

# Possible machines that are carried; 5 % quantiles of as many are known to 0.7 %.
MACHINES = 1000
# Moves of every machine at each step of the annealing, and after it: own choice, more part the
# machines further from those they were copied from and cost time. With 12, what 2 in 1000 machines
# do was done by 1 to 7 in 100 in one fit of seven.
_MOVES, _LAST_MOVES = 24, 40
# What tops of one state differ by from day to day beyond slope and wind, share of the speed.
# Common practice, no source; METHOD.md, (10).
_DAY_TOP = 0.007
# A rider may never have held full throttle: then the top speed seen is only a lower bound.
# Own choices: how often, and the share of the speed by which machines then exceed it.
_HELD_BACK = 0.05
_HELD_BACK_SCALE = 0.3

# Steepness of the pull is taken over this much either side: own choice. Student's t of machine (7).
_SLOPE_STEP_MPS, _FREEDOM = 0.15, 4.0
# How nearly an opening costs half of itself, alike in all starts of a machine: own choice, a third
# of what it hides. [s]
_HALF_S = 0.03
# Independent refreshing: each unknown with this chance, by up to all of its prior. Own
# choice: more at once are seldom taken, fewer leave wide what the rides leave open less well.
_REFRESHED = 0.15


@dataclass(frozen=True)
class Fitted:
    """Possible machines, equally likely, after what the rides told.

    z : shape (n, COUNT), see ``priors``. drive : the machines. rides : names of the rides used.
    learnt : for each of UNKNOWNS, the spread of its logarithm now as a share of that before.
    strips : slope and winds of each strip that the rides were on. log_evidence : logarithm of how
    likely the rides were under set-up and ranges, up to what all set-ups share; 0 without rides.
    """

    setup: MachineSetup
    z: FloatArray
    drive: Drive
    rides: tuple[str, ...]
    learnt: dict[str, float]
    strips: tuple["FittedStrip", ...] = ()
    log_evidence: float = 0.0


@dataclass(frozen=True)
class FittedStrip:
    """Slope and wind of one strip, a value for each possible machine.

    axis_rad : direction in which ``slope`` rises and against which ``winds_mps`` blow, clockwise
        from north. slope : rise over run, (n,). winds_mps : of each ride, (rides, n). both_ways :
        whether starts or tops of both directions were seen.
    """

    rides: tuple[str, ...]
    axis_rad: float
    slope: FloatArray
    winds_mps: FloatArray
    both_ways: bool


def from_setup(setup: MachineSetup, count: int = 2 * MACHINES, said: Said | None = None) -> Fitted:
    """Return the possible machines of a set-up alone."""
    z = draw(count)
    return Fitted(setup, z, machines_of(setup, z, said), (), {u.name: 1.0 for u in UNKNOWNS})


def fit(
    setup: MachineSetup,
    rides: Sequence[CalibrationData],
    count: int = MACHINES,
    said: Said | None = None,
) -> Fitted:
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
    strips = [Strip(group) for group in strips_of([ride for ride in rides if _tells(ride)])]
    if not strips:
        return from_setup(setup, said=said)
    rng = np.random.default_rng(2)

    def log_likelihood(z: FloatArray) -> FloatArray:
        total = _log_likelihood(machines_of(setup, z, said), strips)[0]
        return np.where(np.isfinite(total), total, -1e12)

    z = draw(count)
    before = _spreads(machines_of(setup, z, said))
    log_l = log_likelihood(z)
    let_in = log_evidence = 0.0
    while let_in < 1.0:
        step = _next_step(log_l, 1.0 - let_in)
        weight = np.exp(step * (log_l - log_l.max()))
        log_evidence += step * float(log_l.max()) + float(np.log(weight.mean()))
        let_in = 1.0 if step >= 1.0 - let_in else let_in + step
        kept = systematic(weight, len(weight), rng)
        z, log_l = z[kept], log_l[kept]
        moves = _LAST_MOVES if let_in >= 1.0 else _MOVES
        z, log_l = _moved(z, log_l, let_in, moves, log_likelihood, rng)
    drive = machines_of(setup, z, said)
    after = _spreads(drive)
    known = _log_likelihood(drive, strips)[1]
    return Fitted(
        setup, z, drive, tuple(ride.name for ride in rides),
        {u.name: float(after[i] / max(before[i], 1e-12)) for i, u in enumerate(UNKNOWNS)},
        tuple(_fitted_strip(strip, one, rng) for strip, one in zip(strips, known, strict=True)),
        log_evidence,
    )  # fmt: skip


def _tells(ride: CalibrationData) -> bool:
    return bool(ride.pull or ride.coasting or ride.near_top or ride.top_mps or ride.starts)


def _fitted_strip(strip: Strip, known: Known, rng: np.random.Generator) -> FittedStrip:
    root = np.linalg.cholesky(known.covariance + 1e-12 * np.eye(strip.count))
    normal = rng.standard_normal(known.mean.shape)
    drawn = known.mean + np.einsum("nqp,np->nq", root, normal)
    first = strip.rides[0]
    ways = {
        side_of(ride, first) * way
        for ride in strip.rides
        for way in [
            *(ride.pull.ways if ride.pull else ()), *(one.way for one in ride.near_top)
        ]
    }  # fmt: skip
    sine = np.clip(drawn[:, 0], -0.5, 0.5)
    return FittedStrip(
        tuple(ride.name for ride in strip.rides), first.axis_rad,
        sine / np.sqrt(1.0 - sine**2), drawn[:, strip.winds].T,
        {1.0, -1.0} <= ways or ways == {0.0},
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
    for number in range(moves):
        if number % 3 == 2:
            # Some unknowns drawn anew, wholly or in part: what the rides leave open stays wide.
            part = rng.random((len(z), 1))
            chosen = rng.random(z.shape) < _REFRESHED
            anew = np.sqrt(1.0 - part**2) * z + part * rng.standard_normal(z.shape)
            tried = np.where(chosen, anew, z)
            tried_l = log_likelihood(tried)
            gain = let_in * (tried_l - log_l)
        else:
            # Steps of very different lengths, so that ridges and wide valleys are both walked.
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


def _log_likelihood(drive: Drive, strips: Sequence[Strip]) -> tuple[FloatArray, list[Known]]:
    """Return the log likelihood of each machine, and what it makes of each strip."""
    total = np.zeros(len(drive.mass_kg))
    timed: list[tuple[TimedStart, Drive]] = []
    found = []
    for strip in strips:
        seen, known = strip.seen(drive)
        total += seen
        for number, ride in enumerate(strip.rides):
            if ride.near_top:
                reached, known = _near_top(drive, strip, known, number)
                total += reached
            elif ride.top_mps is not None:
                total += _top(drive, *ride.top_mps)
        for number, ride in enumerate(strip.rides):
            timed += [(one, strip.ridden(drive, known, number, one.way)) for one in ride.starts]
        found.append(known)
    if timed:
        total += _starts(timed)
    return total, found


def _near_top(drive: Drive, strip: Strip, known: Known, number: int) -> tuple[FloatArray, Known]:
    """Return the likelihood of the last seconds at the top, and slope and wind after them.

    Seen and modelled acceleration differ by what slope and wind do in that direction, which pulls
    and roll-outs have told, and by the errors of speed and trend; a day may be odd. The mean of
    both speeds alone would be too low wherever another limit takes over in one direction, and a
    run that had not settled would be taken for a slower machine. METHOD.md, (7).
    """
    ends = strip.rides[number].near_top
    at = np.array([end.speed_mps for end in ends])
    count = len(at)
    day = _DAY_TOP * float(at.mean())
    nodes = np.concatenate([at, at - _SLOPE_STEP_MPS, at + _SLOPE_STEP_MPS])
    pull = drive.pull_mps2(nodes)
    steep = np.maximum(
        (pull[:, count : 2 * count] - pull[:, 2 * count :]) / (2.0 * _SLOPE_STEP_MPS), 0.01
    )
    push, along = strip.push(drive, known, number, ends)
    miss = pull[:, :count] - np.array([end.accel_mps2 for end in ends]) - push
    own = np.array([end.accel_sd_mps2**2 + MODEL_MPS2**2 for end in ends])
    own = own + (steep * np.array([end.speed_sd_mps for end in ends])) ** 2
    noise = own[:, :, None] * np.eye(count) + day**2 * steep[:, :, None] * steep[:, None, :]
    whole = noise + np.einsum("nkq,nqp,nlp->nkl", along, known.covariance, along)
    chi = np.einsum("nk,nk->n", miss, np.linalg.solve(whole, miss[:, :, None])[:, :, 0])
    reached = (
        np.log(steep).sum(axis=1)
        - 0.5 * (_FREEDOM + count) * np.log1p(chi / _FREEDOM)
        - 0.5 * np.linalg.slogdet(whole)[1]
    )
    speed = np.nan_to_num(top_speed(drive)[0], nan=0.0)
    beyond = np.maximum(speed / float(at.mean()) - 1.0, 0.0) / _HELD_BACK_SCALE
    # Held back: each speed may be anything below the top, over as wide a range as that.
    slower = np.where(miss.mean(axis=1) > 0.0, -beyond, -np.inf)
    slower = slower - count * np.log(_HELD_BACK_SCALE * float(at.mean()) / np.sqrt(2.0 * np.pi))
    better = (reached > slower + np.log(_HELD_BACK))[:, None, None]
    after = known.updated(along, miss, np.where(better, noise, 1e6 * np.eye(count)))
    return _either(reached, slower), after


def _either(reached: FloatArray, slower: FloatArray) -> FloatArray:
    """Return the likelihood of a top speed that was reached, or held back from."""
    return np.asarray(np.logaddexp(np.log(1.0 - _HELD_BACK) + reached, np.log(_HELD_BACK) + slower))


def _top(drive: Drive, top_mps: float, sd_mps: float) -> FloatArray:
    whole_sd = float(np.hypot(sd_mps, _DAY_TOP * top_mps))
    speed = np.nan_to_num(top_speed(drive)[0], nan=0.0)
    miss = (speed - top_mps) / whole_sd
    reached = -0.5 * miss**2 - np.log(whole_sd)
    beyond = np.maximum(speed / top_mps - 1.0, 0.0) / _HELD_BACK_SCALE
    held_back = np.where(miss > 0.0, -beyond, reached) - np.log(_HELD_BACK_SCALE * top_mps)
    return _either(reached, held_back)


def _starts(timed: Sequence[tuple[TimedStart, Drive]]) -> FloatArray:
    """Return the likelihood of the timed starts of all rides, each with the machines of its ride.

    They tell the pull and whether a ramp opens the throttle, but not how long that takes:
    METHOD.md, (31).
    """
    own = np.diag([one.time_sd_s**2 for one, _ in timed])
    precision = np.linalg.inv(own + _HALF_S**2)
    miss = np.stack([launch_time_s(there, one.speed_mps) - one.time_s for one, there in timed])
    ramps = float(np.mean([one.ramps for one, _ in timed]))
    hand, ramp = np.log(np.maximum(np.array([1.0 - ramps, ramps]), 1e-3) / OPENING_SHARES)
    how = np.where(timed[0][1].opening_s > LONGEST_HAND_S, ramp, hand)
    return np.asarray(how - 0.5 * np.sum(miss * (precision @ miss), axis=0))
