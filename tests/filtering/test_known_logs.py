"""What is read off logs without an error, and off ones with a single known one, from both sides.

The edges are those of filtering's METHOD.md (own choices): a crawl of 0.5 m/s, ten metres of
travel, noise by dilution from 0.6 to 20 times, a receiver that settles.
"""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.core.errors import NotEnoughDataError
from ridelog.core.flags import Flag
from ridelog.core.track import FloatArray, Track
from ridelog.filtering.agreement import contradictions
from ridelog.filtering.motion import Motion
from ridelog.filtering.observations import Observations, observations_of
from ridelog.filtering.outliers import screen
from ridelog.filtering.quality import settled_from, settling_factor, slid_until
from ridelog.filtering.receiver.lag import Lag, find_lag, without_lag
from ridelog.filtering.smoother import estimate_motion

RIDDEN = [(0.0, 0.0), (5.0, 0.0), (9.0, 8.0), (20.0, 8.0), (24.0, 2.0), (30.0, 7.0), (40.0, 7.0),
          (44.0, 0.0), (50.0, 0.0)]  # fmt: skip


def log(knots: Any = RIDDEN, *, rate_hz: float = 10.0, bare: bool = False, **changes: Any) -> Track:
    """Return a log without an error, of positions alone if ``bare``."""
    track = known_motion(knots, rate_hz=rate_hz, turns=[(0.0, 30.0), (100.0, 50.0)]).track
    n = len(track)
    if bare:
        changes = {"speed_mps": np.full(n, np.nan), "course_rad": np.full(n, np.nan)} | changes
    return replace(track, **changes)


def moved(track: Track, rows: slice, north_m: float) -> Track:
    """Return the log with some positions further north."""
    latitude = track.latitude_deg.copy()
    latitude[rows] += north_m / 111_250.0
    return replace(track, latitude_deg=latitude)


def test_velocities_of_a_log_without_an_error() -> None:
    seen = observations_of(log())
    speed = np.interp(seen.time_s, *np.array(RIDDEN).T)
    told = np.hypot(*seen.velocity_mps.T)
    known = speed >= 0.5
    assert told[known] == pytest.approx(speed[known], abs=1e-6)
    # Slower than a crawl it says only "slow".
    assert np.isnan(told[~known]).all() and (seen.crawl == ~known).all()
    assert not seen.breaks.any() and seen.usual_interval_s == pytest.approx(0.1)
    assert (seen.factor == 1.0).all() and not seen.factor_stated
    assert not seen.slides.any() and not seen.held.any()
    east, north = (seen.position_m - seen.position_m[0]).T
    assert np.hypot(east[-1], north[-1]) == pytest.approx(235.0, rel=0.01)


def test_a_course_that_is_missing_is_taken_from_the_way() -> None:
    track = log([(0.0, 4.0), (20.0, 4.0)])
    course = track.course_rad.copy()
    course[50:60] = np.nan
    whole, lacking = (
        observations_of(replace(track, course_rad=c)) for c in (track.course_rad, course)
    )
    assert lacking.velocity_mps[50:60] == pytest.approx(whole.velocity_mps[50:60], abs=0.02)
    # From positions half a metre apart and less nothing is taken: 2 m/s for 0.2 s.
    slow = log([(0.0, 2.0), (20.0, 2.0)])
    course = slow.course_rad.copy()
    course[50:60] = np.nan
    none = observations_of(replace(slow, course_rad=course))
    assert np.isnan(none.velocity_mps[50:60]).all() and not none.crawl[50:60].any()


@pytest.mark.parametrize(("length_m", "crawls"), [(9.0, True), (11.0, False)])
def test_a_log_that_says_one_speed_while_it_travels_has_none(length_m: float, crawls: bool) -> None:
    track = log([(0.0, length_m / 20.0), (20.0, length_m / 20.0)])
    seen = observations_of(replace(track, speed_mps=np.full(len(track), 0.2)))
    assert seen.crawl.any() == crawls and np.isnan(seen.velocity_mps).all()


def test_the_usual_dilution_counts_once() -> None:
    hdop = np.full(501, 1.0)
    hdop[:6] = (2.0, 0.7, 0.5, 90.0, np.nan, 0.0)
    seen = observations_of(log(hdop=hdop))
    assert seen.factor[:6] == pytest.approx([2.0, 0.7, 0.6, 20.0, 1.0, 1.0])
    assert observations_of(log(hdop=np.append(hdop[:1], np.full(500, np.nan)))).factor.max() == 1.0


