"""Rides of machines that obey other laws than those of ``simulate.vehicle``, step by step.

A throttle that opens over a time of its own, a hand that is never still, two gears with a cut
between them, wheels that slip and grip again, hills and bends along the way, brakes that bite late.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.signal import lfilter
from simulate import Span, Truth
from simulate.truth import STEP_S, running_integral

from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2


@dataclass(frozen=True)
class Ridden:
    """A finished ride and what is in it: launches, brakings, reverses."""

    truth: Truth
    labels: dict[str, tuple[Span, ...]]


@dataclass(frozen=True)
class _Drive:
    """What pushes, per mass: most pull, speed from which power limits it, resistance."""

    pull_mps2: float
    corner_mps: float
    rolling_mps2: float
    drag_pm: float
    opening_s: float
    gear_mps: float
    cut_s: float
    slips: float
    slip_hz: float


@dataclass
class _Rider:
    """The ride so far."""

    rng: np.random.Generator
    drive: _Drive
    hills: tuple[tuple[float, float, float], ...]
    velocity_mps: float = 0.0
    way_m: float = 0.0
    throttle: float = 0.0
    speeds: list[float] = field(default_factory=lambda: [0.0])
    bends: list[float] = field(default_factory=lambda: [0.0])
    grades: list[float] = field(default_factory=lambda: [0.0])
    brakings: list[tuple[float, float]] = field(default_factory=list)

    @property
    def now_s(self) -> float:
        return (len(self.speeds) - 1) * STEP_S

    def _step(self, accel_mps2: float, bend_pm: float = 0.0) -> None:
        self.velocity_mps += accel_mps2 * STEP_S
        self.way_m += self.velocity_mps * STEP_S
        self.speeds.append(self.velocity_mps)
        self.bends.append(bend_pm)
        self.grades.append(self._grade())

    def _grade(self) -> float:
        return float(sum(a * np.sin(2.0 * np.pi * self.way_m / w + p) for a, w, p in self.hills))

    def _resisting(self) -> float:
        one = self.drive
        return (
            one.rolling_mps2
            + one.drag_pm * self.velocity_mps**2
            + STANDARD_GRAVITY_MPS2 * self._grade()
        )

    def stand(self, for_s: float) -> None:
        self.velocity_mps, self.throttle = 0.0, 0.0
        for _ in range(round(for_s / STEP_S)):
            self._step(0.0)

    def pull(self, until_mps: float, *, at_most_s: float = 25.0, bend_pm: float = 0.0) -> None:
        """Open the throttle and keep it so until a speed is reached."""
        one, begin_s, cut_left = self.drive, self.now_s, 0.0
        shifted = self.velocity_mps > one.gear_mps
        phase = self.rng.uniform(0.0, 2.0 * np.pi)
        while self.velocity_mps < until_mps and self.now_s - begin_s < at_most_s:
            self.throttle = min(1.0, self.throttle + STEP_S / one.opening_s)
            if not shifted and self.velocity_mps >= one.gear_mps:
                shifted, cut_left = True, one.cut_s
            full = one.pull_mps2 * min(1.0, one.corner_mps / max(self.velocity_mps, 0.1))
            if cut_left > 0.0:
                cut_left, full = cut_left - STEP_S, 0.15 * full
            elif shifted and one.gear_mps < 1e3:
                full *= 0.75
            # Tyres break loose and grip again while the pull is near its most.
            since = self.now_s - begin_s
            loose = one.slips * np.exp(-since / 1.2) * (0.5 + 0.5 * np.sin(
                2.0 * np.pi * one.slip_hz * since + phase
            ))  # fmt: skip
            push = self.throttle * full * (1.0 - loose)
            accel = push - self._resisting()
            if self.velocity_mps <= 0.0 and accel <= 0.0:
                accel = 0.0
            self._step(accel, bend_pm)

    def hold(self, for_s: float, *, bend_pm: float = 0.0, at_mps: float | None = None) -> None:
        """Keep a speed as a hand does: late, and never quite still."""
        goal = self.velocity_mps if at_mps is None else at_mps
        restless = self.rng.uniform(0.0, 0.25)
        hand, wish = 0.0, 0.0
        for _ in range(round(for_s / STEP_S)):
            hand += (
                -hand * STEP_S / 1.5
                + restless * np.sqrt(2.0 * STEP_S / 1.5) * self.rng.standard_normal()
            )
            wish += (0.8 * (goal - self.velocity_mps) - wish) * STEP_S / 0.3
            self._step(wish + hand, bend_pm)

    def roll(self, for_s: float) -> None:
        """Let go of everything."""
        for _ in range(round(for_s / STEP_S)):
            if self.velocity_mps < 1.0:
                return
            self.throttle = max(0.0, self.throttle - STEP_S / 0.15)
            self._step(-self._resisting())

    def brake(self, to_mps: float) -> None:
        """Brake to a speed: a hand that squeezes, and eases before a stop or not."""
        rng, begin_s = self.rng, self.now_s
        most, squeeze = rng.uniform(1.5, 4.5), rng.uniform(0.04, 0.2)
        eases, pressed = rng.random() < 0.6, 0.0
        late = self.rng.uniform(0.1, 0.3)
        while self.velocity_mps > to_mps:
            wanted = most
            if eases and self.velocity_mps - to_mps < 0.8:
                wanted = 0.35 * most
            pressed += (wanted - pressed) * STEP_S / (squeeze if wanted >= pressed else late)
            self._step(-pressed)
        self.velocity_mps = self.speeds[-1] = max(to_mps, 0.0)
        self.brakings.append((begin_s, self.now_s))

    def reach(self, to_mps: float, accel_mps2: float, *, bend_pm: float = 0.0) -> None:
        """Go gently to a speed, forward or back."""
        lag, accel = self.rng.uniform(0.1, 0.4), 0.0
        side = np.sign(to_mps - self.velocity_mps)
        while side * (to_mps - self.velocity_mps) > 0.0:
            left = side * (to_mps - self.velocity_mps)
            wanted = side * min(accel_mps2, 0.15 + left / 0.4)
            accel += (wanted - accel) * STEP_S / lag
            self._step(accel, bend_pm)
        self.velocity_mps = self.speeds[-1] = to_mps

    def turn_round(self) -> None:
        """Turn round at the present pace, the bend wound on and off."""
        radius = self.rng.uniform(2.5, 6.0)
        side, pace = self.rng.choice([-1.0, 1.0]), max(self.velocity_mps, 0.6)
        turned, bend = 0.0, 0.0
        while turned < np.pi:
            rest = np.pi - turned
            wanted = min(1.0, 0.05 + rest / (pace / radius * 0.5)) / radius
            bend += (wanted - bend) * STEP_S / 0.3
            turned += abs(bend * self.velocity_mps) * STEP_S
            self._step(0.5 * (pace - self.velocity_mps), side * bend)

    def finished(self) -> Ridden:
        velocity = np.array(self.speeds)
        yaw = np.array(self.bends) * velocity + self._wobble(velocity)
        heading = self.rng.uniform(0.0, 2.0 * np.pi) + running_integral(yaw)
        truth = Truth(
            time_s=np.arange(float(len(velocity))) * STEP_S,
            east_m=running_integral(velocity * np.sin(heading)),
            north_m=running_integral(velocity * np.cos(heading)),
            height_m=running_integral(velocity * np.array(self.grades)),
            velocity_mps=velocity,
            accel_mps2=np.gradient(velocity, STEP_S),
            yaw_rate_radps=yaw,
            heading_rad=heading,
        )
        return Ridden(truth, self._labels(truth))

    def _wobble(self, velocity: FloatArray) -> FloatArray:
        """Return the yaw rate of a hand that steers about where it wants to go. [rad/s]"""
        noise = self.rng.standard_normal(len(velocity))
        for lasts_s in (0.25, self.rng.uniform(0.5, 1.5)):
            keep = float(np.exp(-STEP_S / lasts_s))
            noise = lfilter([1.0 - keep], [1.0, -keep], noise)
        angle = self.rng.uniform(0.005, 0.03) * noise / noise.std()
        rate: FloatArray = np.gradient(angle, STEP_S) * np.minimum(np.abs(velocity), 1.0)
        return rate

    def _labels(self, truth: Truth) -> dict[str, tuple[Span, ...]]:
        def spans(kind: str, pairs: list[tuple[float, float]]) -> tuple[Span, ...]:
            return tuple(_span(truth, kind, *pair) for pair in pairs)

        launches = [
            (a, b)
            for a, b in _pieces(truth.velocity_mps > 1e-9)
            if truth.velocity_mps[round(a / STEP_S) : round(b / STEP_S)].max() > 1.0
            and a > 0.0
            and abs(truth.velocity_mps[round(a / STEP_S) - 1]) < 1e-9
        ]
        return {
            "launches": spans("launch", launches),
            "brakings": spans("braking", self.brakings),
            "reverses": spans("reverse", _pieces(truth.velocity_mps < -1e-9)),
        }


def _pieces(mask: np.ndarray) -> list[tuple[float, float]]:
    edge = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    return [(a * STEP_S, (b - 1) * STEP_S) for a, b in edge.reshape(-1, 2).tolist()]


def _span(truth: Truth, kind: str, start_s: float, end_s: float) -> Span:
    part = truth.velocity_mps[round(start_s / STEP_S) : round(end_s / STEP_S) + 1]
    return Span(
        kind, start_s, end_s, float(part[0]), float(part[-1]), float(np.abs(part).max()),
        float(running_integral(np.abs(part))[-1]),
    )  # fmt: skip


def _begun(rng: np.random.Generator, top_mps: float) -> _Rider:
    uniform = rng.uniform
    geared = rng.random() < 0.35
    drive = _Drive(
        pull_mps2=float(uniform(1.4, 4.0)),
        corner_mps=float(uniform(0.3, 0.9)) * top_mps,
        rolling_mps2=float(uniform(0.1, 0.35)),
        drag_pm=float(uniform(0.001, 0.003)),
        opening_s=float(np.exp(uniform(np.log(0.08), np.log(1.0)))),
        gear_mps=float(uniform(0.35, 0.7)) * top_mps if geared else 1e6,
        cut_s=float(uniform(0.1, 0.4)),
        slips=float(rng.choice([0.0, uniform(0.1, 0.6)])),
        slip_hz=float(uniform(2.0, 6.0)),
    )
    hills = tuple(
        (float(uniform(0.0, 0.015)), float(uniform(60.0, 400.0)), float(uniform(0.0, 6.3)))
        for _ in range(2)
    )
    rider = _Rider(rng, drive, hills)
    rider.stand(float(uniform(4.0, 14.0)))
    return rider


def passes(rng: np.random.Generator) -> Ridden:
    """Return passes there and back, on the straight or along a wide bend."""
    top = float(rng.uniform(4.0, 22.0))
    rider = _begun(rng, top)
    count = int(rng.integers(1, 5))
    steady = float(np.exp(rng.uniform(np.log(0.3), np.log(15.0))))
    for number in range(count):
        bend = float(rng.choice([0.0, rng.uniform(-1.0, 1.0) / 120.0])) * min(1.0, 100.0 / top**2)
        rider.pull(top * float(rng.normal(1.0, 0.01)), bend_pm=bend)
        rider.hold(steady * float(rng.uniform(0.7, 1.3)), bend_pm=bend)
        if rng.random() < 0.3:
            rider.roll(float(rng.uniform(1.0, 5.0)))
        if number + 1 == count or rng.random() < 0.3:
            rider.brake(0.0)
            rider.stand(float(rng.uniform(1.5, 8.0)))
        else:
            rider.brake(float(rng.uniform(1.0, 2.5)))
        if number + 1 < count:
            if rider.velocity_mps < 0.9:
                rider.reach(float(rng.uniform(1.0, 2.0)), 0.9)
            rider.turn_round()
    return rider.finished()


def starts(rng: np.random.Generator) -> Ridden:
    """Return starts from rest, each ended by a stop."""
    top = float(rng.uniform(6.5, 15.0))
    rider = _begun(rng, top)
    for number in range(int(rng.integers(3, 6))):
        rider.pull(top * float(rng.uniform(0.85, 1.0)))
        rider.hold(float(rng.uniform(0.2, 4.0)))
        rider.brake(0.0)
        rider.stand(float(rng.uniform(2.5, 8.0)))
        if number % 2 == 0:
            rider.reach(float(rng.uniform(0.7, 1.2)), 0.7)
            rider.turn_round()
            rider.brake(0.0)
            rider.stand(float(rng.uniform(3.0, 8.0)))
    return rider.finished()


def backings(rng: np.random.Generator) -> Ridden:
    """Return a ride that backs up once or twice between two stretches ahead."""
    top = float(rng.uniform(4.0, 9.0))
    rider = _begun(rng, top)
    rider.pull(top)
    rider.hold(float(rng.uniform(1.0, 4.0)))
    for _ in range(int(rng.integers(1, 3))):
        rider.brake(0.0)
        rider.stand(float(rng.uniform(0.4, 5.0)))
        bend = float(rng.choice([0.0, rng.uniform(-1.0, 1.0) / 5.0]))
        pace = float(np.exp(rng.uniform(np.log(0.7), np.log(3.5))))
        rider.reach(-pace, float(rng.uniform(0.5, 1.6)), bend_pm=bend)
        rider.hold(float(rng.uniform(1.5, 8.0)), bend_pm=bend, at_mps=-pace)
        rider.reach(0.0, float(rng.uniform(0.7, 2.0)), bend_pm=bend)
        rider.stand(float(rng.uniform(0.4, 5.0)))
        rider.pull(top * float(rng.uniform(0.6, 1.0)))
        rider.hold(float(rng.uniform(0.5, 3.0)))
    rider.brake(0.0)
    rider.stand(float(rng.uniform(3.0, 8.0)))
    return rider.finished()
