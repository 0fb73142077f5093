"""What rides of a known machine say of it, by hand: rates, tops, starts, and slope and wind.

Rates are differences of speed over time; on a slope of sine s a machine loses g s, in a wind w
ahead its air drag is that of v + w: machine (6) to (9). Densities of normal errors: any textbook.
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion
from scipy.stats import multivariate_normal

from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.filtering.motion import Motion
from ridelog.filtering.standing_start.paths import UNSEEN_START_S
from ridelog.machine.calibration_data import (
    CalibrationData,
    NearTop,
    TimedStart,
    coasting_of,
    near_top_of,
    pull_of,
    starts_of,
    top_of,
)
from ridelog.machine.drive import Drive, RoadLoad, top_speed
from ridelog.machine.fit import _log_likelihood, _near_top, _next_step, _top, from_setup
from ridelog.machine.on_strip import StripSeen, strips_seen
from ridelog.machine.passages import Curve, curve_by_way, passage_of, way_of
from ridelog.machine.priors import COUNT, draw, machines_of
from ridelog.machine.setup import MachineSetup
from ridelog.machine.standing import launch_time_s
from ridelog.machine.strip import Known, Strip, side_of, strips_of

G = STANDARD_GRAVITY_MPS2
# Out and back: 2 m/s² up to 8 m/s, held, braked.
THERE = [(0.0, 0.0), (4.0, 0.0), (8.0, 8.0), (14.0, 8.0), (16.0, 0.0), (20.0, 0.0), (25.0, 8.0),
         (31.0, 8.0), (33.0, 0.0), (36.0, 0.0)]  # fmt: skip
TURNS = [(0.0, 0.0), (17.0, 0.0), (19.0, 180.0), (40.0, 180.0)]


def about(value: float, sd: float) -> Estimate:
    return Estimate(value, value - QUANTILE * sd, value + QUANTILE * sd)


@pytest.fixture(scope="module")
def there_and_back() -> Motion:
    return known_motion(THERE, turns=TURNS, error_mps=0.05)


def test_a_rate_is_the_difference_of_speed_over_time(there_and_back: Motion) -> None:
    grid = np.linspace(1.0, 7.0, 7)
    up, back = (passage_of(there_and_back, span, grid) for span in ((3.0, 9.0), (19.0, 26.0)))
    assert up.rate_mps2[:, 0] == pytest.approx(2.0, abs=0.01)
    assert back.rate_mps2[:, 0] == pytest.approx(1.6, abs=0.01)
    assert up.course_rad == pytest.approx(0.0) and abs(back.course_rad) == pytest.approx(np.pi)
    down = passage_of(there_and_back, (13.5, 16.0), grid[::-1])
    assert down.rate_mps2[:, 0] == pytest.approx(4.0, abs=0.02)
    # What is not passed has no rate.
    high = passage_of(there_and_back, (3.0, 9.0), np.array([6.0, 7.0, 9.0]))
    assert high.rate_mps2[0, 0] == pytest.approx(2.0, abs=0.01)
    assert np.isnan(high.rate_mps2[1]).all()
    curve = curve_by_way([up, back, up], grid, 0.0)
    assert curve is not None and curve.ways.tolist() == [1.0] * 6 + [-1.0] * 6
    assert curve.accel_mps2 == pytest.approx([2.0] * 6 + [1.6] * 6, abs=0.01)
    assert curve.speed_mps[:6] == pytest.approx(grid[:-1] + 0.5)


def passage(*rows: float, course_rad: float = 0.0, spread: float = 0.1) -> Any:
    """Return rates known to a deviation, in the first column the fitted ones."""
    errors = spread * np.resize([-1.0, 1.0], 40)
    rates = np.array(rows)[:, None] + np.concatenate([[0.0], errors])
    return SimpleNamespace(rate_mps2=rates, course_rad=course_rad)


def test_means_of_passages_have_their_own_and_their_common_scatter() -> None:
    grid = np.array([1.0, 2.0, 3.0])
    one = curve_by_way([passage(2.0, 1.0)], grid, 0.0)
    assert one is not None and one.accel_mps2 == pytest.approx([2.0, 1.0])
    # Twenty draws of 0.1 either way: 20 x 0.01 over 19; both speeds err alike.
    own = 0.01 * 20.0 / 19.0
    assert one.covariance == pytest.approx(np.full((2, 2), own))
    two = curve_by_way([passage(2.0, 1.0), passage(2.0, 2.0)], grid, 0.0)
    assert two is not None and two.accel_mps2 == pytest.approx([2.0, 1.5])
    # Halves of two independent ones, and of the second speed what they differ by: 0.25 less own.
    assert two.covariance[0] == pytest.approx([0.5 * own, 0.5 * own])
    assert two.covariance[1, 1] == pytest.approx(0.5 * own + 0.5 * (0.25 - own))
    lacking = curve_by_way([passage(2.0, np.nan), passage(3.0, 1.5)], grid, 0.0)
    assert lacking is not None and lacking.accel_mps2 == pytest.approx([2.5, 1.5])
    apart = curve_by_way([passage(2.0, 1.0), passage(3.0, 1.0, course_rad=1.4)], grid, 0.0)
    assert apart is not None and len(apart.speed_mps) == 2
    # What the draws add to the fitted rate is taken off it.
    biased = passage(2.0, 1.0)
    biased.rate_mps2[:, 1:21] += 0.3
    free = curve_by_way([biased], grid, 0.0)
    assert free is not None and free.accel_mps2 == pytest.approx([1.7, 0.7])


@pytest.mark.parametrize(("course", "way"), [(0.1, 1.0), (np.pi - 0.1, -1.0), (0.5 * np.pi, 0.0)])
def test_which_way_along_a_line(course: float, way: float) -> None:
    assert way_of(course, 0.0) == way and way_of(course + 2.0 * np.pi, 0.0) == way


def run(start_s: float, top_s: float, top_mps: float = 8.0, course: float = 0.0) -> Any:
    """Return a start as launches find it."""
    return SimpleNamespace(
        run=SimpleNamespace(earliest_s=start_s, top_s=top_s, top_mps=top_mps, course_rad=course)
    )


def test_the_pull_leaves_the_opening_and_the_end_out(there_and_back: Motion) -> None:
    starts = [run(3.0, 8.0), run(19.0, 25.0, course=np.pi)]
    found = pull_of(there_and_back, starts, 0.0)
    assert found is not None
    # From 1 m/s to 7 % below the top, and nothing within 0.56 m/s of it.
    assert found.speed_mps.min() > 1.0 and found.speed_mps.max() < 8.0 - 0.56
    assert found.accel_mps2[found.ways > 0.0] == pytest.approx(2.0, abs=0.02)
    assert found.accel_mps2[found.ways < 0.0] == pytest.approx(1.6, abs=0.02)
    # A start that never gets to six tenths of the best one is let be, and so is a gentle one.
    assert pull_of(there_and_back, [*starts, run(19.0, 22.0, 4.7)], 0.0) is not None
    short = pull_of(there_and_back, [run(3.0, 8.0), run(19.0, 22.0, 4.7)], 0.0)
    assert short is not None and (short.ways == 1.0).all()
    gentle = known_motion([(0.0, 0.0), (4.0, 0.0), (8.0, 8.0), (12.0, 0.0), (16.0, 0.0),
                           (20.8, 8.0), (24.0, 8.0)])  # fmt: skip
    both = pull_of(gentle, [run(3.0, 8.0), run(15.0, 20.8)], 0.0)
    # 1.67 of 2 m/s² are less than 0.88.
    assert both is not None and both.accel_mps2 == pytest.approx(2.0, abs=0.03)
    assert pull_of(there_and_back, [], 0.0) is None


def test_rolling_is_read_from_its_stretches() -> None:
    motion = known_motion([(0.0, 8.0), (4.0, 8.0), (14.0, 3.0), (16.0, 3.0)])
    coast = SimpleNamespace(start_s=4.0, end_s=14.0, from_mps=8.0, to_mps=3.0)
    coasting: Any = SimpleNamespace(coasts=(coast,))
    found = coasting_of(motion, coasting, 0.0)
    assert found is not None and found.accel_mps2 == pytest.approx(0.5, abs=0.01)
    assert found.speed_mps.min() > 3.0 and found.speed_mps.max() < 8.0
    assert coasting_of(motion, coasting, 0.0, ((13.0, 15.0),)) is None
    assert coasting_of(motion, coasting, 0.0, ((14.0, 15.0),)) is not None
    none: Any = SimpleNamespace(coasts=())
    assert coasting_of(motion, none, 0.0) is None


def top(two_way: Estimate | None, *runs: float, **more: Any) -> Any:
    usual: dict[str, Any] = {"best_5s_mps": None, "best_1s_mps": None, "at_s": 0.0}
    ends = zip(runs, (14.0, 31.0), strict=False)
    each = [SimpleNamespace(speed_mps=about(v, 0.1), end_s=t) for v, t in ends]
    return SimpleNamespace(two_way_mps=two_way, two_way_runs=tuple(each), **(usual | more))


def test_the_top_with_what_wind_may_have_done() -> None:
    """Of two directions 0.15 of half their difference, of one 2 % of the speed."""
    both = top_of(top(about(8.0, 0.05), 8.4, 7.6))
    assert both == pytest.approx((8.0, np.hypot(0.05, 0.15 * 0.4)))
    alone = top_of(top(None, best_5s_mps=about(9.0, 0.1), best_1s_mps=about(9.5, 0.1)))
    assert alone == pytest.approx((9.0, np.hypot(0.1, 0.18)))
    second = top_of(top(None, best_1s_mps=about(9.5, 0.1)))
    assert second == pytest.approx((9.5, np.hypot(0.1, 0.19)))
    assert top_of(top(None, best_1s_mps=about(0.9, 0.1))) is None
    assert top_of(top(None)) is None


def test_the_last_seconds_at_the_top() -> None:
    """0.1 m/s² still to gain in one direction, 0.2 lost in the other; 2.5 s are looked at."""
    motion = known_motion(
        [(0.0, 0.0), (4.0, 7.0), (14.0, 8.0), (16.0, 0.0), (20.0, 0.0), (24.0, 8.0), (31.0, 6.6),
         (33.0, 0.0)], turns=TURNS, error_mps=0.05,
    )  # fmt: skip
    first, second = near_top_of(motion, top(about(8.0, 0.1), 8.0, 7.0), 0.0)
    assert (first.way, second.way) == (1.0, -1.0)
    assert (first.accel_mps2, second.accel_mps2) == pytest.approx((0.1, -0.2), abs=0.01)
    assert (first.speed_mps, second.speed_mps) == pytest.approx((8.0 - 0.125, 6.6 + 0.25), abs=0.01)
    assert first.speed_sd_mps == pytest.approx(0.05, rel=0.02)
    alone = near_top_of(motion, top(None, best_1s_mps=about(8.0, 0.1), at_s=13.0), 0.0)
    assert len(alone) == 1 and alone[0].speed_mps == pytest.approx(7.875, abs=0.01)
    assert near_top_of(motion, top(None), 0.0) == ()
    # Across the strip nothing is known: only the first is taken.
    assert len(near_top_of(motion, top(about(8.0, 0.1), 8.0, 7.0), 0.5 * np.pi)) == 1


def timed(first_s: float, spread_s: float, course: float = 0.0, top_mps: float = 8.0) -> Any:
    times = first_s + spread_s * np.resize([-1.0, 1.0], 200)
    one = run(0.0, 9.0, top_mps, course)
    # One draw in four is of a ramp, and starts by as much earlier as a ramp loses more.
    opening = np.repeat([0, 1], [150, 50])
    start_s = -0.2705 * opening
    return SimpleNamespace(
        run=one.run, start_s=start_s, opening=opening, alike_s=0.077,
        passes=lambda goal: (times + start_s)[None, :],
    )  # fmt: skip


def test_starts_are_timed_by_direction() -> None:
    starts = [timed(1.0, 0.3), timed(1.2, 0.3), timed(1.35, 0.3), timed(1.1, 0.3, course=np.pi),
              timed(0.2, 0.3, top_mps=4.7)]  # fmt: skip
    found = starts_of(starts, 0.0)
    assert [one.way for one in found] == [1.0, -1.0]
    # A third slower than the quickest is a dawdle; of the others the mean, less what a hand and one
    # ramp in four take to open.
    assert found[0].time_s == pytest.approx(1.1 - 0.092 - 0.25 * 0.2705, abs=0.005)
    assert found[0].ramps == pytest.approx(0.25)
    # Ramps that start where hands do are none; nothing but ramps is one.
    quick, slow = timed(1.0, 0.0), timed(1.0, 0.0)
    quick.start_s, slow.opening = np.zeros(200), np.ones(200)
    for one, share in ((quick, 0.0), (slow, 1.0)):
        assert starts_of([one], 0.0)[0].ramps == pytest.approx(share)
    # Nine in ten lie within 0.3 s; what an opening hides is no part of it.
    own = np.sqrt((0.3 / QUANTILE) ** 2 - UNSEEN_START_S**2)
    assert found[0].time_sd_s == pytest.approx(own / np.sqrt(2.0), rel=0.05)
    assert found[1].time_sd_s == pytest.approx(own, rel=0.05)
    # What they differ by counts if it is more: 0.2 s of two are 0.14 each, 0.1 of their mean.
    sure = starts_of([timed(1.0, 0.0), timed(1.2, 0.0)], 0.0)
    assert sure[0].time_sd_s == pytest.approx(0.1, rel=0.01)
    assert starts_of([timed(1.0, 0.0)], 0.0)[0].time_sd_s == pytest.approx(0.02)
    assert starts_of([], 0.0) == ()


SLOPE_SD = 0.06 / 1.6449
# 10 K of weather: 0.8 % a kelvin of rolling and as much by the tyres' pressure, air as an ideal gas
# at 293 K and 1 % by its pressure; kelvins move both.
TYRES_SD, AIR_SD = 0.08 * 2.0**0.5, float(np.hypot(10.0 / 293.0, 0.01))
BOTH = 0.08 * 10.0 / 293.0 / (TYRES_SD * AIR_SD)
DRIVE = machines_of(
    MachineSetup(machine_mass_kg=60.0, rider_mass_kg=40.0, battery_cells=10, motor_rpm_per_v=60.0,
                 front_teeth=10, rear_teeth=60, tyre_circumference_m=1.2), draw(40),
)  # fmt: skip


def curve(speeds: FloatArray, accel: FloatArray, way: float = 1.0) -> Curve:
    ways = np.full(len(speeds), way)
    return Curve(speeds, accel, 1e-4 * np.eye(len(speeds)), ways)


def errors(ride: Curve) -> FloatArray:
    """Return the covariance (10) of four readings of one direction, smoothed by a straight line."""
    v, rate = ride.speed_mps, np.maximum(ride.accel_mps2, 0.012)
    log_rate = np.log(rate)
    apart = v - v.mean()
    smooth = np.exp(log_rate.mean() + apart * (apart @ log_rate) / (apart @ apart))
    square = np.diag((smooth / rate) ** 2)
    day = 0.012**2 * np.outer(smooth, smooth)
    return square @ ride.covariance @ square + day + np.diag((0.015 * smooth) ** 2 + 0.012**2)


def expected(drive: Drive, ride: Curve, slope_sd: float, wind_sd: float) -> FloatArray:
    """Return the log density of what was seen for each machine, all of (8) and (26) normal."""
    v, seen, way = ride.speed_mps, ride.accel_mps2, ride.ways
    count = len(v)
    noise = errors(ride)
    result = []
    for number in range(len(drive.mass_kg)):
        pull = drive.pull_mps2(v)[number]
        tilt = -way * G / drive.inertia_factor[number]
        moved = drive.mass_kg[number] * drive.inertia_factor[number]
        gust = -2.0 * way * v * drive.load.c_ns2pm2[number] / moved
        tyres = TYRES_SD * drive.rolling[number] * G / drive.inertia_factor[number] * np.ones(count)
        air = AIR_SD * v**2 * drive.load.c_ns2pm2[number] / moved
        whole = noise + slope_sd**2 * np.outer(tilt, tilt) + wind_sd**2 * np.outer(gust, gust)
        whole = whole + np.outer(tyres, tyres) + np.outer(air, air)
        whole = whole + BOTH * (np.outer(tyres, air) + np.outer(air, tyres))
        result.append(multivariate_normal(np.zeros(count), whole).logpdf(seen - pull))
    return np.array(result)


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_pull_on_an_unknown_slope_is_a_normal_density(way: float) -> None:
    """Nine strips in ten are within 6 %, wind is 2 m/s; without air drag it does nothing."""
    still = replace(DRIVE, load=replace(DRIVE.load, c_ns2pm2=1e-9 * DRIVE.load.c_ns2pm2))
    # On the nodes of the pull, where it is exact.
    speeds = np.linspace(0.0, 7.2, 49)[[8, 20, 32, 48]]
    seen = np.median(still.pull_mps2(speeds), axis=0) + np.array([0.1, 0.0, -0.05, 0.02])
    ride = CalibrationData("a", pull=curve(speeds, seen, way))
    likely, known = Strip([ride]).seen(still)
    wanted = expected(still, curve(speeds, seen, way), SLOPE_SD, 2.0)
    assert likely - likely[0] == pytest.approx(wanted - wanted[0], abs=1e-3)
    # What is left of slope: the usual formula of one unknown with a prior.
    tyres = TYRES_SD * still.rolling[0] * G / still.inertia_factor[0]
    noise = errors(curve(speeds, seen, way)) + tyres**2
    tilt = -way * G / still.inertia_factor[0] * np.ones(4)
    precision = tilt @ np.linalg.solve(noise, tilt) + SLOPE_SD**-2
    miss = seen - still.pull_mps2(speeds)[0]
    assert known.covariance[0, 0, 0] == pytest.approx(1.0 / precision, rel=1e-3)
    wanted_slope = tilt @ np.linalg.solve(noise, miss) / precision
    assert known.mean[0, 0] == pytest.approx(wanted_slope, rel=1e-2)


def test_low_readings_are_no_surer_than_high_ones() -> None:
    """Every time is off by a tenth: weighed at the readings, their mean would be 4 % too low."""
    rate = 2.0 * (1.0 + 0.1 * np.random.default_rng(8).standard_normal(400))
    shares = np.linspace(0.9, 1.1, 81)
    alike = machines_of(MachineSetup(), np.zeros((81, COUNT)))
    moved = alike.mass_kg * alike.inertia_factor
    nothing = np.full(81, 1e-9)
    alone = replace(alike, load=RoadLoad(2.0 * shares * moved, nothing, nothing), idle_n=nothing)
    # A time's error moves a rate by its square.
    stated = np.diag((0.1 * rate**2 / 2.0) ** 2)
    seen = Curve(np.linspace(3.0, 9.0, 400), rate, stated, np.zeros(400))
    likely = Strip([CalibrationData("a", coasting=seen)]).seen(alone)[0]
    assert shares[np.argmax(likely)] == pytest.approx(0.5 * rate.mean(), abs=0.008)


def test_rolling_is_seen_against_what_resists() -> None:
    still = replace(DRIVE, load=replace(DRIVE.load, c_ns2pm2=1e-9 * DRIVE.load.c_ns2pm2))
    speeds = np.array([3.0, 5.0, 7.0])
    load = still.rolling_out
    slows = load.force_n(speeds) / (still.mass_kg * still.inertia_factor)[:, None]
    ride = CalibrationData("a", coasting=curve(speeds, np.median(slows, axis=0)))
    likely, known = Strip([ride]).seen(still)
    # The machine that slows down as seen is among the likeliest; a level strip is found for it.
    best = int(np.argmin(np.abs(slows - ride.coasting.accel_mps2).sum(axis=1)))  # type: ignore[union-attr]
    assert likely[best] > np.median(likely) and abs(known.mean[best, 0]) < 0.004
    # One that resists more is seen to roll downhill.
    more = slows[:, 1] - np.median(slows[:, 1])
    assert np.corrcoef(more, known.mean[:, 0])[0, 1] < -0.95


def test_what_slope_and_wind_do_at_the_top_by_hand() -> None:
    rides = [CalibrationData("a"), CalibrationData("b", axis_rad=np.pi)]
    strip = Strip(rides)
    count = len(DRIVE.mass_kg)
    mean = np.tile([0.01, 1.0, -2.0, 0.1, -0.05], (count, 1))
    known = Known(mean, np.tile(1e-6 * np.eye(5), (count, 1, 1)))
    ends = [NearTop(8.0, 0.1, 0.0, 0.05, 1.0), NearTop(7.0, 0.1, 0.0, 0.05, -1.0)]
    moved = DRIVE.mass_kg * DRIVE.inertia_factor
    tilt, drag = G / DRIVE.inertia_factor, DRIVE.load.c_ns2pm2 / moved
    for number, side in ((0, 1.0), (1, -1.0)):
        push, along = strip.push(DRIVE, known, number, ends)
        wind = mean[0, 1 + number]
        for place, end in enumerate(ends):
            way = side * end.way
            wanted = way * tilt * 0.01 + drag * (2.0 * way * end.speed_mps * wind + wind**2)
            # Tyres a tenth heavier, air a twentieth thinner, in either direction alike.
            wanted = wanted + 0.1 * DRIVE.rolling * tilt - 0.05 * drag * end.speed_mps**2
            assert push[:, place] == pytest.approx(wanted)
            assert along[:, place, 0] == pytest.approx(way * tilt)
            assert along[:, place, 1 + number] == pytest.approx(2.0 * way * end.speed_mps * drag)
            assert (along[:, place, 2 - number] == 0.0).all()
    assert [side_of(ride, rides[0]) for ride in rides] == [1.0, -1.0]


def test_an_update_is_that_of_kalman() -> None:
    """One number with a variance of 4, seen with one of 1: four fifths of the miss are taken."""
    known = Known(np.array([[1.0, 5.0]]), np.array([np.diag([4.0, 9.0])]))
    found = known.updated(np.array([[[1.0, 0.0]]]), np.array([[10.0]]), np.array([[[1.0]]]))
    assert found.mean[0] == pytest.approx([9.0, 5.0])
    assert found.covariance[0] == pytest.approx(np.diag([0.8, 9.0]))


@pytest.mark.parametrize(("north_m", "east_m", "turned_deg", "together"), [
    (990.0, 0.0, 0.0, True), (1010.0, 0.0, 0.0, False), (0.0, 990.0, 0.0, True),
    (0.0, 1010.0, 0.0, False), (710.0, 710.0, 0.0, False), (690.0, 690.0, 0.0, True),
    (0.0, 0.0, 19.0, True), (0.0, 0.0, 21.0, False), (0.0, 0.0, 165.0, True),
])  # fmt: skip
def test_a_kilometre_and_twenty_degrees_are_one_strip(
    north_m: float, east_m: float, turned_deg: float, together: bool
) -> None:
    """A degree of latitude of 6371 km is 111.195 km; at 60 degrees one of longitude half of it."""
    place = 60.0 + north_m / 111_195.0, 9.0 + east_m / (111_195.0 * 0.5)
    rides = [CalibrationData("a", place_deg=(60.0, 9.0)),
             CalibrationData("b", place_deg=place, axis_rad=np.radians(turned_deg))]  # fmt: skip
    assert len(strips_of(rides)) == (1 if together else 2)
    lost = replace(rides[1], place_deg=None)
    assert len(strips_of([rides[0], lost])) == 2


def held(top_mps: float, sd_mps: float, speed: FloatArray) -> FloatArray:
    """Return the density of a top by hand: reached, or one time in twenty only a lower bound."""
    sd = np.hypot(sd_mps, 0.007 * top_mps)
    reached = np.exp(-0.5 * ((speed - top_mps) / sd) ** 2) / sd
    beyond = np.exp(-np.maximum(speed / top_mps - 1.0, 0.0) / 0.3)
    below = np.where(speed > top_mps, beyond, reached) / (0.3 * top_mps)
    return np.asarray(np.log(np.maximum(0.95 * reached + 0.05 * below, 1e-300)))


def test_a_top_speed_was_reached_or_held_back_from() -> None:
    speed = top_speed(DRIVE)[0]
    at = float(np.nanmedian(speed))
    speed = np.nan_to_num(speed)
    near = np.abs(speed - at) < 2.0
    assert near.sum() > 5
    assert _top(DRIVE, at, 0.1)[near] == pytest.approx(held(at, 0.1, speed)[near])
    ride = CalibrationData("a", top_mps=(at, 0.1))
    found, known = _log_likelihood(DRIVE, [Strip([ride])])
    assert found[near] == pytest.approx(held(at, 0.1, speed)[near]) and len(known) == 1


def test_timed_starts_share_how_nearly_half_an_opening_is_lost() -> None:
    time_s = launch_time_s(DRIVE, 2.0)
    seen = float(np.nanmedian(time_s))
    starts = (
        TimedStart(2.0, seen, 0.05, 1.0, 0.01), TimedStart(2.0, seen + 0.1, 0.08, -1.0, 0.05)
    )  # fmt: skip
    ride = CalibrationData("a", starts=starts)
    found, _ = _log_likelihood(DRIVE, [Strip([ride])])
    noise = np.diag([0.05**2, 0.08**2]) + 0.03**2
    miss = np.stack([time_s - seen, time_s - seen - 0.1])
    wanted = -0.5 * np.einsum("kn,kl,ln->n", miss, np.linalg.inv(noise), miss)
    # Of ramps, one in four before, the starts leave 0.03; how long either takes they do not tell.
    ramp = DRIVE.opening_s > 0.45
    assert 0.2 < ramp.mean() < 0.3
    wanted += np.where(ramp, np.log(0.03 / 0.25), np.log(0.97 / 0.75))
    known = np.isfinite(wanted)
    assert found[known] == pytest.approx(wanted[known])


def test_the_end_of_a_run_weighs_speed_and_trend() -> None:
    """One direction of a machine on a level that is known: Student's t of (7) by hand."""
    ride = CalibrationData("a", near_top=(NearTop(6.0, 0.05, 0.02, 0.03, 1.0),))
    strip = Strip([ride])
    count = len(DRIVE.mass_kg)
    level = Known(np.zeros((count, 4)), np.tile(1e-12 * np.eye(4), (count, 1, 1)))
    found, _ = _near_top(DRIVE, strip, level, 0)
    at, low, high = DRIVE.pull_mps2(np.array([6.0, 5.85, 6.15])).T
    steep = np.maximum((low - high) / 0.3, 0.01)
    day = 0.007 * 6.0
    variance = 0.03**2 + 0.012**2 + (steep * 0.05) ** 2 + (day * steep) ** 2
    reached = steep / np.sqrt(variance) * (1.0 + (at - 0.02) ** 2 / variance / 4.0) ** -2.5
    beyond = np.maximum(np.nan_to_num(top_speed(DRIVE)[0]) / 6.0 - 1.0, 0.0) / 0.3
    slower = np.where(at > 0.02, np.exp(-beyond), 0.0) * np.sqrt(2.0 * np.pi) / (0.3 * 6.0)
    # Nought but for what the level is taken to be open by.
    assert found == pytest.approx(np.log(0.95 * reached + 0.05 * slower), abs=1e-6)


