"""A receiver that finds its place at first, in a log that says nothing of its quality."""

import numpy as np
import pytest
from log_in_memory import to_track
from random_rides import out_and_back
from simulate.tracking import TrackingReceiver, Tuning

from ridelog.analysis.top_speed.measure import measure_top_speed
from ridelog.core.track import FloatArray
from ridelog.filtering.quality import slid_until
from ridelog.filtering.smoother import estimate_motion

_TIME = np.arange(0.0, 120.0, 0.5)


def _speed(*pieces: tuple[float, float, float]) -> FloatArray:
    """Return a speed of half waves: begin, end and highest of each."""
    speed = np.zeros_like(_TIME)
    for begin, end, top in pieces:
        inside = (_TIME >= begin) & (_TIME <= end)
        speed[inside] = top * np.sin(np.pi * (_TIME[inside] - begin) / (end - begin))
    return speed


def test_a_slide_before_the_first_stand_is_the_receivers() -> None:
    assert 6.0 < slid_until(_TIME, _speed((-0.5, 8.0, 9.0), (20.0, 60.0, 7.0))) <= 8.5


@pytest.mark.parametrize(
    "pieces",
    [
        ((-0.5, 8.0, 9.0), (20.0, 60.0, 9.5)),  # as fast again
        ((3.0, 11.0, 9.0), (20.0, 60.0, 7.0)),  # it stood first
        ((-0.5, 40.0, 9.0), (60.0, 90.0, 7.0)),  # it rode on
        ((-0.5, 8.0, 9.0),),  # the log of one run
    ],
)
def test_riding_is_no_slide(pieces: tuple[tuple[float, float, float], ...]) -> None:
    assert slid_until(_TIME, _speed(*pieces)) == 0.0


def _slid(*, rest_s: float, pace_mps: float, ridden_s: float, stood_s: float) -> bool:
    """Return whether a slide of 9 m/s is found before a ride at a pace."""
    speed = np.interp(_TIME, [stood_s, stood_s + 1.0, rest_s], [9.0, 9.0, 0.0])
    speed[_TIME < stood_s] = 0.1
    speed[(_TIME > 30.0) & (_TIME < 30.0 + ridden_s)] = pace_mps
    return slid_until(_TIME, speed) > 0.0


@pytest.mark.parametrize(
    ("change", "slid"),
    [
        ({}, True),
        # At rest within 15 s, for the first time after half a second at most.
        ({"rest_s": 14.5}, True), ({"rest_s": 16.5}, False),
        ({"stood_s": 0.5}, True), ({"stood_s": 1.5}, False),
        # Then more than 15 s faster than a walk, 2 m/s, and never as fast again.
        ({"pace_mps": 2.2}, True), ({"pace_mps": 1.9}, False),
        ({"ridden_s": 16.5}, True), ({"ridden_s": 14.5}, False),
        ({"pace_mps": 8.9}, True), ({"pace_mps": 9.1}, False),
    ],
)  # fmt: skip
def test_where_a_slide_ends_to_be_one(change: dict[str, float], slid: bool) -> None:
    usual = {"rest_s": 8.0, "pace_mps": 5.0, "ridden_s": 40.0, "stood_s": 0.0}
    assert _slid(**usual | change) == slid


def test_a_slide_of_25_m_gives_no_top_speed() -> None:
    rng = np.random.default_rng(2)
    ride = out_and_back(rng, top_mps=4.0, plateau_s=8.0, passes=3)
    receiver = TrackingReceiver(
        10.0, 10.0, Tuning(), reports_speed=False, reports_hdop=False, slides_m=25.0
    )
    motion = estimate_motion(to_track(receiver.observe(ride.truth, rng)))
    top = measure_top_speed(motion).best_1s_mps
    assert top is not None
    assert 5.0 < motion.settled_s < 15.0
    assert top.high < 4.8