@pytest.mark.parametrize(("share", "slides"), [(0.4, True), (0.6, False)])
def test_badly_placed_positions_may_slide_unless_all_are(share: float, slides: bool) -> None:
    hdop = np.where(np.arange(501) < share * 501, 6.0, 1.0)
    assert observations_of(log(bare=True, hdop=hdop)).slides.any() == slides
    assert not observations_of(log(hdop=hdop)).slides.any()
    assert not observations_of(log(bare=True, hdop=np.minimum(hdop, 5.0))).slides.any()


def test_the_date_line_lies_in_the_middle_of_no_ride() -> None:
    track = log([(0.0, 5.0), (20.0, 5.0)])
    longitude = (track.longitude_deg - track.longitude_deg[100] + 180.0 + 180.0) % 360.0 - 180.0
    across = observations_of(replace(track, longitude_deg=longitude))
    plain = observations_of(track)
    assert across.position_m == pytest.approx(plain.position_m, abs=1e-3)
    assert abs(across.origin_deg[1]) == pytest.approx(180.0, abs=1e-3)


def test_two_usable_fixes_are_needed() -> None:
    track = log([(0.0, 5.0), (20.0, 5.0)])
    one = np.full(len(track), np.uint32(Flag.NO_TIME), dtype=np.uint32)
    one[3] = 0
    two = one.copy()
    two[4] = 0
    with pytest.raises(NotEnoughDataError, match="1 of 201 fixes can be used"):
        observations_of(replace(track, flags=one))
    assert len(observations_of(replace(track, flags=two)).rows) == 2


@pytest.mark.parametrize(("spike_mps", "kept"), [(0.3, True), (6.0, False)])
def test_a_spike_of_speed_is_left_out(spike_mps: float, kept: bool) -> None:
    track = log()
    speed = track.speed_mps.copy()
    speed[150] += spike_mps
    found = screen(observations_of(replace(track, speed_mps=speed)))
    assert bool(found.good_velocity[150]) is kept
    others = np.delete(found.good_velocity, 150)
    assert others.all() and found.good_position.all() and not found.steps.any()


@pytest.mark.parametrize("bare", [False, True])
def test_a_leap_that_comes_back_is_left_out(bare: bool) -> None:
    plain = screen(observations_of(log(bare=bare)))
    assert plain.good_position.all() and not plain.steps.any() and not plain.leaps.any()
    gone = screen(observations_of(moved(log(bare=bare), slice(150, 156), 12.0)))
    assert gone.excursions.nonzero()[0].tolist() == list(range(150, 156))
    assert not gone.good_position[150:156].any() and gone.good_position[:150].all()
    assert gone.good_position[156:].all() and not gone.steps.any()


def test_a_leap_that_stays_is_a_step_or_an_edge() -> None:
    stays = screen(observations_of(moved(log(), slice(250, None), 12.0)))
    assert stays.steps.nonzero()[0].tolist() == [249] and stays.good_position.all()
    # A few fixes elsewhere at either end are left out instead.
    for rows in (slice(0, 3), slice(498, None)):
        edge = screen(observations_of(moved(log(), rows, 12.0)))
        assert not edge.good_position[rows].any() and not edge.steps.any()
        assert edge.good_position.sum() == 498
    small = screen(observations_of(moved(log(), slice(150, 156), 0.1)))
    assert small.good_position.all() and not small.leaps.any()


# Up and down every few seconds for two minutes.
BUSY = [(0.0, 3.0), *((4.0 * k, 3.0 + 5.0 * (k % 2)) for k in range(1, 30))]


@pytest.mark.parametrize("lag_s", [0.0, 0.25, 0.6, -0.2])
def test_how_far_speed_runs_behind_is_found_to_a_hundredth(lag_s: float) -> None:
    track = log(BUSY)
    late = np.interp(track.time_s - lag_s, *np.array(BUSY).T)
    found = find_lag(observations_of(replace(track, speed_mps=late)))
    assert found is not None and found.lag_s == pytest.approx(lag_s, abs=0.02)
    assert found.counts == (lag_s != 0.0)