def test_as_much_is_let_in_as_keeps_half() -> None:
    """Machines that are alike let all of it in at once."""
    even = np.zeros(100)
    assert _next_step(even, 0.7) == 0.7
    # A tenth is likelier by d: (0.1 + 0.9 w)² / (0.1 + 0.9 w²) is a half at w = 0.1547.
    odds = np.where(np.arange(100) < 10, 5.0, 0.0)
    w = np.exp(-5.0 * _next_step(odds, 1.0))
    assert (0.1 + 0.9 * w) ** 2 / (0.1 + 0.9 * w**2) == pytest.approx(0.5, abs=1e-3)


def test_a_strip_is_told_as_it_rises() -> None:
    def seen(slope: float, wind: float) -> StripSeen:
        spread = np.linspace(-0.001, 0.001, 200)
        strip = SimpleNamespace(
            rides=("a",), axis_rad=np.radians(30.0), slope=slope + spread,
            winds_mps=np.array([wind + 100.0 * spread]), both_ways=True,
        )  # fmt: skip
        fitted: Any = SimpleNamespace(strips=(strip,))
        (one,) = strips_seen(fitted)
        return one

    up, down = seen(0.02, 1.0), seen(-0.02, 1.0)
    assert (up.course_deg, down.course_deg) == pytest.approx((30.0, 210.0))
    assert up.slope.value == pytest.approx(0.02) and down.slope.value == pytest.approx(0.02)
    assert (up.winds_mps[0].value, down.winds_mps[0].value) == pytest.approx((1.0, -1.0))
    assert down.winds_mps[0].low < -1.0 < down.winds_mps[0].high


def test_a_set_up_alone_has_twice_as_many_machines() -> None:
    found = from_setup(MachineSetup(), 50)
    assert len(found.z) == 50 and found.rides == () and set(found.learnt.values()) == {1.0}
