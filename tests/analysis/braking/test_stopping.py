"""Stopping distance, and the cautions that follow from braking and from an advised speed."""

import re
from dataclasses import replace

import numpy as np
import pytest

from ridelog.analysis.braking.measure import Braking, Brakings
from ridelog.analysis.braking.stopping import project_stop, with_stopping
from ridelog.analysis.braking.subject import braking_cautions
from ridelog.analysis.top_speed.subject import advised_speed_caution
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS

KMH = SPEED_UNITS["km/h"]
COLUMNS = 301


def around(value: float, half: float) -> Estimate:
    return Estimate(value, value - half, value + half)


def braking(decel: float, from_mps: float = 8.0, to_mps: float = 0.0, sd: float = 0.05) -> Braking:
    rng = np.random.default_rng(7)
    columns = decel + np.concatenate([[0.0], rng.normal(0.0, sd, COLUMNS - 1)])
    way = (from_mps**2 - to_mps**2) / (2.0 * decel)
    return Braking(
        start_s=10.0,
        end_s=13.0,
        from_mps=from_mps,
        to_mps=to_mps,
        distance_m=around(way, 0.5),
        mean_decel_mps2=around(decel, 1.645 * sd),
        initial_speed_mps=around(from_mps, 0.1),
        developed_decel_mps2=None,
        decel_columns=columns,
    )


TOP = around(KMH.to_mps(25.0), 0.05)


def test_the_projection_is_the_textbook_one() -> None:
    """25 km/h, 3.5 m/s²: 6.889 m under the brake (v²/(2a), by hand), 6.944 m in one second."""
    stop = project_stop(Brakings((braking(3.5),)), TOP)
    assert stop is not None
    assert stop.braking_m.value == pytest.approx(6.889, abs=0.05)
    assert stop.reaction_m == pytest.approx(6.944, abs=1e-3)
    assert stop.stopping_distance_m.value == pytest.approx(13.83, abs=0.06)
    assert stop.stopping_distance_m.low < 13.83 < stop.stopping_distance_m.high


def test_doubling_the_speed_quadruples_the_distance_under_the_brake() -> None:
    stop = project_stop(Brakings((braking(3.0),)), TOP)
    assert stop is not None
    assert stop.under_brake_m(2.0 * stop.from_mps) == pytest.approx(4.0 * stop.braking_m.value)


def test_the_reaction_time_is_the_users() -> None:
    quick = project_stop(Brakings((braking(3.0),)), TOP, reaction_s=0.0)
    slow = project_stop(Brakings((braking(3.0),)), TOP, reaction_s=2.5)
    assert quick is not None and slow is not None
    assert quick.stopping_distance_m.value == pytest.approx(quick.braking_m.value, rel=0.01)
    assert slow.stopping_distance_m.value - quick.stopping_distance_m.value == pytest.approx(
        2.5 * TOP.value, rel=0.01
    )


def test_the_median_braking_counts_and_slow_ones_do_not() -> None:
    each = (braking(2.0), braking(3.0), braking(4.0), braking(9.0, from_mps=2.0))
    stop = project_stop(Brakings(each), TOP)
    assert stop is not None
    assert stop.decel_mps2.value == pytest.approx(3.0, abs=0.05)
    assert stop.brakings == 3


def test_an_uncertain_top_speed_widens_the_distance() -> None:
    sure = project_stop(Brakings((braking(3.0),)), TOP)
    unsure = project_stop(Brakings((braking(3.0),)), around(TOP.value, 0.7))
    assert sure is not None and unsure is not None
    assert unsure.stopping_distance_m.high - unsure.stopping_distance_m.low > 1.5 * (
        sure.stopping_distance_m.high - sure.stopping_distance_m.low
    )


def test_without_a_telling_braking_there_is_no_distance() -> None:
    assert project_stop(Brakings(()), TOP) is None
    assert project_stop(Brakings((braking(3.0, to_mps=5.0),)), TOP) is None
    assert project_stop(Brakings((braking(3.0),)), None) is None


def cautions_of(decel: float, top: Estimate = TOP, **changed: float) -> dict[str, str]:
    one = replace(braking(decel), **changed)  # type: ignore[arg-type]  # floats are floats
    brakings = with_stopping(Brakings((one,)), top)
    return {caution.code: caution.text for caution in braking_cautions(brakings)}


def test_a_braking_that_is_hard_enough_calls_for_no_caution_but_the_distance() -> None:
    assert set(cautions_of(3.6)) == {"stopping_distance"}


# One mile an hour is 0.44704 m/s, exactly, so that 2.8 m/s² are 6.26 mph/s, by hand as the rest.
LEAD = "The hardest stop, be it brakes or rider, was"
TEST = ": test the brakes on closed ground first."


def test_below_what_roads_ask() -> None:
    assert cautions_of(2.8)["braking_below_yardstick"] == (
        f"{LEAD} 2.80 m/s² (6.26 mph/s); road vehicles this fast must reach 3.50 m/s² "
        f"(7.83 mph/s){TEST}"
    )


