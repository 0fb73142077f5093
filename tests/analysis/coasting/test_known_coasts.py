"""Free rolling whose resistance is known: v' = -(a + c v²), solved by small steps.

The model is that of 40 CFR 1066.210; spans of three seconds and more that lose a metre a second,
from above walking pace: coasting's METHOD.md, common practice, no source.
"""

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.coasting.measure import CoastDown, _told_apart, measure_coast_down
from ridelog.core.estimate import Estimate
from ridelog.filtering.motion import Motion

AIR_DENSITY, MASS = 1.2041, 100.0
ROLLING, AIR = 0.15, 0.5 * AIR_DENSITY * 0.5 / MASS


def rolled(from_mps: float, length_s: float, along: float = 0.0, wind_mps: float = 0.0,
           rolling: float = ROLLING) -> list[tuple[float, float]]:  # fmt: skip
    """Return (time, speed) of free rolling; ``along`` is what a slope takes, wind from ahead."""
    steps, speed = [(0.0, from_mps)], from_mps
    for number in range(1, round(length_s / 0.05) + 1):
        for _ in range(5):
            speed -= 0.01 * (rolling + along + AIR * (speed + wind_mps) ** 2)
        steps.append((0.05 * number, speed))
    return steps


def there_and_back(
    from_mps: float = 9.0, length_s: float = 14.0, along: float = 0.0, wind_mps: float = 0.0,
    back: bool = True, error_mps: float = 0.05, sways_mps: float = 0.0, sd_mps: float = 0.02,
    course_deg: float = 0.0, back_deg: float = 180.0, rolling: float = ROLLING,
) -> Motion:  # fmt: skip
    knots, at_s = [(0.0, from_mps)], 4.0
    turns = [(0.0, course_deg)]
    for way, sign in enumerate((1.0, -1.0) if back else (1.0,)):
        knots.append((at_s, from_mps))
        coast = rolled(from_mps, length_s, sign * along, sign * wind_mps, rolling)
        sways = [sways_mps * np.sin(2.0 * np.pi * t / 5.0) for t, _ in coast]
        knots += [(at_s + t, v + s) for (t, v), s in zip(coast[1:], sways[1:], strict=True)]
        # A firm stop, a turn on foot, and up to speed again.
        end_s, end = at_s + length_s, coast[-1][1]
        knots += [(end_s + end / 4.0, 0.0), (end_s + 8.0, 0.0), (end_s + 13.0, from_mps)]
        turns += [(end_s + 5.0 + k, course_deg + back_deg * (way + k)) for k in (0, 1)]
        at_s = end_s + 18.0
    return known_motion(knots, turns=turns, error_mps=error_mps, sd_mps=sd_mps)


def value(found: CoastDown, speed: float) -> float:
    at = found.at(speed)
    assert at is not None
    return at.value


def test_resistance_is_found_again() -> None:
    found = measure_coast_down(there_and_back(error_mps=0.02))
    assert [round(one.course_deg) for one in found.coasts] == [0, 180]
    first = found.coasts[0]
    assert first.end_s - first.start_s == pytest.approx(14.0 - 1.0, abs=0.5)
    assert first.decel_mps2.value == pytest.approx(
        (first.from_mps - first.to_mps) / (first.end_s - first.start_s)
    )
    assert len(found.curve) == 13
    for one in found.curve:
        wanted = ROLLING + AIR * one.speed_mps**2
        assert one.decel_mps2 is not None
        assert one.decel_mps2.value == pytest.approx(wanted, rel=0.05)
        assert value(found, one.speed_mps) == one.decel_mps2.value
    assert found.curve[0].speed_mps == pytest.approx(max(c.to_mps for c in found.coasts))
    assert found.curve[-1].speed_mps == pytest.approx(min(c.from_mps for c in found.coasts))
    assert found.at(found.curve[0].speed_mps - 0.01) is None
    assert found.at(found.curve[-1].speed_mps + 0.01) is None


