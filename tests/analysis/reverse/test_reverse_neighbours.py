"""Another reverse beside a reverse, and stands too short to tell how a receiver wanders."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.reverse.candidates import neighbours_of
from ridelog.analysis.reverse.evidence import readings_of
from ridelog.analysis.reverse.heading_hmm import Steps
from ridelog.core.track import FloatArray
from ridelog.filtering.motion import Motion


@pytest.mark.parametrize(("chance", "sides", "stand_s"), [
    (1.0, [], np.inf), (0.51, [], np.inf), (0.49, ["before"], 2.0), (0.0, ["before"], 2.0),
])  # fmt: skip
def test_another_reverse_is_no_riding_forward(
    chance: float, sides: list[str], stand_s: float
) -> None:
    """2 m/s for five seconds, which end two before the reverse from 40 to 44 s."""
    time_s = np.arange(0.0, 60.0, 0.2)
    beside, back = (time_s > 33.1) & (time_s < 38.1), (time_s > 40.0) & (time_s < 44.0)
    north = np.where(beside, 2.0, np.where(back, -1.0, 0.0))
    steps = Steps(time_s, np.stack([0.0 * north, north], axis=1), np.full(len(time_s), 0.05),
                  np.full(len(time_s), 0.2))  # fmt: skip
    candidate: Any = SimpleNamespace(start_s=40.0, end_s=44.0)
    found = neighbours_of(steps, np.where(beside, chance, np.where(back, 1.0, 0.0)), candidate)
    assert found.forward == sides
    assert found.stand_s == pytest.approx(stand_s, abs=0.21)


@pytest.mark.parametrize("first", ["short", "with a hole"])
def test_a_receiver_is_learnt_at_the_stand_that_tells_it(first: str) -> None:
    """It slides by 0.2 m/s; 25 s of rest are asked for, and fixes in nine of them."""
    ends_s = 15.0 if first == "short" else 40.0
    motion = known_motion(
        [(0.0, 0.0), (ends_s, 0.0), (ends_s + 4.0, 8.0), (ends_s + 8.0, 0.0), (ends_s + 45.0, 0.0)],
        pieces=[(0.0, 2.5), (ends_s - 2.5, ends_s + 45.0)] if first == "with a hole" else None,
    )  # fmt: skip
    assert wander_mps(motion, 0.2 * motion.track.time_s) == pytest.approx(0.2, rel=0.02)


def wander_mps(motion: Motion, moved_m: FloatArray) -> float:
    """Return what is learnt of a receiver whose fixes are moved north, without white noise."""
    latitude = motion.track.latitude_deg + moved_m / 111_320.0
    moved = replace(motion, track=replace(motion.track, latitude_deg=latitude),
                    noise=replace(motion.noise, position_white_m=1e-3))  # fmt: skip
    return readings_of(moved).wander_mps


@pytest.mark.parametrize(("again_s", "wander"), [(26.0, 0.2), (27.0, 0.1)])
def test_nine_seconds_with_fixes_are_asked_of_a_stand(again_s: float, wander: float) -> None:
    """Four seconds have fixes before a hole, and five or four after it; 0.1 m/s is the guess."""
    knots = [(0.0, 0.0), (30.0, 0.0), (34.0, 8.0), (38.0, 0.0), (40.0, 0.0)]
    motion = known_motion(knots, pieces=[(0.0, 3.9), (again_s, 40.0)])
    assert wander_mps(motion, 0.2 * motion.track.time_s) == pytest.approx(wander, rel=0.02)


@pytest.mark.parametrize(("sways_s", "wander"), [(2.0, 0.0), (3.0, 0.3)])
def test_two_seconds_of_swaying_after_a_stop_are_no_wander(sways_s: float, wander: float) -> None:
    """Of 31 seconds 27 count; if one is 3 m away, one of their 25 velocities is 1.5 m/s."""
    motion = known_motion([(0.0, 0.0), (30.0, 0.0), (34.0, 8.0)])
    time_s = motion.track.time_s
    moved = np.where((time_s < sways_s - 1e-6) | (time_s > 29.0 - 1e-6), 3.0, 0.0)
    assert wander_mps(motion, moved) == pytest.approx(wander, abs=0.01)
