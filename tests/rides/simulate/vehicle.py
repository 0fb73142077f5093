"""Rides laid out piece by piece: stands, pulls, holds, coasting, braking, turns, reverse.

Lengthwise motion is a list of closed forms over time; steering is a curvature over the way of
each piece, so that the radius of a turn does not depend on how fast it is ridden.
"""

from dataclasses import dataclass, field

import numpy as np

from ridelog.core.track import FloatArray
from simulate.machine import Machine, Surroundings
from simulate.profiles import (
    FreeMotion,
    Piece,
    change,
    grid,
    ramp,
    release,
    towards_limit,
    towards_steady,
)
from simulate.truth import STEP_S, Span, Truth, running_integral

# Share of a turn's way over which the steering is put on, and again taken off.
_STEERING_SHARE = 0.25
# Lines in the spectrum of one wobble; enough for the sum to look irregular for minutes.
_LINES = 7


@dataclass(frozen=True)
class Wobble:
    """A narrow-band yaw rate whose strength depends on speed.

    Attributes
    ----------
    rms_radps : yaw-rate RMS at full strength. [rad/s]
    low_hz, high_hz : edges of its band. [Hz]
    onset_mps : speed below which there is none. [m/s]
    growth_mps : how far above the onset it reaches full strength. [m/s]
    """

    rms_radps: float
    low_hz: float
    high_hz: float
    onset_mps: float = 0.3
    growth_mps: float = 1.0

    def yaw_rate_radps(
        self, time_s: FloatArray, speed_mps: FloatArray, rng: np.random.Generator
    ) -> FloatArray:
        """Return one realisation: a sum of lines of random frequency and phase. [rad/s]"""
        # One line in each part of the band: lines that fall together would beat for minutes.
        place = (np.arange(_LINES) + rng.uniform(0.0, 1.0, _LINES)) / _LINES
        frequency_hz = self.low_hz + (self.high_hz - self.low_hz) * place
        phase = rng.uniform(0.0, 2.0 * np.pi, _LINES)
        share = rng.uniform(0.5, 1.5, _LINES)
        share *= self.rms_radps * np.sqrt(2.0 / np.sum(share**2))
        total = np.zeros_like(time_s)
        for f, p, a in zip(frequency_hz, phase, share, strict=True):
            total += a * np.sin((2.0 * np.pi * f) * time_s + p)
        strength = np.clip((speed_mps - self.onset_mps) / self.growth_mps, 0.0, 1.0)
        return total * strength


def steady_hand(rms_radps: float = 0.02) -> Wobble:
    """Return the small, slow wandering of anybody who rides straight on."""
    return Wobble(rms_radps, 0.08, 0.4)


