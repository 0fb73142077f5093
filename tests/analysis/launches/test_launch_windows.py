"""Windows in words: what is read, what is refused and how, what suits a machine."""

import pytest

from ridelog.analysis.launches.windows import (
    default_windows,
    parse_rollout,
    parse_window,
    suited,
)
from ridelog.core.errors import RideLogError
from ridelog.core.units import SPEED_UNITS


@pytest.mark.parametrize(
    ("text", "label", "start", "end", "way"),
    [
        ("0-20 km/h", "0-20 km/h", 0.0, 20 / 3.6, None),
        ("0 – 20kmh", "0-20 km/h", 0.0, 20 / 3.6, None),
        ("10 to 20 MPH", "10-20 mph", 4.4704, 8.9408, None),
        ("2,5-7.5 m/s", "2.5-7.5 m/s", 2.5, 7.5, None),
        ("0-30 m", "0-30 m", 0.0, None, 30.0),
        ("0-60 ft", "0-60 ft", 0.0, None, 18.288),
        ("0-0.1 mile", "0-0.1 mi", 0.0, None, 160.9344),
    ],
)
def test_words_become_windows(
    text: str, label: str, start: float, end: float | None, way: float | None
) -> None:
    window = parse_window(text)
    assert window.label == label
    assert window.from_mps == pytest.approx(start)
    assert window.to_mps == (None if end is None else pytest.approx(end))
    assert window.distance_m == (None if way is None else pytest.approx(way))
    assert window.standing == (start == 0.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("fast", 'the window "fast" is not two numbers and a unit. What to do: write it like 0-20'),
        ("0-20", "is not two numbers and a unit"),
        ("0-20 knots", 'has the unit "knots", which is not known here. What to do: use km/h, mph'),
        ("20-0 km/h", "ends at 0 and begins at 20: it must rise. What to do: write the lower"),
        ("5-5 m", "it must rise. What to do: write two different values."),
        (
            "10-30 m",
            "begins at 10 m: a distance is counted from standing. What to do: write 0-30 m",
        ),
        (
            "0-900 km/h",
            "ends at 250 m/s, faster than any small machine. What to do: check the unit",
        ),
        ("0-9 km", "is 9000 m long, longer than any launch. What to do: choose a distance up to"),
    ],
)
def test_a_wrong_window_is_told_what_is_wrong(text: str, words: str) -> None:
    with pytest.raises(RideLogError) as caught:
        parse_window(text)
    assert words in str(caught.value)


def test_a_rollout_is_a_short_length() -> None:
    assert parse_rollout("1 ft") == pytest.approx(0.3048)
    assert parse_rollout("7in") == pytest.approx(0.1778)
    assert parse_rollout("0 m") == 0.0
    for text in ("long", "3 m", "1 s"):
        with pytest.raises(RideLogError) as caught:
            parse_rollout(text)
        assert f'the rollout "{text}" is not a length from 0 to 2 m.' in str(caught.value)
        assert "off by default" in str(caught.value)


@pytest.mark.parametrize(
    ("top_kmh", "metric", "imperial"),
    [
        (6.0, ["0-5 km/h", "0-30 m"], ["0-60 ft"]),
        (15.0, ["0-10 km/h", "0-30 m"], ["0-5 mph", "0-60 ft"]),
        (24.0, ["0-20 km/h", "10-20 km/h", "0-30 m"], ["0-10 mph", "0-60 ft"]),
        (
            46.0,
            ["0-20 km/h", "0-40 km/h", "20-40 km/h", "0-30 m"],
            ["0-10 mph", "0-20 mph", "10-20 mph", "0-60 ft"],
        ),
    ],
)
def test_the_usual_windows_suit_the_speed(
    top_kmh: float, metric: list[str], imperial: list[str]
) -> None:
    windows = default_windows(top_kmh / 3.6)
    assert [w.label for w in suited(windows, SPEED_UNITS["km/h"])] == metric
    assert [w.label for w in suited(windows, SPEED_UNITS["mph"])] == imperial
    # Just below the edge of the highest window it is gone.
    assert all((w.to_mps or 0.0) <= 0.92 * top_kmh / 3.6 for w in windows)


@pytest.mark.parametrize(("last", "beyond"), [
    # 100 m/s and 5 km.
    ("0-100 m/s", "0-100.1 m/s"), ("0-360 km/h", "0-361 km/h"), ("0-5 km", "0-5.001 km"),
    ("0-5000 m", "0-5001 m"), ("4.9-5 m/s", "5-5 m/s"),
])  # fmt: skip
def test_both_sides_of_what_a_window_may_be(last: str, beyond: str) -> None:
    assert parse_window(last).label == last
    with pytest.raises(RideLogError):
        parse_window(beyond)
