"""What the filter hands on: the motion of a ride, and paths drawn from what is known of it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np

from ridelog.core.crossings import cumulative_trapezoid
from ridelog.core.errors import NotEnoughDataError
from ridelog.core.flags import UNUSABLE, Flag
from ridelog.core.track import BoolArray, FlagArray, FloatArray, IntArray, Track
from ridelog.filtering.noise import (
    DRIFT_PRIOR_MPS,
    SLOW_PRIOR_MPS,
    NoiseScales,
    ObservedInstants,
)

# Draws of either kind behind every interval: a standard deviation is then known to 6 %, derived:
# 1 / sqrt(2 n). Own choice: time and memory grow with their number.
DRAWS = 150


# A quantity of paths, or what makes it when it is first asked for: most figures need one of them.
Quantity = FloatArray | Callable[[], FloatArray]


class Paths:
    """Possible motions over one gap-free span, on an even grid of instants.

    Column 0 is the fitted path; the others are the fitted path plus errors drawn from the joint
    posterior, slow receiver errors included: ``draws`` columns of the sharp posterior, which show
    how far choosing a maximum biases a figure, then ``draws`` columns of the cautious posterior,
    whose spread is the spread of the figure's error. Compute a figure for every column and hand
    all of them to ``ridelog.core.interval.estimate``; never take quantiles by hand.

    Attributes
    ----------
    time_s : shape (m,). [s]
    position_m, velocity_mps, acceleration_mps2 : shape (m, 2, 1 + 2 draws), axis 1 is
        east, north.
    """

    def __init__(
        self,
        time_s: FloatArray,
        position_m: Quantity,
        velocity_mps: Quantity,
        acceleration_mps2: Quantity,
    ) -> None:
        self.time_s = time_s
        self._position_m = position_m
        self._velocity_mps = velocity_mps
        self._acceleration_mps2 = acceleration_mps2

    @cached_property
    def position_m(self) -> FloatArray:
        """Position. [m]"""
        return _made(self._position_m)

    @cached_property
    def velocity_mps(self) -> FloatArray:
        """Velocity. [m/s]"""
        return _made(self._velocity_mps)

    @cached_property
    def acceleration_mps2(self) -> FloatArray:
        """Acceleration. [m/s²]"""
        return _made(self._acceleration_mps2)

    @cached_property
    def speed_mps(self) -> FloatArray:
        """Speed over ground, shape (m, 1 + 2 draws). [m/s]."""
        east, north = self.velocity_mps[:, 0], self.velocity_mps[:, 1]
        # Quicker than the hypotenuse that guards against overflow.
        speed: FloatArray = np.sqrt(east * east + north * north)
        return speed

    @cached_property
    def turned_rad(self) -> FloatArray:
        """Change of course to the next instant, clockwise, shape (m - 1, 1 + 2 draws). [rad]."""
        east, north = self.velocity_mps[:, 0], self.velocity_mps[:, 1]
        cross = east[1:] * north[:-1] - north[1:] * east[:-1]
        along = east[1:] * east[:-1] + north[1:] * north[:-1]
        turned: FloatArray = np.arctan2(cross, along)
        return turned

    @cached_property
    def distance_m(self) -> FloatArray:
        """Path length since the first instant, shape (m, 1 + 2 draws). [m]."""
        return cumulative_trapezoid(self.time_s, self.speed_mps)

    @property
    def tangential_accel_mps2(self) -> FloatArray:
        """Rate of change of speed, shape (m, 1 + 2 draws); 0 where the speed is 0. [m/s²]."""
        speed = self.speed_mps
        along: FloatArray = np.einsum("mad,mad->md", self.velocity_mps, self.acceleration_mps2)
        still = speed <= 1e-9
        accel: FloatArray = np.where(still, 0.0, along / np.where(still, 1.0, speed))
        return accel


def _made(quantity: Quantity) -> FloatArray:
    return quantity() if callable(quantity) else quantity


class PathSource(Protocol):
    """Whatever can draw paths of a ride; the filter's posterior is one."""

    def paths(self, start_s: float, end_s: float, draws: int, spacing_s: float) -> Paths:
        """Return paths between two times inside one piece."""
        ...