def test_a_lag_is_taken_off() -> None:
    """The middle of a pull or a steady stretch is as it was; corners err by what they bend."""
    track = log()
    late = np.interp(track.time_s - 0.3, *np.array(RIDDEN).T)
    mended = without_lag(observations_of(replace(track, speed_mps=late)), Lag(0.3, 0.01))
    told = np.hypot(*mended.velocity_mps.T)
    for first_s, last_s in ((6.0, 8.5), (10.0, 19.5), (20.5, 23.5), (31.0, 39.0)):
        inside = (mended.time_s > first_s) & (mended.time_s < last_s)
        wanted = np.interp(mended.time_s[inside], *np.array(RIDDEN).T)
        assert told[inside] == pytest.approx(wanted, abs=0.01)
        assert mended.bandwidth_error_mps[inside].max() == pytest.approx(0.0, abs=0.05)
    # At 20 s the speed bends by 1.5 m/s² on 0.3 s, which three fixes err alike by: receiver (4).
    corner = mended.bandwidth_error_mps[np.searchsorted(mended.time_s, 20.0)]
    bend, noise = (1.5 * 0.3) ** 2 * (1.0 - 0.25) ** 2, 12.0 * 0.08**2 / 3.0
    assert corner == pytest.approx(0.9 * np.sqrt(0.5 * 3.0 * (bend - noise)), rel=0.15)
    # Beyond the ends of the log nothing is reported.
    assert np.isnan(mended.velocity_mps[-3:]).all() and not mended.crawl[-3:].any()


@pytest.mark.parametrize(("lag_s", "sd_s", "counts"), [
    (0.2, 0.066, True), (0.2, 0.067, False), (0.051, 0.001, True), (0.049, 0.001, False),
    (-0.2, 0.066, True),
])  # fmt: skip
def test_a_lag_counts_beyond_three_deviations(lag_s: float, sd_s: float, counts: bool) -> None:
    assert Lag(lag_s, sd_s).counts is counts


def test_a_short_log_tells_no_lag() -> None:
    short: Observations = observations_of(log([(0.0, 2.0), (4.0, 8.0), (6.0, 2.0)]))
    assert find_lag(short) is None and find_lag(observations_of(log(bare=True))) is None


TIME_S = np.arange(0.0, 60.0, 0.2)
NONE = np.full(len(TIME_S), np.nan)


def settles(**changes: FloatArray) -> float:
    usual = {
        "hdop": NONE, "satellites": np.full(len(TIME_S), 10.0), "misfit": np.ones(len(TIME_S)),
        "drift_mps": NONE, "outrun": np.zeros(len(TIME_S), dtype=bool),
    } | changes  # fmt: skip
    return settled_from(TIME_S, usual_drift_mps=0.05, **usual)


def early(value: float, other: float, until_s: float = 20.0) -> FloatArray:
    return np.where(until_s - 1e-6 > TIME_S, value, other)


@pytest.mark.parametrize(("changes", "from_s"), [
    ({}, 0.0),
    # Without dilution the rest of the log tells: three satellites fewer than there, not two.
    ({"satellites": early(6.9, 10.0)}, 20.0), ({"satellites": early(7.1, 10.0)}, 0.0),
    # A misfit of 9 is bad in itself, a mean of 2.5 in all.
    ({"misfit": early(9.1, 1.0)}, 20.0), ({"misfit": early(2.4, 1.0)}, 0.0),
    # A slide of six times the usual one.
    ({"drift_mps": early(0.31, 0.0)}, 20.0), ({"drift_mps": early(0.29, 0.0)}, 0.0),
    # With dilution two seconds tell: too poor, still falling, or a flicker.
    ({"hdop": early(5.1, 1.0)}, 24.0), ({"hdop": early(5.0, 4.9)}, 0.0),
    ({"hdop": np.full(len(TIME_S), 5.1)}, np.nan), ({"misfit": np.full(len(TIME_S), 10.0)}, np.nan),
    ({"hdop": np.maximum(3.5 - 0.2 * TIME_S, 1.0)}, 15.3), ({"hdop": 3.0 - 0.03 * TIME_S}, 0.0),
    # No window begins where positions go farther than the speed.
    ({"outrun": TIME_S < 19.9}, 20.0),
])  # fmt: skip
def test_from_when_on_a_receiver_is_steady(changes: dict[str, FloatArray], from_s: float) -> None:
    found = settles(**changes)
    if np.isnan(from_s):
        assert np.isnan(found)
    else:
        assert found == pytest.approx(from_s, abs=2.6 if "hdop" in changes and from_s else 0.25)


