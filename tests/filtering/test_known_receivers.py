"""What a receiver does to its own log, put into logs without an error, from both sides of an edge.

Lasting differences of a tenth of a metre a second over which six metres cannot slide, speeds held
at zero, lags and roundings: METHOD.md of receiver; the edges are own choices.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.core.track import FloatArray, Track
from ridelog.filtering.observations import observations_of
from ridelog.filtering.receiver.disagreement import LastingDifference, find_disagreement
from ridelog.filtering.receiver.habits import (
    find_frozen_positions,
    find_static_hold,
    lasting_rounding,
    recognised,
    rounding_sd,
    without_static_hold,
)
from ridelog.filtering.shared_offsets import find_shared_offsets

# Stands, 8 m/s, crawls, stands again; up and down every few seconds.
STOPS = [(0.0, 0.0), (6.0, 0.0), (10.0, 8.0), (20.0, 8.0), (24.0, 0.0), (30.0, 0.0), (34.0, 6.0),
         (40.0, 6.0), (43.0, 0.0), (50.0, 0.0)]  # fmt: skip
BUSY = [(0.0, 3.0), *((4.0 * k, 3.0 + 5.0 * (k % 2)) for k in range(1, 30))]


def log(knots: Any = STOPS, *, rate_hz: float = 10.0, bare: bool = False, **changes: Any) -> Track:
    track = known_motion(knots, rate_hz=rate_hz, turns=[(0.0, 30.0)]).track
    # No receiver repeats a place to all digits: two centimetres.
    shake = 0.02 / 111_250.0 * np.random.default_rng(1).standard_normal(len(track))
    track = replace(track, latitude_deg=track.latitude_deg + shake)
    if bare:
        changes["speed_mps"] = changes["course_rad"] = np.full(len(track), np.nan)
    return replace(track, **changes)


@pytest.mark.parametrize(
    ("excess", "length_s", "found", "over_s"),
    [(0.13, 70.0, True, 60.0), (0.08, 70.0, False, 0.0), (-0.13, 70.0, True, 60.0),
     (0.32, 25.0, True, 20.0), (0.28, 25.0, False, 0.0), (0.13, 130.0, True, 40.0)],
)  # fmt: skip
def test_a_speed_that_is_off_for_long_is_told(
    excess: float, length_s: float, found: bool, over_s: float
) -> None:
    """0.1 m/s, and more than 6 m: at 0.13 m/s after 46 s, at 0.3 m/s after 20 s."""
    track = log([(0.0, 6.0), (length_s, 6.0)])
    seen = observations_of(replace(track, speed_mps=track.speed_mps + excess))
    n = len(seen.time_s)
    told = find_disagreement(seen, np.ones(n, dtype=bool), np.zeros(n - 1, dtype=bool))
    assert (told is not None) is found
    if told is not None:
        assert told.excess_mps == pytest.approx(excess, abs=0.005)
        assert told.riding_s >= over_s
    # What is not believed, or steps, is not compared.
    assert find_disagreement(seen, np.zeros(n, dtype=bool), np.zeros(n - 1, dtype=bool)) is None
    assert find_disagreement(seen, np.ones(n, dtype=bool), np.ones(n - 1, dtype=bool)) is None


@pytest.mark.parametrize(("speed_mps", "rate_hz", "degps"), [(6.0, 10.0, 30.0), (9.0, 1.0, 60.0)])
def test_a_curve_is_no_disagreement(speed_mps: float, rate_hz: float, degps: float) -> None:
    """The chord of a sixth of a circle is 3 / pi of its arc: at 9 m/s 0.4 m/s less."""
    track = known_motion(
        [(0.0, speed_mps), (120.0, speed_mps)], turns=[(0.0, 0.0), (120.0, 120.0 * degps)],
        rate_hz=rate_hz,
    ).track  # fmt: skip
    seen = observations_of(track)
    n = len(seen.time_s)
    assert find_disagreement(seen, np.ones(n, dtype=bool), np.zeros(n - 1, dtype=bool)) is None


@pytest.mark.parametrize(("excess", "words"), [
    (0.5, "1.80 km/h (1.12 mph) higher than that of its positions for 60 s of riding"),
    (-0.5, "1.80 km/h (1.12 mph) lower than"),
])  # fmt: skip
def test_a_difference_in_words(excess: float, words: str) -> None:
    assert words in LastingDifference(excess, 60.0).words


def held(track: Track, below_mps: float, *, positions: bool = False) -> Track:
    """Return the log of a receiver that reports zero below a pace, and may keep its position."""
    slow = track.speed_mps < below_mps
    latitude, longitude = track.latitude_deg.copy(), track.longitude_deg.copy()
    if positions:
        for row in np.flatnonzero(slow[1:] & slow[:-1]) + 1:
            latitude[row], longitude[row] = latitude[row - 1], longitude[row - 1]
    return replace(
        track, speed_mps=np.where(slow, 0.0, track.speed_mps), latitude_deg=latitude,
        longitude_deg=longitude,
    )  # fmt: skip


@pytest.mark.parametrize(("below_mps", "positions", "found"), [
    (0.8, False, True), (0.19, False, False), (0.8, True, True), (0.15, True, True),
])  # fmt: skip
def test_a_speed_that_is_held_at_zero(below_mps: float, positions: bool, found: bool) -> None:
    track = held(log(), below_mps, positions=positions)
    seen = observations_of(track)
    hold = find_static_hold(seen, track.speed_mps[seen.rows])
    assert (hold is not None) is found
    if hold is not None:
        # The slowest reading above it: speeds come in steps of 0.2 m/s.
        assert below_mps <= hold.pace_mps < below_mps + 0.27
        assert hold.repeated.any() == positions
        wider = without_static_hold(seen, hold)
        assert wider.crawl_sd_mps == pytest.approx(0.35 * max(hold.pace_mps, 0.5) / 0.5)
        assert (wider.held == hold.repeated).all()


def test_positions_that_freeze_and_are_let_go() -> None:
    track = log(bare=True)
    speed = np.interp(track.time_s, *np.array(STOPS).T)
    frozen = replace(held(replace(track, speed_mps=speed), 0.7, positions=True),
                     speed_mps=track.speed_mps)  # fmt: skip
    seen = observations_of(frozen)
    hold = find_frozen_positions(seen)
    assert hold is not None and 0.6 < hold.pace_mps < 1.2
    assert hold.repeated.sum() > 100 and not hold.repeated[speed > 1.0].any()
    assert find_frozen_positions(observations_of(log(BUSY, bare=True))) is None


def lines(track: Track) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    _, habits = recognised(observations_of(track), track)
    (line,) = habits.history
    return line, habits.warnings, habits.doubts


def test_a_log_without_an_error_has_no_habit() -> None:
    assert lines(log()) == ("receiver: no habit of its own recognised", (), ())


@pytest.mark.parametrize(("lag_s", "words", "warned"), [
    (0.2, "reported speed runs 0.20 s (sd", False), (0.27, "reported speed runs 0.2", False),
    (0.33, "reported speed runs 0.3", True), (0.5, "reported speed runs 0.50 s (sd", True),
    (-0.4, "ahead of the positions", True),
])  # fmt: skip
def test_a_late_speed_is_told(lag_s: float, words: str, warned: bool) -> None:
    track = log(BUSY)
    late = np.interp(track.time_s - lag_s, *np.array(BUSY).T)
    line, warnings, doubts = lines(replace(track, speed_mps=late))
    assert words in line and bool(warnings) == warned == bool(doubts)
    if warned:
        assert f"reports its speed {abs(lag_s):.1f} s" in warnings[0]
        assert ("too late" if lag_s > 0.0 else "too early") in warnings[0]


def test_what_is_held_is_told() -> None:
    line, _, _ = lines(held(log(), 0.9, positions=True))
    assert "reported speed is held at zero below about 0.90 m/s; " in line
    assert "positions repeated there are not used" in line
    plain, _, _ = lines(held(log(), 0.9))
    assert "held at zero below about 0.90 m/s" in plain and "repeated" not in plain


def test_a_coarse_speed_is_told() -> None:
    """Whole km/h: steps of 0.278 m/s, an error of 0.080 m/s (GUM F.2.2.1)."""
    track = log(BUSY)
    coarse = np.round(track.speed_mps * 3.6) / 3.6
    line, _, _ = lines(replace(track, speed_mps=coarse))
    assert "written in steps of 0.278 m/s, an error of 0.080 m/s that lasts" in line
    assert rounding_sd(0.12) == pytest.approx(0.12 / 12.0**0.5)


@pytest.mark.parametrize(("step", "noise"), [(0.278, 0.02), (0.1, 0.02)])
def test_the_part_of_rounding_that_lasts(step: float, noise: float) -> None:
    """The mean error of many noisy readings of one speed, over all speeds: by trial."""
    random = np.random.default_rng(3)
    speeds = np.linspace(0.0, step, 400, endpoint=False)[:, None]
    seen = np.round((speeds + noise * random.standard_normal((400, 4000))) / step) * step
    lasting = float((seen.mean(axis=1) - speeds[:, 0]).std())
    assert lasting_rounding(step) == pytest.approx(lasting, rel=0.08)
    assert lasting_rounding(0.0) == 0.0 and lasting_rounding(0.01) < 1e-6


@pytest.mark.parametrize("count", [1, 3, 4])
def test_fixes_displaced_together_are_left_out(count: int) -> None:
    track = log(BUSY, rate_hz=1.0, bare=True)
    random = np.random.default_rng(5)
    shake: FloatArray = 0.3 / 111_250.0 * random.standard_normal(len(track))
    latitude = track.latitude_deg + shake
    plain = observations_of(replace(track, latitude_deg=latitude))
    good = np.ones(len(track), dtype=bool)
    assert not find_shared_offsets(plain, good).any()
    latitude = latitude.copy()
    latitude[50 : 50 + count] += 25.0 / 111_250.0
    off = find_shared_offsets(observations_of(replace(track, latitude_deg=latitude)), good)
    assert off.nonzero()[0].tolist() == list(range(50, 50 + count))
    # Ten fixes a second show a leap by themselves.
    quick = log(BUSY, bare=True)
    assert not find_shared_offsets(observations_of(quick), np.ones(len(quick), dtype=bool)).any()