@pytest.mark.parametrize("course_deg", [60.0, 300.0])
def test_it_is_the_same_along_any_strip(course_deg: float) -> None:
    found = measure_coast_down(there_and_back(course_deg=course_deg))
    told = [one.course_deg for one in found.coasts]
    assert told == pytest.approx([course_deg, (course_deg + 180.0) % 360.0])
    plain = measure_coast_down(there_and_back())
    assert value(found, 6.0) == pytest.approx(value(plain, 6.0), rel=1e-3)


@pytest.mark.parametrize(("off_deg", "opposite"), [(43.0, True), (46.0, False)])
def test_opposite_is_within_45_degrees_of_the_main_direction(
    off_deg: float, opposite: bool
) -> None:
    """The direction in the middle of two coasts as long as each other is as far from either."""
    found = measure_coast_down(there_and_back(back_deg=180.0 + 2.0 * off_deg))
    assert len(found.coasts) == 2 and (found.fit is not None) is opposite


def test_what_hardly_slows_is_driven() -> None:
    """0.06 m/s²: rolling takes half of it, and air the other half at 3.16 m/s."""
    (only,) = measure_coast_down(there_and_back(6.0, 36.0, back=False, rolling=0.03)).coasts
    assert only.to_mps == pytest.approx(np.sqrt(0.03 / AIR), abs=0.08)


@pytest.mark.parametrize(("rolling", "coasts"), [(0.62, 1), (0.69, 0)])
def test_noise_may_make_rolling_look_harder(rolling: float, coasts: int) -> None:
    """0.5 m/s² and 0.0042 v² /m, and the error of two speeds a second apart: 0.141 m/s²."""
    motion = there_and_back(5.0, 4.6, back=False, rolling=rolling, sd_mps=0.1)
    assert len(measure_coast_down(motion).coasts) == coasts


def about(value: float, half: float) -> Estimate:
    return Estimate(value, value - half, value + half)


@pytest.mark.parametrize(("linear", "air", "told"), [
    # At 5 m/s 0.3 of 0.4 m/s² are 0.024 a second, and 0.0048 a metre.
    (0.0235, 0.0047, True), (0.0245, 0.0001, False), (0.001, 0.0049, False),
])  # fmt: skip
def test_both_parts_are_told_if_each_is_known_to_three_tenths(
    linear: float, air: float, told: bool
) -> None:
    apart = _told_apart(about(0.02, linear), about(0.003, air), about(0.4, 0.01), 5.0)
    assert apart is told
    assert not _told_apart(about(0.02, 0.001), about(0.003, 0.0001), about(-0.1, 0.01), 5.0)
    assert not _told_apart(None, about(0.003, 0.0001), about(0.4, 0.01), 5.0)


@pytest.mark.parametrize("along", [0.08, -0.06])
def test_a_slope_drops_out_of_both_directions(along: float) -> None:
    found = measure_coast_down(there_and_back(along=along, error_mps=0.02))
    plain = measure_coast_down(there_and_back(error_mps=0.02))
    assert len(found.coasts) == 2
    # What the directions differ by may be wind as well, whose square would stay in their mean.
    middle = 0.5 * (found.curve[0].speed_mps + found.curve[-1].speed_mps)
    assert value(found, middle) == pytest.approx(value(plain, middle), abs=0.02)
    assert value(found, middle) < ROLLING + AIR * middle**2 + 0.01


def test_the_square_of_the_wind_is_taken_off() -> None:
    """A wind of 2 m/s leaves c w² in the mean of both directions: 0.012 m/s²."""
    found = measure_coast_down(there_and_back(wind_mps=2.0, error_mps=0.01))
    middle = 0.5 * (found.curve[0].speed_mps + found.curve[-1].speed_mps)
    still = ROLLING + AIR * middle**2
    assert still - 0.008 < value(found, middle) < still + 0.006


def test_one_direction_tells_nothing_of_the_machine() -> None:
    found = measure_coast_down(there_and_back(back=False))
    assert len(found.coasts) == 1 and found.fit is None and found.curve == ()
    assert found.reason == (
        "the machine rolls freely in one direction only, so slope and wind are in it"
    )


