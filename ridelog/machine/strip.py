"""The strip of the rides: its slope, wind and weather, unknown as the mass is.

On a slope of sine s in a wind w against the one direction, the acceleration at a speed v is

    a(v) - d g s / j - (C / M)(2 d v w + w²)

with d = 1 in that direction and -1 in the other, j what rotating parts add. It is linear in s and
w but for the small w², and in what the day makes of rolling and air, so all are integrated out for
every possible machine at once, and what is left of them is known as a normal distribution:
METHOD.md, (8), (9) and (26). Both directions together tell slope and wind.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag, solve_triangular

from ridelog.core.estimate import QUANTILE
from ridelog.core.track import BoolArray, FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.machine.calibration_data import CalibrationData, NearTop
from ridelog.machine.drive import Drive, in_wind, on_day, on_slope
from ridelog.machine.passages import Curve

# What a strip may rise by and a wind blow before anything is known: test strips should be level to
# 0.5 or 1 % (SAE J1263, eKFV annex 1.1), but where people ride some rise by 6 %, which nine in ten
# are within; winds of tests go up to 4.5 m/s (16 km/h, SAE J1263).
_SLOPE_SD, _WIND_SD_MPS = 0.06 / QUANTILE, 2.0
# Shares by which the day moves rolling and air drag, within 10 K of the usual on two of three days:
# tyres roll lighter by 0.8 % a kelvin (ISO 28580, from memory), and their pressure moves it by as
# much; air thins as an ideal gas, 1 K of 293, its pressure moves it by 1 %. A cold day does both at
# once: METHOD.md, (26).
_BY_KELVINS, _BY_PRESSURE = np.array([0.08, 10.0 / 293.0]), np.array([0.08, 0.01])
_DAY = np.outer(_BY_KELVINS, _BY_KELVINS) + np.diag(_BY_PRESSURE**2)
# What pulls of one state differ by from day to day beyond that (charge, gusts), and what the model
# cannot follow. Common practice, no source; METHOD.md, (10).
_DAY_GAIN = 0.012
MODEL_GAIN, MODEL_MPS2 = 0.015, 0.012
# Degree of the curve that smooths rates before their errors are taken: own choice, it bends as
# often as a limit of current hands over to one of power, and then to none.
_ORDER = 3
# The pull is worked out at so many speeds and read between them on straight lines. Own
# choice: more cost time.
_NODES = 49
# Where one direction pulls so much less than the other, the throttle may have been held back in it
# (this often) and the pull be anything, by an offset and by a share of it. Own choice.
_ODD_RATIO, _HELD_BACK, _OFFSET_MPS2 = 0.6, 0.2, 1.0
# Rides as near as this and along one line were on the same strip: own choices, the angle the same
# as in a comparison.
_SAME_PLACE_M, _SAME_LINE = 1000.0, float(np.cos(np.radians(20.0)))
# Derived: a degree of a sphere of 6371 km.
_METRES_PER_DEGREE = 111_195.0


def strips_of(rides: Sequence[CalibrationData]) -> list[list[CalibrationData]]:
    """Return the rides in groups, one a strip, in order."""
    groups: list[list[CalibrationData]] = []
    for ride in rides:
        home = next((group for group in groups if _same_strip(group[0], ride)), None)
        if home is None:
            groups.append([ride])
        else:
            home.append(ride)
    return groups


def _same_strip(one: CalibrationData, other: CalibrationData) -> bool:
    if one.place_deg is None or other.place_deg is None:
        return False
    north = (one.place_deg[0] - other.place_deg[0]) * _METRES_PER_DEGREE
    east = (one.place_deg[1] - other.place_deg[1]) * _METRES_PER_DEGREE
    east *= float(np.cos(np.radians(one.place_deg[0])))
    alike = abs(float(np.cos(one.axis_rad - other.axis_rad))) > _SAME_LINE
    return float(np.hypot(north, east)) < _SAME_PLACE_M and alike


def side_of(ride: CalibrationData, first: CalibrationData) -> float:
    """Return 1 where the ride counts its directions as the first of its strip does, else -1."""
    return 1.0 if np.cos(ride.axis_rad - first.axis_rad) >= 0.0 else -1.0


@dataclass(frozen=True)
class Known:
    """Slope, winds and day of a strip after what was seen of each of n machines.

    mean : (n, 3 + rides): the sine of the slope, the winds, and the shares by which tyres roll
    heavier and air is denser than usual. covariance : (n, 3 + rides, 3 + rides).
    """

    mean: FloatArray
    covariance: FloatArray

    def updated(self, along: FloatArray, miss: FloatArray, noise: FloatArray) -> "Known":
        """Return what is known after ``miss`` (n, k) = along (n, k, q) x + noise (n, k, k)."""
        turned = np.einsum("nqp,nkp->nqk", self.covariance, along)
        inner = np.einsum("nkq,nql->nkl", along, turned) + noise
        gain = np.swapaxes(np.linalg.solve(inner, np.swapaxes(turned, 1, 2)), 1, 2)
        return Known(
            self.mean + np.einsum("nqk,nk->nq", gain, miss),
            self.covariance - np.einsum("nqk,npk->nqp", gain, turned),
        )


class Strip:
    """The pulls and roll-outs of the rides on one strip, against possible machines."""

    def __init__(self, rides: Sequence[CalibrationData]) -> None:
        self.rides = tuple(rides)
        self.count = 3 + len(rides)
        # Where the winds stand among the unknowns.
        self.winds = slice(1, 1 + len(rides))
        curves = [
            (number, curve, side_of(ride, rides[0]), driven)
            for number, ride in enumerate(rides)
            for curve, driven in ((ride.pull, True), (ride.coasting, False))
            if curve is not None
        ]
        self._speeds = [curve.speed_mps for _, curve, _, driven in curves if driven]
        top = max((float(speed[-1]) for speed in map(np.sort, self._speeds)), default=1.0)
        self.nodes = np.linspace(0.0, top, _NODES)
        self._root: FloatArray = np.zeros((0, 0))
        if not curves:
            return
        whole = block_diag(*(_covariance(curve) for _, curve, _, _ in curves))
        self._root = np.asarray(np.linalg.cholesky(whole), dtype=np.float64)
        speed = np.concatenate([curve.speed_mps for _, curve, _, _ in curves])
        way = np.concatenate([side * curve.ways for _, curve, side, _ in curves])
        driven = np.concatenate([np.full(len(c.speed_mps), d) for _, c, _, d in curves])
        ride = np.concatenate([np.full(len(c.speed_mps), number) for number, c, _, _ in curves])
        seen = np.concatenate([c.accel_mps2 if d else -c.accel_mps2 for _, c, _, d in curves])
        self._seen = self._whitened(seen[:, None])
        # Pull at the nodes, and what resists by powers of the speed, of roll-outs alone.
        between = np.stack([np.interp(speed, self.nodes, one) for one in np.eye(_NODES)], axis=1)
        powers = np.stack([np.ones_like(speed), speed, speed**2], axis=1)
        self._matrix = self._whitened(
            np.concatenate([between * driven[:, None], -powers * ~driven[:, None]], axis=1)
        )
        winds = [-2.0 * way * speed * (ride == number) for number in range(len(rides))]
        day = [-np.ones_like(speed), -(speed**2)]
        self._odd = self._whitened(np.stack([-way, *winds, *day], axis=1))
        both = [-np.abs(way) * (ride == number) for number in range(len(rides))]
        self._squares = self._whitened(np.stack(both, axis=1))
        self._weak = self._weaker(speed, way, driven, seen)

    def _whitened(self, columns: FloatArray) -> FloatArray:
        return np.asarray(solve_triangular(self._root, columns, lower=True))

    def _weaker(
        self, speed: FloatArray, way: FloatArray, driven: BoolArray, seen: FloatArray
    ) -> FloatArray | None:
        """Return the columns of a direction that may have been held back, None if there is none."""
        parts = [driven & (way * side > 0.0) for side in (1.0, -1.0)]
        if not all(part.any() for part in parts):
            return None
        low = max(float(speed[part].min()) for part in parts)
        high = min(float(speed[part].max()) for part in parts)
        shared = [part & (speed >= low) & (speed <= high) for part in parts]
        if not all(part.any() for part in shared):
            return None
        strength = [float(seen[part].mean()) for part in shared]
        if min(strength) > _ODD_RATIO * max(strength):
            return None
        weak = parts[int(np.argmin(strength))]
        free = np.stack([weak * _OFFSET_MPS2, weak * seen], axis=1)
        return self._whitened(free)

    def seen(self, drive: Drive) -> tuple[FloatArray, Known]:
        """Return the log likelihood of each machine, (n,), and what it makes of slope and wind."""
        count = len(drive.mass_kg)
        strip = np.diag([_SLOPE_SD**-2.0, *[_WIND_SD_MPS**-2.0] * len(self.rides)])
        prior = block_diag(strip, np.linalg.inv(_DAY))
        inverse = np.broadcast_to(prior, (count, self.count, self.count))
        if not len(self._root):
            return np.zeros(count), Known(
                np.zeros((count, self.count)), np.asarray(np.linalg.inv(inverse), dtype=np.float64)
            )
        per_mass = 1.0 / (drive.mass_kg * drive.inertia_factor)
        load = drive.rolling_out
        resisting = np.stack([load.a_n, load.b_nspm, load.c_ns2pm2]) * per_mass
        model = np.concatenate([drive.pull_mps2(self.nodes).T, resisting])
        miss = self._seen - self._matrix @ model
        plain = self._integrated(drive, miss, inverse, None)
        if self._weak is None:
            return plain
        held = self._integrated(drive, miss, inverse, self._weak)
        odds = np.log(_HELD_BACK) + held[0] - np.log1p(-_HELD_BACK) - plain[0]
        likely = odds > 0.0
        return np.log(1.0 - _HELD_BACK) + plain[0] + np.logaddexp(0.0, odds), Known(
            np.where(likely[:, None], held[1].mean, plain[1].mean),
            np.where(likely[:, None, None], held[1].covariance, plain[1].covariance),
        )

    def _integrated(
        self, drive: Drive, miss: FloatArray, inverse: FloatArray, free: FloatArray | None
    ) -> tuple[FloatArray, Known]:
        """Return the likelihood with slope, winds and free columns integrated out."""
        if free is not None:
            # Free columns with a spread of one: another whitening, alike for all machines.
            inner = np.linalg.cholesky(np.eye(free.shape[1]) + free.T @ free)
            told = solve_triangular(inner, free.T, lower=True)
            cost = float(np.log(np.diag(inner)).sum())
        else:
            told, cost = np.zeros((0, len(miss))), 0.0

        def product(one: FloatArray, other: FloatArray) -> FloatArray:
            return np.asarray(one.T @ other - (told @ one).T @ (told @ other))

        scale = self.scales(drive)
        odd_odd = product(self._odd, self._odd)[None] * scale[:, :, None] * scale[:, None, :]
        odd_miss = product(self._odd, miss).T * scale
        precision = odd_odd + inverse
        drag = scale[:, self.winds]
        odd_square = product(self._odd, self._squares)[None] * scale[:, :, None] * drag[:, None, :]
        whole = np.sum(miss**2, axis=0) - np.sum((told @ miss) ** 2, axis=0)
        mean = np.linalg.solve(precision, odd_miss[:, :, None])[:, :, 0]
        # The square of the wind, from the wind just found.
        square = mean[:, self.winds] ** 2
        square_miss = product(self._squares, miss).T * drag
        square_square = product(self._squares, self._squares)[None]
        square_square = square_square * drag[:, :, None] * drag[:, None, :]
        whole = whole - 2.0 * np.sum(square * square_miss, axis=1)
        whole = whole + np.einsum("nr,nrs,ns->n", square, square_square, square)
        odd_miss = odd_miss - np.einsum("nqr,nr->nq", odd_square, square)
        covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
        mean = np.einsum("nqp,np->nq", covariance, odd_miss)
        chi = whole - np.sum(mean * odd_miss, axis=1)
        size = np.linalg.slogdet(precision)[1] - np.linalg.slogdet(inverse)[1]
        return -0.5 * chi - 0.5 * size - cost, Known(mean, covariance)

    def scales(self, drive: Drive) -> FloatArray:
        """Return what a unit of each unknown does, of winds per metre a second, (n, 3 + rides)."""
        slope = STANDARD_GRAVITY_MPS2 / drive.inertia_factor
        wind = drive.load.c_ns2pm2 / (drive.mass_kg * drive.inertia_factor)
        return np.stack([slope, *[wind] * len(self.rides), slope * drive.rolling, wind], axis=1)

    def ridden(self, drive: Drive, known: Known, number: int, way: float) -> Drive:
        """Return the machines as one ride had them in a direction: on its slope, wind and day."""
        way *= side_of(self.rides[number], self.rides[0])
        sine = np.clip(way * known.mean[:, 0], -0.5, 0.5)
        there = on_day(drive, known.mean[:, -2], known.mean[:, -1])
        return on_slope(
            in_wind(there, way * known.mean[:, 1 + number]), sine / np.sqrt(1.0 - sine**2)
        )

    def push(
        self, drive: Drive, known: Known, number: int, ends: Sequence[NearTop]
    ) -> tuple[FloatArray, FloatArray]:
        """Return how slope, wind and day hold back at the speeds of some ends of a ride.

        The means (n, k) and their derivatives by the unknowns (n, k, 3 + rides). [m/s²]
        """
        scale = self.scales(drive)
        side = side_of(self.rides[number], self.rides[0])
        along = np.zeros((len(scale), len(ends), self.count))
        for place, end in enumerate(ends):
            way = side * end.way
            along[:, place, 0] = way * scale[:, 0]
            along[:, place, 1 + number] = 2.0 * way * end.speed_mps * scale[:, 1 + number]
            along[:, place, -2] = scale[:, -2]
            along[:, place, -1] = end.speed_mps**2 * scale[:, -1]
        square = scale[:, 1 + number] * known.mean[:, 1 + number] ** 2
        return np.einsum("nkq,nq->nk", along, known.mean) + square[:, None], along


def _covariance(curve: Curve) -> FloatArray:
    """Return the covariance of a curve's errors, taken at its smoothed rates, (k, k)."""
    smooth = _smoothed(curve)
    # A rate is speed over time: an error of that time moves it by its square.
    scale = (smooth / np.maximum(curve.accel_mps2, MODEL_MPS2)) ** 2
    covariance: FloatArray = (
        curve.covariance * np.outer(scale, scale)
        + _DAY_GAIN**2 * np.outer(smooth, smooth)
        + np.diag((MODEL_GAIN * smooth) ** 2 + MODEL_MPS2**2)
    )
    return covariance


def _smoothed(curve: Curve) -> FloatArray:
    """Return rates by a curve of their logarithm over speed in each direction: METHOD.md, (10)."""
    smooth = np.array(curve.accel_mps2)
    for way in np.unique(curve.ways):
        part = curve.ways == way
        speed = curve.speed_mps[part]
        rate = np.log(np.maximum(curve.accel_mps2[part], MODEL_MPS2))
        # At least two readings for each coefficient: fewer would follow their errors.
        order = min(_ORDER, (len(rate) - 1) // 2)
        smooth[part] = np.exp(np.polyval(np.polyfit(speed, rate, order), speed))
    return smooth