@pytest.mark.parametrize(("share", "from_s"), [(0.2, 0.0), (0.3, 20.0)])
def test_a_quarter_of_bad_fixes_are_jumps(share: float, from_s: float) -> None:
    often = (np.arange(len(TIME_S)) % 10 < round(10 * share)) & (TIME_S < 19.9)
    # As bad as can be: what goes beyond is a jump's, and counts no more.
    found = settles(misfit=np.where(often, 6.0, 0.5))
    assert found == 0.0
    bad = settles(drift_mps=np.where(often, 9.0, 0.0))
    assert bad == pytest.approx(from_s, abs=10.1 if from_s else 0.0)
    assert (bad > 5.0) is (from_s > 0.0)


def test_positions_that_slid_in() -> None:
    """Fastest in its first seconds, at rest within 15 s, and ridden for 15 s more, slower."""

    def ride(first: float, rest_s: float, later: float, ridden_s: float) -> float:
        time_s = np.arange(0.0, 100.0, 0.5)
        speed = np.where(time_s < rest_s, first * (1.0 - time_s / rest_s) + 0.41, 0.0)
        speed = np.where((time_s > 40.0) & (time_s < 40.0 + ridden_s), later, speed)
        return slid_until(time_s, speed)

    assert ride(9.0, 10.0, 5.0, 20.0) == pytest.approx(10.0, abs=0.5)
    assert ride(9.0, 16.0, 5.0, 20.0) == 0.0
    assert ride(9.0, 10.0, 10.0, 20.0) == 0.0
    assert ride(9.0, 10.0, 5.0, 14.0) == 0.0
    assert ride(9.0, 10.0, 1.9, 20.0) == 0.0


@pytest.mark.parametrize(("count", "known"), [(9, False), (10, True)])
def test_ten_fixes_on_either_side_tell_a_factor(count: int, known: bool) -> None:
    residual = np.ones((60, 2))
    residual[:count] *= 4.0
    before = np.arange(60) < count
    found = settling_factor(residual, before)
    assert np.isfinite(found) == known == np.isfinite(settling_factor(residual, ~before))
    if known:
        # Mean of squares before, over the median after by that of chi² of two axes, ln 2.
        assert found == pytest.approx(np.sqrt(32.0 / (2.0 / np.log(2.0))))
    assert settling_factor(np.ones((60, 2)), np.arange(60) < 30) == 1.0


@pytest.fixture(scope="module")
def smoothed() -> Motion:
    return estimate_motion(log())


def test_a_log_without_an_error_is_smoothed_to_its_ride(smoothed: Motion) -> None:
    knots = np.array(RIDDEN).T
    time_s = smoothed.track.time_s
    speed = np.interp(time_s, *knots)
    # Away from the corners of this ride, which no machine has.
    away = np.min(np.abs(time_s[:, None] - knots[0]), axis=1) > 0.6
    moving = away & (speed > 1.0)
    assert smoothed.speed_mps[away] == pytest.approx(speed[away], abs=0.04)
    slope = np.gradient(speed, time_s)
    assert smoothed.accel_mps2[moving] == pytest.approx(slope[moving], abs=0.2)
    course = np.radians(30.0 + 0.2 * time_s)
    assert smoothed.course_rad[moving] == pytest.approx(course[moving], abs=0.01)
    assert smoothed.yaw_rate_radps[moving] == pytest.approx(np.radians(0.2), abs=0.02)
    assert np.isnan(smoothed.course_rad[time_s < 4.0]).all()
    assert smoothed.velocity_east_mps[moving] == pytest.approx(
        (speed * np.sin(course))[moving], abs=0.06
    )
    assert 0.002 < np.nanmedian(smoothed.speed_sd_mps) < 0.05
    way = np.hypot(smoothed.east_m - smoothed.east_m[0], smoothed.north_m - smoothed.north_m[0])
    assert way[-1] == pytest.approx(235.0, rel=0.01)
    assert smoothed.used.all() and smoothed.settled_s == 0.0 and smoothed.gaps == ()
    (piece,) = smoothed.pieces
    assert (piece.start_s, piece.end_s) == pytest.approx((0.0, 50.0))
    assert smoothed.rate_hz == pytest.approx(10.0) and smoothed.speed_source == "reported"
    bad = np.uint32(Flag.JUMP | Flag.SPEED_JUMP | Flag.SETTLING | Flag.GAP | Flag.CONTRADICTED)
    assert not (smoothed.flags & bad).any()
    stands = (smoothed.flags & np.uint32(Flag.STANDSTILL)) != 0
    assert stands[(time_s > 1.0) & (time_s < 4.0)].all() and not stands[speed > 1.0].any()
    assert (
        "filter: 501 of 501 fixes used, 0 positions and 0 reported speeds not believed, "
        in (smoothed.history[-2])
    )