@pytest.mark.parametrize(("length_s", "from_mps", "coasts"), [
    # Half a second at either end is left out.
    (3.9, 11.0, 0), (4.5, 11.0, 2), (5.0, 9.0, 2), (6.8, 3.5, 0), (7.2, 3.5, 2), (7.0, 2.0, 0),
])  # fmt: skip
def test_a_coast_lasts_three_seconds_and_loses_a_metre_a_second(
    length_s: float, from_mps: float, coasts: int
) -> None:
    found = measure_coast_down(there_and_back(from_mps, length_s))
    assert len(found.coasts) == coasts
    for one in found.coasts:
        assert one.end_s - one.start_s >= 3.0 and one.from_mps - one.to_mps >= 1.0
        assert one.from_mps >= 2.0 and one.to_mps > 1.0
    assert coasts or found.reason == "the machine rolls freely nowhere for three seconds"


def test_a_bend_and_what_is_left_out_are_no_coast() -> None:
    motion = there_and_back()
    (first, second) = measure_coast_down(motion).coasts
    kept = measure_coast_down(motion, excluded=((first.start_s, first.end_s),)).coasts
    assert [one.start_s for one in kept] == [second.start_s]
    knots = [(0.0, 9.0), (4.0, 9.0), *((4.0 + t, v) for t, v in rolled(9.0, 14.0)[1:])]
    for rate, coasts in ((0.13, 1), (0.17, 0)):
        bent = known_motion(knots, turns=[(0.0, 0.0), (18.0, float(np.degrees(18.0 * rate)))])
        assert len(measure_coast_down(bent).coasts) == coasts


def test_a_throttle_that_was_not_shut_is_told() -> None:
    knots, at_s = [(0.0, 9.0), (4.0, 9.0)], 4.0
    for number, rolling in enumerate((0.1, 0.1, 0.45, 0.1)):
        coast = rolled(9.0, 9.0, rolling=rolling)
        knots += [(at_s + t, v) for t, v in coast[1:]]
        end_s, end = at_s + 9.0, coast[-1][1]
        knots += [(end_s + end / 4.0, 0.0), (end_s + 8.0, 0.0), (end_s + 13.0, 9.0),
                  (end_s + 18.0, 9.0)]  # fmt: skip
        at_s = end_s + 18.0 + 0.0 * number
    turns = [(0.0, 0.0)]
    for k in range(4):
        turns += [(27.0 * k + 18.0, 180.0 * k), (27.0 * k + 19.0, 180.0 * (k + 1))]
    found = measure_coast_down(known_motion(knots, turns=turns))
    assert len(found.coasts) == 4 and found.fit is None
    assert found.reason.startswith("the stretches contradict each other")


@pytest.mark.parametrize(("sways_mps", "sd_mps", "told"), [
    (0.115, 0.02, True), (0.135, 0.02, False), (0.135, 0.046, True), (0.135, 0.041, False),
])  # fmt: skip
def test_speeds_stray_by_eight_hundredths_or_twice_their_error(
    sways_mps: float, sd_mps: float, told: bool
) -> None:
    """Of the root mean square of a wave, 0.115 or 0.135 m/s by sqrt(2), the model takes 9 %."""
    found = measure_coast_down(there_and_back(sways_mps=sways_mps, sd_mps=sd_mps, error_mps=0.02))
    assert (found.fit is not None) is told and len(found.coasts) == 2


def test_directions_that_share_no_speeds() -> None:
    out, back = rolled(9.0, 9.0), rolled(5.0, 9.0)
    knots = [(0.0, 9.0), (4.0, 9.0), *((4.0 + t, v) for t, v in out[1:])]
    knots += [(13.0 + out[-1][1] / 4.0, 0.0), (21.0, 0.0), (24.0, 5.0), (26.0, 5.0)]
    knots += [(26.0 + t, v) for t, v in back[1:]]
    found = measure_coast_down(known_motion(knots, turns=[(0.0, 0.0), (18.0, 0.0), (19.0, 180.0)]))
    assert len(found.coasts) == 2 and out[-1][1] > 5.0
    assert found.reason == "the two directions share no range of speeds"
