"""Numbers become words in one place: decimals, signs, ranges, units of the reader."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ridelog.core.estimate import Estimate
from ridelog.core.quantity import (
    ACCELERATION,
    LENGTH,
    MINUS,
    SPEED,
    TIME,
    amount,
    as_printed,
    bare,
    both_units,
    bounds,
    decimals,
    for_reader,
    number,
    plain,
    rough_bounds,
    rough_span,
    signed,
    span,
    text,
    text_or_span,
    value,
)
from ridelog.core.units import SI, SPEED_UNITS, SpeedUnit

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
START = Estimate(2.81, 2.70, 2.92)


def about(kmh: float, half: float) -> Estimate:
    """Return a speed with an interval, both told in km/h."""
    return Estimate(kmh / 3.6, (kmh - half) / 3.6, (kmh + half) / 3.6)


def test_a_difference_is_that_of_the_figures_printed_beside_it() -> None:
    def told(before: float, after: float, moved: float, half: float = 0.4) -> str:
        sides = (about(before, 0.4), about(after, 0.4))
        return bare(as_printed(about(moved, half), sides, SPEED, KMH), SPEED, KMH, signed=True)

    assert told(47.56, 52.54, 4.98) == "+4.9"
    assert told(52.54, 47.56, -4.98) == f"{MINUS}4.9"
    # Rides in pairs: more than rounding parts them.
    assert told(47.56, 52.54, 5.2) == "+5.2"
    # It would become nought, or change its sign.
    assert told(47.56, 47.64, 0.08) == "+0.1" and told(47.56, 47.63, 0.07) == "+0.1"
    assert told(47.64, 47.56, 0.04, 0.5) == "0.0"
    # Its interval lets no other value be printed.
    assert told(47.56, 52.54, 4.98, 0.02) == "+4.98"


@given(
    st.floats(1.0, 90.0), st.floats(1.0, 90.0), st.floats(0.01, 9.0), st.floats(0.01, 9.0),
    st.sampled_from((KMH, MPH)),
)  # fmt: skip
def test_a_printed_difference_moves_by_a_digit_at_most_and_stays_inside(
    before: float, after: float, half: float, width: float, reader: SpeedUnit
) -> None:
    sides = (about(before, half), about(after, half))
    exact = about(after - before, width)
    shown = as_printed(exact, sides, SPEED, reader)
    assert (shown.low, shown.high) == (exact.low, exact.high)
    digit = 10.0 ** -min(decimals(one, SPEED, reader) for one in sides)
    moved = SPEED.scaled(shown.value - exact.value, reader)
    assert abs(moved) <= 1.01 * digit
    if shown != exact:
        printed = [number(SPEED.scaled(one.value, reader), decimals(shown, SPEED, reader))
                   for one in (exact, shown)]  # fmt: skip
        assert (MINUS in printed[0]) == (MINUS in printed[1])


def test_a_figure_with_its_interval() -> None:
    assert text(START, TIME, KMH) == "2.81 s (2.70 to 2.92)"
    assert value(START, TIME, KMH) == "2.81 s" and bounds(START, TIME, KMH) == "2.70 to 2.92"
    assert span(START, TIME, MPH) == "2.70 to 2.92 s"
    # A mile is 1609.344 m, a foot 0.3048 m: 13.4112 m/s are 30 mph, 3.048 m 10 ft.
    top = Estimate(13.4112, 13.3, 13.5)
    assert text(top, SPEED, MPH) == "30.0 mph (29.8 to 30.2)"
    assert text(top, SPEED, KMH) == "48.3 km/h (47.9 to 48.6)"
    assert text(Estimate(3.048, 2.9, 3.2), LENGTH, MPH) == "10.0 ft (9.5 to 10.5)"
    assert value(Estimate(0.89408, 0.88, 0.91), ACCELERATION, MPH) == "2.00 mph/s"


def test_a_difference_keeps_its_sign_and_an_amount_has_none() -> None:
    fell = Estimate(-0.75, -0.90, -0.60)
    assert signed(fell, SPEED, SI) == f"{MINUS}0.8 m/s ({MINUS}0.9 to {MINUS}0.6)"
    assert amount(fell, SPEED, SI) == "0.8 m/s (0.6 to 0.9)"
    assert signed(START, TIME, KMH).startswith("+2.81 s (+2.70")
    assert number(-0.004, 2) == "0.00" and number(-1234.5, 0) == f"{MINUS}1,234"


@pytest.mark.parametrize(
    ("width", "count"), [(30.0, 0), (6.0, 0), (4.9, 1), (0.6, 1), (0.4, 2), (0.0, 2)]
)
def test_the_last_decimal_is_worth_a_fifth_of_the_interval(width: float, count: int) -> None:
    assert decimals(Estimate(50.0, 50.0 - width / 2, 50.0 + width / 2), TIME, KMH) == count


def test_an_interval_as_narrow_as_numbers_go_is_one_point() -> None:
    """Hypothesis found it: a fifth of the least number is nothing, which has no logarithm."""
    assert decimals(Estimate(0.0, 0.0, 5e-324), TIME, KMH) == 2


@given(st.floats(-500.0, 500.0), st.floats(0.0, 50.0), st.floats(0.0, 50.0))
def test_a_figure_never_reads_outside_its_interval(
    middle: float, below: float, above: float
) -> None:
    one = Estimate(middle, middle - below, middle + above)
    for reader in (KMH, MPH):
        low, high = (
            float(end.replace(MINUS, "-").replace(",", ""))
            for end in bounds(one, SPEED, reader).split(" to ")
        )
        read = value(one, SPEED, reader).split(" ")[0]
        assert low <= float(read.replace(MINUS, "-").replace(",", "")) <= high


def test_ends_of_an_interval_never_read_alike() -> None:
    assert text(Estimate(0.437, 0.4352, 0.4391), ACCELERATION, KMH) == "0.437 m/s² (0.435 to 0.439)"
    assert text(Estimate(0.437, 0.4338, 0.4402), ACCELERATION, KMH) == "0.44 m/s² (0.43 to 0.44)"
    # What is known exactly needs no more.
    assert text(Estimate(0.4, 0.4, 0.4), ACCELERATION, KMH) == "0.40 m/s² (0.40 to 0.40)"


def test_the_range_of_a_weak_log_does_not_read_like_a_figure() -> None:
    weak = Estimate(22.9 / 3.6, 22.7 / 3.6, 23.1 / 3.6)
    assert rough_span(weak, SPEED, KMH) == "22 to 24 km/h"
    assert (
        text_or_span(weak, SPEED, KMH, "too weak") == "somewhere from 22 to 24 km/h (weak signal)"
    )
    assert text_or_span(weak, SPEED, KMH, "") == text(weak, SPEED, KMH)
    assert rough_span(Estimate(2.9, 2.81, 2.92), TIME, KMH) == "2.8 to 3.0 s"
    assert rough_bounds(Estimate(0.0, -0.3, 118.2), LENGTH, KMH) == f"{MINUS}1 to 119"
    assert rough_bounds(Estimate(0.0, 0.0, 0.0), LENGTH, KMH) == "0 to 0"


@given(st.floats(-500.0, 500.0), st.floats(0.0, 50.0), st.floats(0.0, 50.0))
def test_a_rough_range_holds_the_interval(middle: float, below: float, above: float) -> None:
    one = Estimate(middle, middle - below, middle + above)
    for reader in (KMH, MPH):
        low, high = (
            float(end.replace(MINUS, "-").replace(",", ""))
            for end in rough_bounds(one, SPEED, reader).split(" to ")
        )
        allowed = 2e-3 * max(1.0, high - low)
        assert low <= SPEED.scaled(one.low, reader) + allowed
        assert high >= SPEED.scaled(one.high, reader) - allowed


def test_a_value_without_an_interval() -> None:
    assert plain(9.72222, SPEED, KMH, 0) == "35 km/h" and plain(40.0, LENGTH, MPH, 0) == "131 ft"


def test_a_sentence_for_both_readers_is_said_to_one() -> None:
    words = f"It reached {both_units(13.4112)}; about 40 m (130 ft) to rest, 1,234 m (4,049 ft)."
    assert for_reader(words, KMH) == "It reached 48 km/h; about 40 m to rest, 1,234 m."
    assert for_reader(words, MPH) == "It reached 30 mph; about 130 ft to rest, 4,049 ft."
    assert for_reader("braked at 3.50 m/s² (7.83 mph/s)", MPH) == "braked at 7.83 mph/s"
    assert for_reader(words, SI) == words
    assert for_reader("walking pace, 6.0 km/h (3.7 mph): keep clear (1 s)", MPH) == (
        "walking pace, 3.7 mph: keep clear (1 s)"
    )
