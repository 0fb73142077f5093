"""A ride whose machine is also turned round by hand while it stands."""

from dataclasses import dataclass

import numpy as np
from simulate import RideLayout, Truth
from simulate.truth import STEP_S
from simulate.vehicle import Wobble

from ridelog.core.track import FloatArray


@dataclass(frozen=True)
class HandTurn(Wobble):
    """One turn on the spot: a single wave of the yaw rate, which needs no speed.

    ``start`` and ``steps`` are places on the truth's grid.
    """

    start: int = 0
    steps: int = 1
    turn_rad: float = 0.0

    def yaw_rate_radps(
        self, time_s: FloatArray, speed_mps: FloatArray, rng: np.random.Generator
    ) -> FloatArray:
        """Return the rate, nought outside the turn; nothing is drawn. [rad/s]"""
        rate = np.zeros_like(time_s)
        wave = 1.0 - np.cos(2.0 * np.pi * np.arange(self.steps) / self.steps)
        rate[self.start : self.start + self.steps] = self.turn_rad * wave / (self.steps * STEP_S)
        return rate


class HandTurnedRide(RideLayout):
    """A ride with one more kind of piece."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self._turns: list[HandTurn] = []

    def turn_by_hand(self, turn_rad: float, for_s: float) -> None:
        """Stand still while the machine is turned round on the spot."""
        first = round(self.now_s / STEP_S) + 1
        self.stand(for_s)
        steps = round(self.now_s / STEP_S) + 1 - first
        turn = HandTurn(0.0, 0.0, 0.0, start=first, steps=steps, turn_rad=turn_rad)
        self._turns.append(turn)
        self.heading_rad += turn_rad

    def build(
        self, rng: np.random.Generator | None = None, wobbles: tuple[Wobble, ...] = ()
    ) -> Truth:
        """Return the truth with the turns in it."""
        return super().build(rng or np.random.default_rng(0), (*self._turns, *wobbles))