def test_near_it_the_doubt_is_named() -> None:
    assert cautions_of(3.45)["braking_below_yardstick"].startswith(
        f"{LEAD} 3.45 m/s² (7.72 mph/s) (perhaps enough); road vehicles"
    )


def test_below_one_brake_alone() -> None:
    assert cautions_of(1.2)["braking_far_below_yardstick"] == (
        f"{LEAD} 1.20 m/s² (2.68 mph/s); road vehicles this fast must reach 1.54 m/s² "
        f"(3.44 mph/s) with one brake alone{TEST}"
    )


def test_faster_machines_are_asked_for_more() -> None:
    found = cautions_of(4.0, around(KMH.to_mps(30.0), 0.05))
    assert found["braking_below_yardstick"].startswith(
        f"{LEAD} 4.00 m/s² (8.95 mph/s); road vehicles this fast must reach 5.00 m/s² (11.2 mph/s):"
    )


def test_a_speed_from_which_nobody_braked() -> None:
    found = cautions_of(6.0, around(12.0, 0.05))
    assert found["brakes_untested_at_top_speed"] == (
        "Never braked from above 29 km/h (18 mph), yet it reaches 43 km/h (27 mph): how it stops "
        "from there was not measured."
    )


def test_the_distance_in_words() -> None:
    # 13.83 m and 6.94 m are 45.4 ft and 22.8 ft.
    # Its usual braking is the middle of some draws: 3.51 m/s² are 7.85 mph/s.
    assert cautions_of(3.5)["stopping_distance"] == (
        "About 14 m (45 ft) from 25 km/h (16 mph) to rest at 3.51 m/s² (7.85 mph/s), its usual "
        "braking, 7 m (23 ft) of it reacting (1 s): keep more clear."
    )


@pytest.mark.parametrize("decel", [1.9, 3.5, 6.2])
def test_speed_deceleration_and_distance_of_the_sentence_go_together(decel: float) -> None:
    """Distance = speed × reaction time + speed² / (2 × deceleration), any textbook of mechanics."""
    words = cautions_of(decel, around(KMH.to_mps(53.0), 0.05))["stopping_distance"]
    found = re.match(r"About (\S+) m .* from (\S+) km/h .* at (\S+) m/s².*reacting \(1 s\)", words)
    assert found is not None
    far, speed, told = map(float, found.groups())
    speed /= 3.6
    assert told == pytest.approx(decel, abs=0.03)
    # Half a unit of the last digit of the distance, and of the speed's.
    assert speed + speed**2 / (2.0 * told) == pytest.approx(far, abs=0.5 + 0.02 * far)


def test_the_mean_counts_stops_from_speed_only() -> None:
    slow, rolls_on = braking(6.0, from_mps=3.0), braking(5.0, to_mps=2.0)
    found = with_stopping(Brakings((braking(2.0), braking(3.0), slow, rolls_on)), TOP)
    assert len(found.stops_from_speed) == 2
    assert found.mean_mps2 is not None
    assert found.mean_mps2.value == pytest.approx(2.5, abs=0.05)
    assert with_stopping(Brakings((rolls_on,)), TOP).mean_mps2 is None


@pytest.mark.parametrize(("from_mps", "to_mps", "stops", "telling"), [
    # From half of the best second, 6.94 m/s, a stop is one from speed.
    (3.50, 0.0, 2, 1), (3.45, 0.0, 1, 1),
    # From half of the fastest braking's 8 m/s it tells how it is braked, if it sheds half of that.
    (4.05, 0.0, 2, 2), (3.95, 0.0, 2, 1), (6.0, 2.95, 1, 2), (6.0, 3.05, 1, 1),
])  # fmt: skip
def test_what_half_the_speed_decides(
    from_mps: float, to_mps: float, stops: int, telling: int
) -> None:
    found = with_stopping(Brakings((braking(3.0), braking(4.0, from_mps, to_mps))), TOP)
    assert len(found.stops_from_speed) == stops
    assert found.stopping is not None and found.stopping.brakings == telling


def test_nobody_is_warned_below_walking_pace() -> None:
    assert cautions_of(1.0, around(1.5, 0.05)) == {}


def test_advised_speed() -> None:
    assert advised_speed_caution(TOP, None) == ()
    assert advised_speed_caution(None, 5.0) == ()
    assert advised_speed_caution(TOP, 8.0) == ()
    (one,) = advised_speed_caution(TOP, 5.0)
    assert (one.code, one.value, one.limit) == ("advised_speed", TOP.value, 5.0)
    assert one.text == (
        "It reached 25 km/h (16 mph), above the advised 18 km/h (11 mph): limit it before that "
        "rider rides it."
    )
    (near,) = advised_speed_caution(TOP, TOP.value - 0.01)
    assert "(11 mph), perhaps" not in near.text and ", perhaps: limit it" in near.text