@dataclass
class RideLayout:
    """A ride being laid out; every method adds one piece at the end of it.

    Times, speeds and accelerations are SI. Methods raise ValueError for a piece that cannot be
    (a pull to a speed the machine cannot reach, coasting to a speed above the present one).

    Parameters
    ----------
    machine : Machine
    heading_rad : float
        Where the nose points at the start, clockwise from north. [rad]
    surroundings : Surroundings
    """

    machine: Machine = field(default_factory=Machine)
    heading_rad: float = 0.0
    surroundings: Surroundings = field(default_factory=Surroundings)

    def __post_init__(self) -> None:
        self._first_heading_rad = self.heading_rad
        self._velocity: list[FloatArray] = [np.zeros(1)]
        self._accel: list[FloatArray] = [np.zeros(1)]
        self._curvature: list[FloatArray] = [np.zeros(1)]
        self._count = 1
        self.spans: list[Span] = []

    @property
    def now_s(self) -> float:
        """Return the time at the end of what is laid out. [s]"""
        return (self._count - 1) * STEP_S

    @property
    def velocity_mps(self) -> float:
        """Return the velocity at the end of what is laid out. [m/s]"""
        return float(self._velocity[-1][-1])

    def stand(self, for_s: float) -> None:
        """Stand still; the ride must have come to rest."""
        if abs(self.velocity_mps) > 1e-9:
            raise ValueError(f"cannot stand while moving at {self.velocity_mps:.3f} m/s")
        n = grid(for_s).size
        self._add("stand", (np.zeros(n), np.zeros(n)))

    def drive(
        self,
        *,
        until_mps: float | None = None,
        for_s: float | None = None,
        throttle: float = 1.0,
        build_s: float = 0.25,
        release_s: float = 0.2,
        turn_rad: float = 0.0,
    ) -> None:
        """Pull with the machine's own force, until a speed or for a time or both, forward.

        The throttle opens over ``build_s``. ``release_s`` is how long the pull takes to fade
        afterwards; with ``until_mps`` the fade ends at that speed.
        """
        self._let_go(min(build_s, 0.1))
        start_mps = self.velocity_mps
        conditions = self._conditions()

        def accel(v: FloatArray) -> FloatArray:
            return self.machine.acceleration_mps2(v, throttle, **conditions)

        steady = self.machine.steady_mps(throttle, **conditions)
        if not np.isfinite(steady):
            raise ValueError("the machine cannot start here: resistance exceeds its pull")
        motion = towards_steady(accel, start_mps, steady)
        end_s = np.inf if for_s is None else for_s
        if until_mps is not None:
            margin = 0.5 * release_s * accel(motion.velocity_mps)
            arrived = np.flatnonzero(motion.velocity_mps + margin >= until_mps)
            if arrived.size:
                end_s = min(end_s, float(motion.time_s[arrived[0]]) + 0.5 * build_s)
        if not np.isfinite(end_s):
            raise ValueError(f"{until_mps} m/s is not reached: the machine settles at {steady:.2f}")
        kind = "launch" if abs(start_mps) < 1e-9 else "pull"
        self._add(kind, _opened(motion, end_s, build_s), turn_rad)
        if until_mps is not None:
            self._let_go(release_s)

    def hold(
        self,
        for_s: float,
        *,
        ripple_mps: float = 0.0,
        ripple_s: float = 3.0,
        turn_rad: float = 0.0,
        ramps: tuple[bool, bool] = (True, True),
        kind: str = "steady",
    ) -> None:
        """Keep the speed, within a ripple of a given amplitude and period; it may turn."""
        self._let_go(0.2)
        time_s = grid(for_s)
        v0 = self.velocity_mps
        if ripple_mps == 0.0:
            self._add(kind, (np.full_like(time_s, v0), np.zeros_like(time_s)), turn_rad, ramps)
            return
        # Whole half-waves squared with a sine: velocity and acceleration start and end at rest.
        waves = max(round(float(time_s[-1]) / ripple_s), 1)
        rate = 2.0 * np.pi * waves / float(time_s[-1])
        velocity = v0 + 0.5 * ripple_mps * (np.cos(rate * time_s) - 1.0)
        accel = -0.5 * ripple_mps * rate * np.sin(rate * time_s)
        self._add(kind, (velocity, accel), turn_rad, ramps)

    def coast(self, *, until_mps: float, build_s: float = 0.3, for_s: float = np.inf) -> None:
        """Roll without drive down to a speed, or for a time if that is shorter."""
        self._let_go(min(build_s, 0.2))
        conditions = self._conditions()

        def accel(v: FloatArray) -> FloatArray:
            return self.machine.acceleration_mps2(v, 0.0, **conditions)

        if not 0.0 <= until_mps < self.velocity_mps or float(accel(np.array([until_mps]))[0]) >= 0:
            raise ValueError(f"cannot coast from {self.velocity_mps:.2f} to {until_mps:.2f} m/s")
        motion = towards_limit(accel, self.velocity_mps, until_mps)
        end_s = min(float(motion.time_s[-1]) + 0.5 * build_s, for_s)
        # Up to a whole step early, so that the table is never read past its end.
        self._add("coast", _opened(motion, end_s - 0.5 * STEP_S, build_s))

    def brake(
        self,
        to_mps: float = 0.0,
        *,
        decel_mps2: float = 2.5,
        build_s: float = 0.25,
        ease_s: float = 0.12,
        turn_rad: float = 0.0,
        ramps: tuple[bool, bool] = (True, True),
    ) -> None:
        """Slow down at one deceleration that builds up and eases off."""
        self._let_go(0.08)
        piece = change(self.velocity_mps, to_mps, decel_mps2, build_s, ease_s)
        self._add("braking", piece, turn_rad, ramps)

    def shift(
        self,
        to_mps: float,
        *,
        accel_mps2: float = 1.2,
        build_s: float = 0.3,
        ease_s: float = 0.3,
        turn_rad: float = 0.0,
        ramps: tuple[bool, bool] = (True, True),
        kind: str = "shift",
    ) -> None:
        """Change velocity gently, through zero into reverse if asked: a move of known formula."""
        self._let_go(0.15)
        piece = change(self.velocity_mps, to_mps, accel_mps2, build_s, ease_s)
        self._add(kind, piece, turn_rad, ramps)

    def turn(self, turn_rad: float, radius_m: float) -> None:
        """Turn at the present speed; the radius is that of the tightest part."""
        self._let_go(0.2)
        way_m = abs(turn_rad) * radius_m / (1.0 - _STEERING_SHARE)
        self.hold(way_m / abs(self.velocity_mps), turn_rad=turn_rad, kind="turn")

    def build(
        self, rng: np.random.Generator | None = None, wobbles: tuple[Wobble, ...] = ()
    ) -> Truth:
        """Return the truth of everything laid out, with small steering motions laid over it.

        Heading and positions are trapezoidal integrals over steps of STEP_S.
        """
        velocity = np.concatenate(self._velocity)
        time_s: FloatArray = STEP_S * np.arange(float(velocity.size))
        yaw_rate = velocity * np.concatenate(self._curvature)
        if wobbles:
            if rng is None:
                raise ValueError("wobbles need a random generator")
            speed = np.abs(velocity)
            for wobble in wobbles:
                yaw_rate += wobble.yaw_rate_radps(time_s, speed, rng)
        heading = self._first_heading_rad + running_integral(yaw_rate)
        east = running_integral(velocity * np.sin(heading))
        north = running_integral(velocity * np.cos(heading))
        around = self.surroundings
        rise = east * np.sin(around.slope_bearing_rad) + north * np.cos(around.slope_bearing_rad)
        return Truth(
            time_s=time_s,
            east_m=east,
            north_m=north,
            height_m=around.slope * rise,
            velocity_mps=velocity,
            accel_mps2=np.concatenate(self._accel),
            yaw_rate_radps=yaw_rate,
            heading_rad=heading,
        )

    def _conditions(self) -> dict[str, float]:
        return {
            "headwind_mps": self.surroundings.headwind_mps(self.heading_rad),
            "grade": self.surroundings.grade(self.heading_rad),
        }

    def _let_go(self, length_s: float) -> None:
        """Fade the present acceleration out, so that the next piece starts from none."""
        accel = float(self._accel[-1][-1])
        if abs(accel) > 1e-3:
            self._add("release", release(self.velocity_mps, accel, max(length_s, STEP_S)))

    def _add(
        self,
        kind: str,
        piece: Piece,
        turn_rad: float = 0.0,
        ramps: tuple[bool, bool] = (True, True),
    ) -> None:
        velocity, accel = piece
        start_s, from_mps = self.now_s, self.velocity_mps
        whole = running_integral(np.concatenate([[from_mps], velocity]))
        way = float(whole[-1])
        if turn_rad == 0.0:
            curvature = np.zeros_like(velocity)
        else:
            share = whole[1:] / way
            curvature = np.ones_like(velocity)
            if ramps[0]:
                curvature = np.minimum(curvature, share / _STEERING_SHARE)
            if ramps[1]:
                curvature = np.minimum(curvature, (1.0 - share) / _STEERING_SHARE)
            curvature *= turn_rad / way / (1.0 - 0.5 * _STEERING_SHARE * sum(ramps))
        self._velocity.append(velocity)
        self._accel.append(accel)
        self._curvature.append(curvature)
        self._count += velocity.size
        self.spans.append(
            Span(
                kind=kind,
                start_s=start_s,
                end_s=self.now_s,
                from_mps=from_mps,
                to_mps=float(velocity[-1]),
                top_mps=max(abs(from_mps), float(np.max(np.abs(velocity)))),
                distance_m=abs(way),
                heading_rad=self.heading_rad,
                turn_rad=turn_rad,
            )
        )
        self.heading_rad += turn_rad


def _opened(motion: FreeMotion, end_s: float, build_s: float) -> Piece:
    """Return a free motion whose acceleration opens over a ramp: a(t) = s(t) a(v).

    With tau the integral of s, v(t) = V(tau(t)) solves it exactly.
    """
    time_s = grid(end_s)
    opening, run_s = ramp(time_s, build_s)
    velocity, accel = motion.at(run_s)
    return velocity, accel * opening