def test_paths_about_a_known_ride(smoothed: Motion) -> None:
    paths = smoothed.paths(10.0, 19.0, draws=20)
    assert paths.speed_mps[:, 0] == pytest.approx(8.0, abs=0.04)
    assert paths.distance_m[-1, 0] == pytest.approx(72.0, abs=0.2)
    spread = paths.speed_mps[:, 21:].std(axis=1)
    assert 0.005 < np.median(spread) < 0.1
    course = np.degrees(paths.turned_rad.sum(axis=0))
    assert course[0] == pytest.approx(1.8, abs=0.3)
    assert abs(paths.tangential_accel_mps2[:, 0]).max() < 0.3


def test_a_gap_and_a_wild_fix_are_told() -> None:
    whole = moved(log(), slice(200, 201), 30.0)
    kept = (whole.time_s < 30.0) | (whole.time_s > 36.0)
    names = [name for name, value in vars(whole).items() if isinstance(value, np.ndarray)]
    track = replace(whole, **{name: getattr(whole, name)[kept] for name in names})
    found = estimate_motion(track)
    (gap,) = found.gaps
    assert gap == pytest.approx((29.9, 36.1))
    assert [piece.end_s for piece in found.pieces] == pytest.approx([29.9, 50.0])
    jumps = np.flatnonzero(found.flags & np.uint32(Flag.JUMP))
    assert jumps.tolist() == [200]
    gaps = np.flatnonzero(found.flags & np.uint32(Flag.GAP))
    assert found.track.time_s[gaps] == pytest.approx([36.1])
    assert "1 positions and 0 reported speeds not believed" in " ".join(found.history)
    assert "; 1 gaps; " in found.history[-2] or "1 gaps" in " ".join(found.history)
    speed = np.interp(found.track.time_s, *np.array(RIDDEN).T)
    inside = np.abs(found.track.time_s - 15.0) < 4.0
    assert found.speed_mps[inside] == pytest.approx(speed[inside], abs=0.05)


def test_bare_positions_give_the_same_ride_less_surely() -> None:
    found = estimate_motion(log(bare=True))
    speed = np.interp(found.track.time_s, *np.array(RIDDEN).T)
    away = np.min(np.abs(found.track.time_s[:, None] - np.array(RIDDEN)[:, 0]), axis=1) > 0.8
    assert found.speed_source == "positions"
    assert found.speed_mps[away] == pytest.approx(speed[away], abs=0.15)
    assert np.nanmedian(found.speed_sd_mps) > 0.02


@pytest.mark.parametrize(("factor", "first_s", "flagged"), [(2.0, 12.0, True), (1.01, 12.0, False)])
def test_a_speed_that_positions_contradict_is_not_believed(
    factor: float, first_s: float, flagged: bool
) -> None:
    """Twice the speed for four seconds, or 1 % too much."""
    track = log()
    wrong = (track.time_s > first_s) & (track.time_s < first_s + 4.0)
    seen = observations_of(replace(track, speed_mps=np.where(wrong, factor, 1.0) * track.speed_mps))
    against = contradictions(seen, screen(seen))
    assert against.any() == flagged
    if flagged:
        told = seen.time_s[against]
        assert against[wrong].all()
        # A second beside it nothing is believed either.
        assert told.min() > first_s - 2.6 and told.max() < first_s + 4.0 + 2.6
