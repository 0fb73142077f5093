"""Windows of starts along straight lines of speed: v = a t, s = v² / (2 a), by hand.

Full are starts that are not clearly slower than the quickest of their direction; the mean of two
directions is the harmonic one; a factor of 1.5 between them is wind or slope: launches (4) to (6).
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.acceleration.runs import RunDraws
from ridelog.analysis.launches.measure import mean_of_starts, measure_launches
from ridelog.analysis.launches.windows import (
    default_windows,
    parse_rollout,
    parse_window,
    round_in,
    suited,
)
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.units import SPEED_UNITS

COLUMNS = 200


def drawn(accel: float, course_deg: float = 0.0, *, top_mps: float = 9.0, start_s: float = 3.0,
          spread_s: float = 0.1, standing: bool = True) -> RunDraws:  # fmt: skip
    """Return draws that leave rest up to a spread before and after an instant, all alike then."""
    begin = start_s + np.linspace(-spread_s, spread_s, COLUMNS)
    time_s = np.arange(0.0, 20.0, 0.05)
    speed = np.clip(accel * (time_s[:, None] - begin), 0.0, top_mps)
    run: Any = SimpleNamespace(
        standing=standing, top_mps=top_mps, course_rad=np.radians(course_deg)
    )
    return RunDraws(run, begin, time_s, speed, 0.077)


WINDOWS = tuple(map(parse_window, ("0-18 km/h", "9-18 km/h", "0-10 m", "0-40 km/h", "0-200 m")))


@pytest.mark.parametrize("accel", [1.5, 3.0])
def test_windows_of_even_acceleration(accel: float) -> None:
    found = measure_launches((drawn(accel),), windows=WINDOWS)
    (launch,) = found.launches
    assert launch.start_s == pytest.approx(3.0, abs=0.002) and launch.top_mps == 9.0
    # Nine in ten of evenly spread starts lie within 0.09 s.
    assert launch.start_estimate_s.high == pytest.approx(3.09, abs=0.003)
    to, rolling, way, never, far = launch.windows
    assert to.time_s is not None and to.time_s.value == pytest.approx(5.0 / accel, abs=0.01)
    assert to.exit_speed_mps == Estimate(5.0, 5.0, 5.0)
    assert to.length_m is not None and to.length_m.value == pytest.approx(12.5 / accel, abs=0.03)
    assert rolling.time_s is not None and rolling.time_s.value == pytest.approx(
        2.5 / accel, abs=0.01
    )
    assert rolling.length_m is not None
    assert rolling.length_m.value == pytest.approx((25.0 - 6.25) / 2.0 / accel, abs=0.03)
    assert way.time_s is not None and way.exit_speed_mps is not None
    assert way.time_s.value == pytest.approx(np.sqrt(20.0 / accel), abs=0.01)
    assert way.exit_speed_mps.value == pytest.approx(np.sqrt(20.0 * accel), abs=0.03)
    assert way.length_m == Estimate(10.0, 10.0, 10.0)
    assert never.time_s is None and never.reason == "the launch does not clearly reach this speed"
    assert far.time_s is None and far.reason == "the launch ends before this distance"
    # The picture begins a second before, with the mean of the draws.
    assert launch.curve_s[0] == pytest.approx(-1.0, abs=0.06)
    at = int(np.searchsorted(launch.curve_s, 1.0))
    assert launch.curve_mps[at] == pytest.approx(accel * launch.curve_s[at], abs=0.03)


@pytest.mark.parametrize(("course", "told"), [(-10.0, 350.0), (350.0, 350.0), (370.0, 10.0)])
def test_a_course_goes_from_nought_to_360(course: float, told: float) -> None:
    (launch,) = measure_launches((drawn(3.0, course),), windows=WINDOWS).launches
    assert launch.course_deg == pytest.approx(told)


def test_a_rollout_starts_the_clock_later() -> None:
    """0.3 m at 3 m/s² take 0.447 s; over 10 m more it is then 10.3 m less that."""
    plain, rolled = (
        measure_launches((drawn(3.0),), windows=WINDOWS, rollout_m=m).launches[0].windows
        for m in (0.0, 0.3)
    )
    gone_s = np.sqrt(0.6 / 3.0)
    for number, wanted in ((0, 5.0 / 3.0 - gone_s), (2, np.sqrt(20.6 / 3.0) - gone_s)):
        time = rolled[number].time_s
        assert time is not None and time.value == pytest.approx(wanted, abs=0.01)
    # A rolling window has no clock of its own to shift.
    assert rolled[1].time_s == plain[1].time_s


def test_the_figure_of_a_window_is_the_harmonic_mean_of_both_ways() -> None:
    starts = (drawn(3.0), drawn(2.9), drawn(1.0), drawn(2.4, 180.0), drawn(5.0, standing=False))
    found = measure_launches(starts, windows=WINDOWS)
    assert len(found.launches) == 4 and found.reason == "" and found.drawn == starts
    figure = found.windows[0]
    assert figure.attempts == 4 and figure.full_starts == (0, 3)
    # Known so exactly, the quickest of a direction is alone in it.
    there, back = 5.0 / 3.0, 5.0 / 2.4
    assert figure.time_s is not None
    assert figure.time_s.value == pytest.approx(2.0 / (1.0 / there + 1.0 / back), abs=0.01)
    assert figure.time.both_ways == figure.time_s and figure.time.course_deg is None
    assert figure.time.shared_sd == 0.077 and found.windows[1].time.shared_sd == 0.0
    never = found.windows[3]
    assert never.time_s is None and never.attempts == 0
    assert never.reason == "the launch does not clearly reach this speed"
    none = measure_launches((drawn(5.0, standing=False),), windows=WINDOWS)
    assert none.launches == () and none.reason == (
        "the ride holds no standing start to 7 km/h (4 mph) or more"
    )
    assert none.windows[0].reason == none.reason


def about(value: float, half: float) -> Estimate:
    return Estimate(value, value - half, value + half)


@pytest.mark.parametrize(("slower", "kept"), [(2.19, True), (2.21, False)])
def test_a_half_hearted_start_is_left_out(slower: float, kept: bool) -> None:
    """2.0 s up to 2.1: another of 0.1 s either way counts from 2.2 s down."""
    found = mean_of_starts((0.0, 10.0), (about(2.0, 0.1), about(slower, 0.1)),
                           (about(2.0, 0.1), about(slower, 0.1)))  # fmt: skip
    assert found.full == (((0, 1),) if kept else ((0,),))
    assert found.course_deg == pytest.approx(5.0) and found.both_ways is None
    assert found.mean is not None
    assert found.mean.value == pytest.approx(0.5 * (2.0 + slower) if kept else 2.0)


@pytest.mark.parametrize(
    ("back", "told"), [(2.98, True), (3.02, False), (1.34, True), (1.32, False)]
)
def test_directions_half_as_long_again_are_wind(back: float, told: bool) -> None:
    both = (about(2.0, 0.1), about(back, 0.1))
    found = mean_of_starts((0.0, 180.0), both, both)
    assert (found.mean is not None) is told and len(found.directions) == 2
    assert told or found.reason == (
        f"its two directions differ by a factor of {max(back, 2.0) / min(back, 2.0):.1f}: wind or "
        "slope decides it"
    )


def test_which_starts_go_one_way() -> None:
    times = tuple(about(2.0, 0.1) for _ in range(4))
    found = mean_of_starts((350.0, 70.0, 90.0, 180.0), times, times)
    # Within 90 degrees of the first: 80 and 100 degrees apart.
    assert found.full == ((0, 1), (2, 3))
    lacking = mean_of_starts((0.0, 180.0), (None, about(2.0, 0.1)), (None, about(3.0, 0.1)))
    assert lacking.full == ((1,),) and lacking.mean == about(3.0, 0.1)
    assert lacking.course_deg == pytest.approx(180.0)
    west = mean_of_starts((350.0, 356.0), times[:2], times[:2])
    assert west.course_deg == pytest.approx(353.0)
    assert mean_of_starts((0.0,), (None,), (None,)).reason == "no start was timed over it"


def test_the_interval_of_a_mean_keeps_what_all_starts_share() -> None:
    """Four starts of 0.1 s of which 0.06 are shared: sqrt(0.08² / 4 + 0.06²)."""
    each = tuple(about(2.0, QUANTILE * 0.1) for _ in range(4))
    found = mean_of_starts((0.0,) * 4, each, each, 0.06).mean
    assert found is not None
    assert found.high - 2.0 == pytest.approx(QUANTILE * np.hypot(0.04, 0.06))


@pytest.mark.parametrize(("top_kmh", "labels"), [
    # Nine tenths and a little of the top speed must be passed.
    (5.4, []), (5.5, ["0-5 km/h"]), (10.8, ["0-5 km/h"]), (10.9, ["0-10 km/h"]),
    (21.8, ["0-20 km/h", "10-20 km/h"]), (32.7, ["0-20 km/h", "0-30 km/h", "20-30 km/h"]),
    (43.5, ["0-20 km/h", "0-40 km/h", "20-40 km/h"]),
    (54.4, ["0-20 km/h", "0-50 km/h", "20-50 km/h"]),
])  # fmt: skip
def test_usual_windows_are_round_and_reached(top_kmh: float, labels: list[str]) -> None:
    every = default_windows(top_kmh / 3.6)
    kmh = [w.label for w in suited(every, SPEED_UNITS["km/h"])]
    assert kmh == [*labels, "0-30 m"]
    mph = [w.label for w in suited(every, SPEED_UNITS["mph"])]
    assert mph[-1] == "0-60 ft" and all(label.endswith("mph") for label in mph[:-1])
    assert [round_in(w) for w in every] == ["km/h"] * len(kmh) + ["mph"] * len(mph)


@pytest.mark.parametrize(("text", "metres"), [
    ("0-60 ft", 18.288), ("0-30 m", 30.0), ("0-0.5 km", 500.0), ("0-0,25 mi", 402.336),
])  # fmt: skip
def test_distances_are_exact(text: str, metres: float) -> None:
    window = parse_window(text)
    assert window.distance_m == pytest.approx(metres) and window.to_mps is None and window.standing


@pytest.mark.parametrize(("text", "words"), [
    ("0-361 km/h", "ends at 100 m/s, faster"), ("0-5.1 km", "is 5100 m long"),
    ("10-20 m", "begins at 10 m"), ("20-10 km/h", "ends at 10 and begins at 20"),
    ("10-10 km/h", "it must rise"), ("0-10 furlong", "has the unit"), ("fast", "two numbers"),
])  # fmt: skip
def test_windows_that_cannot_be(text: str, words: str) -> None:
    with pytest.raises(RideLogError, match=words):
        parse_window(text)
    assert parse_window("0-359 km/h").to_mps == pytest.approx(359 / 3.6)
    assert parse_window("0-5 km").distance_m == 5000.0


@pytest.mark.parametrize(("text", "metres"), [("1 ft", 0.3048), ("12 in", 0.3048), ("2 m", 2.0),
                                              ("0 m", 0.0)])  # fmt: skip
def test_rollouts(text: str, metres: float) -> None:
    assert parse_rollout(text) == pytest.approx(metres)
    for wrong in ("2.1 m", "1 stone", "far"):
        with pytest.raises(RideLogError, match="not a length from 0 to 2 m"):
            parse_rollout(wrong)