@dataclass(frozen=True)
class Piece:
    """One gap-free span of the ride."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class NoiseSummary:
    """What was learnt or assumed about this ride's receiver, one standard deviation per axis.

    ``position_walk_m`` is what a position walks by itself in a second; ``lag_s`` how far the
    reported velocity ran behind, before it was moved; ``trusts`` how far the pattern of the
    accuracies that the receiver states of positions and of speeds was believed, 0 to 1, None where
    it states none.
    """

    position_white_m: float
    speed_white_mps: float | None
    drift_mps: float
    slow_speed_mps: float | None
    position_walk_m: float = 0.0
    lag_s: float = 0.0
    learnt: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    trusts: tuple[float | None, float | None] = (None, None)

    @property
    def words(self) -> str:
        """Return what was learnt, for the history."""
        words = f"position noise {self.position_white_m:.2f} m"
        if self.speed_white_mps is not None and self.slow_speed_mps is not None:
            words += (
                f", reported speed noise {self.speed_white_mps:.3f} m/s and slow error "
                f"{self.slow_speed_mps:.3f} m/s (prior {SLOW_PRIOR_MPS:g})"
            )
        words += f", position drift {self.drift_mps:.3f} m/s"
        for what, trust in zip(("positions", "speeds"), self.trusts, strict=True):
            if trust is not None:
                words += f", the receiver's own accuracies of {what} believed by {trust:.0%}"
        return words


@dataclass(frozen=True)
class Motion:
    """The smoothed motion of one ride.

    Arrays of shape (n,) have one entry per row of the track, in file order, NaN where nothing can
    be said (unusable fix, or a piece too short to estimate).

    Attributes
    ----------
    track : Track
    flags : uint32, the track's flags with the filter's added.
    used : bool, rows that took part in the estimate.
    east_m, north_m : position about ``origin_deg`` = (latitude, longitude). [m]
    velocity_east_mps, velocity_north_mps, speed_mps, speed_sd_mps, accel_mps2 (rate of change of
    speed), accel_sd_mps2, yaw_rate_radps (clockwise positive, as course), course_rad.
    pieces : gap-free spans on which motion is estimated, in time order.
    gaps : (start_s, end_s) of interruptions inside the log.
    settled_s : time from which the receiver had settled; NaN if it never did.
    settling_factor : how many times noisier it was before (reported speed, or position where none
        is reported); NaN if not known.
    speed_source : "reported" or "positions".
    doubts : what keeps a log from being good, whatever its noise: parts of sentences.
    """

    track: Track
    flags: FlagArray
    used: BoolArray
    origin_deg: tuple[float, float]
    east_m: FloatArray
    north_m: FloatArray
    velocity_east_mps: FloatArray
    velocity_north_mps: FloatArray
    speed_mps: FloatArray
    speed_sd_mps: FloatArray
    accel_mps2: FloatArray
    accel_sd_mps2: FloatArray
    yaw_rate_radps: FloatArray
    course_rad: FloatArray
    pieces: tuple[Piece, ...]
    gaps: tuple[tuple[float, float], ...]
    settled_s: float
    settling_factor: float
    rate_hz: float
    speed_source: str
    noise: NoiseSummary
    history: tuple[str, ...]
    warnings: tuple[str, ...]
    posterior: PathSource = field(repr=False)
    doubts: tuple[str, ...] = ()

    @cached_property
    def known_rows(self) -> IntArray:
        """Rows that took part and have a speed, in order of time; found once."""
        return self._known[0]

    @cached_property
    def _known(self) -> tuple[IntArray, FloatArray]:
        rows = self.in_order(self.used & np.isfinite(self.speed_mps))
        return rows, self.track.time_s[rows]

    @cached_property
    def _reported(self) -> tuple[IntArray, FloatArray]:
        usable = (self.track.flags & np.uint32(UNUSABLE)) == 0
        rows = self.in_order(usable & np.isfinite(self.track.speed_mps))
        return rows, self.track.time_s[rows]

    def in_order(self, chosen: BoolArray) -> IntArray:
        """Return the chosen rows in order of time."""
        rows = np.flatnonzero(chosen)
        return rows[np.argsort(self.track.time_s[rows], kind="stable")]

    def known_between(self, start_s: float, end_s: float) -> IntArray:
        """Return the known rows from one time to another, both included."""
        return _between(*self._known, start_s, end_s)

    def reported_between(self, start_s: float, end_s: float) -> IntArray:
        """Return the usable rows with a reported speed from one time to another."""
        return _between(*self._reported, start_s, end_s)

    @cached_property
    def usual_speed_sd_mps(self) -> float:
        """Usual uncertainty of the speed while the machine moves. [m/s]"""
        known = self.used & np.isfinite(self.speed_sd_mps)
        moving = known & ((self.flags & np.uint32(Flag.STANDSTILL)) == 0)
        if not known.any():
            return 0.0
        return float(np.median(self.speed_sd_mps[moving if moving.any() else known]))

    def paths(
        self, start_s: float, end_s: float, *, draws: int = DRAWS, spacing_s: float = 0.05
    ) -> Paths:
        """Return the fitted path and drawn paths over a span inside one piece.

        The same call on the same ride gives the same digits. The span is clipped to the piece
        that holds its middle.

        Raises
        ------
        NotEnoughDataError
            If no piece holds the span's middle.
        """
        middle = 0.5 * (start_s + end_s)
        for piece in self.pieces:
            if piece.start_s <= middle <= piece.end_s:
                return self.posterior.paths(
                    max(start_s, piece.start_s), min(end_s, piece.end_s), draws, spacing_s
                )
        raise NotEnoughDataError(
            f"{self.track.source.file}: nothing is known of the motion at {middle:.1f} s.",
            "choose a stretch that the log covers without a gap.",
        )


def _between(rows: IntArray, time_s: FloatArray, start_s: float, end_s: float) -> IntArray:
    return rows[np.searchsorted(time_s, start_s) : np.searchsorted(time_s, end_s, side="right")]


_LEARNT_OF_REPORTED = ("position noise", "position walk", "speed noise", "position drift",
                       "slow speed error")  # fmt: skip


def noise_summary(scales: NoiseScales, reported: bool, observed: ObservedInstants) -> NoiseSummary:
    """Return what was learnt or assumed of a receiver; ``reported`` is whether it tells a speed."""
    trusts = (
        scales.position_trust.value if observed.factor_stated else None,
        scales.speed_trust.value if observed.speed_stated else None,
    )
    if reported:
        return NoiseSummary(
            scales.position_sd_m,
            scales.speed_sd_mps,
            scales.drift_sd_mps,
            scales.slow_sd_mps,
            # As the filter takes it: receiver (11).
            max(scales.walk_m, scales.speed_sd_mps * observed.shared_s**0.5),
            learnt=_LEARNT_OF_REPORTED,
            trusts=trusts,
        )
    return NoiseSummary(
        scales.position_sd_m,
        None,
        scales.drift_sd_mps,
        None,
        scales.walk_m,
        learnt=("position noise", "position walk"),
        assumed=(
            "positions alone cannot show their own slow drift; "
            f"{DRIFT_PRIOR_MPS:.3g} m/s is assumed",
        ),
        trusts=trusts,
    )
