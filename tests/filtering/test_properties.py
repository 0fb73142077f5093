"""What must not change an answer, and what may not make it surer."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from filtered_rides import ride_and_log
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset
from simulate import Observation, Place
from simulate.write_log import START_UTC

from ridelog.analysis.top_speed.measure import TopSpeed, measure_top_speed
from ridelog.core.track import FloatArray
from ridelog.filtering.smoother import estimate_motion

# One ride at one fix a second: the properties hold for any, and this one is quick.
_RIDE, _LOG = ride_and_log(81, rate_hz=1.0)
_BARE = replace(_LOG, speed_mps=np.full(len(_LOG), np.nan), course_rad=np.full(len(_LOG), np.nan))
_LOGS = {"reported": _LOG, "positions": _BARE}


def top_of(log: Observation, place: Place | None = None) -> TopSpeed:
    return measure_top_speed(estimate_motion(to_track(log, place, decimals=9)))


_PLAIN = {kind: top_of(log) for kind, log in _LOGS.items()}


def assert_same(found: TopSpeed, kind: str, within_mps: float) -> None:
    plain = _PLAIN[kind]
    assert plain.best_1s_mps is not None and found.best_1s_mps is not None
    for end in ("value", "low", "high"):
        assert getattr(found.best_1s_mps, end) == pytest.approx(
            getattr(plain.best_1s_mps, end), abs=within_mps
        )
    assert (found.two_way_mps is None) == (plain.two_way_mps is None)


def turned(log: Observation, angle_rad: float, *, mirrored: bool = False) -> Observation:
    """Return the log of the same ride in another direction, or seen in a mirror."""
    side = -1.0 if mirrored else 1.0
    east, course = side * log.east_m, side * log.course_rad
    return replace(
        log,
        east_m=east * np.cos(angle_rad) + log.north_m * np.sin(angle_rad),
        north_m=-east * np.sin(angle_rad) + log.north_m * np.cos(angle_rad),
        course_rad=np.mod(course + angle_rad, 2.0 * np.pi),
    )


@settings(max_examples=4, deadline=None, derandomize=True, phases=[Phase.generate])
@given(angle_deg=st.floats(0.0, 360.0), mirrored=st.booleans(), kind=st.sampled_from(list(_LOGS)))
def test_turning_and_mirroring_change_nothing(angle_deg: float, mirrored: bool, kind: str) -> None:
    other = turned(_LOGS[kind], np.radians(angle_deg), mirrored=mirrored)
    # The draws keep their axes while the ride turns: a half width of 150 draws scatters by 6 %, the
    # mean they correct by 8 % of their spread; three times both is a fifth of the width.
    width = _width(_PLAIN[kind])
    assert_same(top_of(other), kind, 0.2 * width + 0.002)


@settings(max_examples=4, deadline=None, derandomize=True, phases=[Phase.generate])
@given(
    latitude_deg=st.floats(-70.0, 70.0),
    longitude_deg=st.floats(-180.0, 179.9),
    kind=st.sampled_from(list(_LOGS)),
)
def test_another_place_changes_nothing(
    latitude_deg: float, longitude_deg: float, kind: str
) -> None:
    place = Place(latitude_deg=latitude_deg, longitude_deg=longitude_deg)
    # Nine decimals of a degree are 0.1 mm.
    assert_same(top_of(_LOGS[kind], place), kind, 0.003)


def test_another_day_changes_no_digit() -> None:
    later = Place(start_utc=START_UTC + timedelta(days=400, hours=7, seconds=13))
    assert top_of(_LOG, later) == _PLAIN["reported"]


@pytest.mark.parametrize("kind", list(_LOGS))
def test_the_same_log_gives_the_same_digits(kind: str) -> None:
    assert top_of(_LOGS[kind]) == _PLAIN[kind]


def _width(top: TopSpeed) -> float:
    assert top.best_1s_mps is not None
    return top.best_1s_mps.high - top.best_1s_mps.low


@pytest.mark.parametrize(("rate_hz", "reports"), [(10.0, False), (1.0, False), (1.0, True)])
def test_more_of_the_same_noise_never_narrows_an_interval(rate_hz: float, reports: bool) -> None:
    """The very errors of one receiver, scaled: the best second is known worse each time."""
    rng = np.random.default_rng(82)
    ride = out_and_back(rng, top_mps=9.0, plateau_s=8.0, passes=2, pull_end="settles")
    quiet = replace(
        preset("clean", rate_hz, rng, reports_speed=reports),
        position_white_m=0.0, drift_m=1e-6, speed_white_mps=0.0, speed_slow_mps=1e-9,
        speed_step_mps=0.0, course_step_deg=0.0, stamp_jitter_s=0.0,
    )  # fmt: skip
    exact = quiet.observe(ride.truth, np.random.default_rng(83))
    errors = np.random.default_rng(84).standard_normal((4, len(exact)))

    def scaled(times: float) -> Observation:
        east, north = (
            exact.speed_mps * along(exact.course_rad) + times * 0.08 * errors[row]
            for row, along in ((2, np.sin), (3, np.cos))
        )
        moving: FloatArray = np.where(np.isfinite(exact.course_rad), np.hypot(east, north), np.nan)
        return replace(
            exact,
            east_m=exact.east_m + times * 0.1 * errors[0],
            north_m=exact.north_m + times * 0.1 * errors[1],
            speed_mps=np.where(np.isfinite(moving), moving, exact.speed_mps),
            course_rad=np.where(np.isfinite(moving), np.arctan2(east, north), np.nan),
        )

    widths = [_width(top_of(scaled(times))) for times in (0.5, 2.0, 8.0)]
    assert widths == sorted(widths)
    assert widths[-1] > 1.5 * widths[0]
