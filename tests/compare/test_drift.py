"""Machines that changed over a season, and those that did not."""

import numpy as np
import pytest

from ridelog.compare.drift import WATCHED, change_point, drifts_of

FIGURES = {"best_1s_mps": 9.8, "two_way_mps": 9.7, "0-20 km/h": 3.0, "mean_braking_mps2": 3.5}


def season(rng: np.random.Generator, rides: int, **after: float) -> dict[str, list[float]]:
    """Return the figures of a season's rides; ``after`` scales a figure from the middle on."""
    scatter = {
        "best_1s_mps": 0.08,
        "two_way_mps": 0.08,
        "0-20 km/h": 0.08,
        "mean_braking_mps2": 0.3,
    }
    found: dict[str, list[float]] = {}
    day = 0.05 * rng.standard_t(4, rides)  # what a day does to both speeds
    for name, value in FIGURES.items():
        values = value + scatter[name] * rng.standard_t(5, rides)
        if name.endswith("_mps"):
            values += day
        factor = after.get(name.replace("-", "_").replace(" ", "_").replace("/", "_"), 1.0)
        values[rides // 2 :] *= factor
        values[rng.random(rides) < 0.1] = np.nan
        found[name] = values.tolist()
    return found


def test_unchanged_machines_are_left_alone() -> None:
    """At most one of ten unchanged machines, and a half of those would be for the better."""
    rng = np.random.default_rng(3)
    drifted = sum(any(one.drifted for one in drifts_of(season(rng, 40))) for _ in range(200))
    assert drifted <= 20


def test_a_twentieth_of_top_speed_lost_is_told() -> None:
    rng = np.random.default_rng(4)
    told = 0
    for _ in range(100):
        found = drifts_of(season(rng, 40, best_1s_mps=0.95, two_way_mps=0.95))
        top = next(one for one in found if one.watched.name == "two_way_mps")
        told += top.drifted
        assert not any(one.drifted for one in found if one.watched.name == "mean_braking_mps2" and
                       one.p_value > 0.1)  # fmt: skip
    assert told >= 90


def test_what_drifted_is_told_with_its_size_and_place() -> None:
    rng = np.random.default_rng(5)
    (top,) = drifts_of({"two_way_mps": season(rng, 40, two_way_mps=0.95)["two_way_mps"]})
    assert top.drifted and not top.improved
    assert abs(top.first_after - len(top.values) // 2) <= 2
    assert top.difference.low <= -0.05 * 9.7 <= top.difference.high
    (better,) = drifts_of({"two_way_mps": season(rng, 40, two_way_mps=1.05)["two_way_mps"]})
    assert better.improved and not better.drifted


def test_few_rides_tell_nothing() -> None:
    """Of 7! = 5040 orders 504 have a change as clear as the clearest, of 8! = 40320 only 1152."""
    clearest = [9.7 - 0.1 * number for number in range(8)]
    assert drifts_of({"two_way_mps": clearest[:7], "weave_onset_mps": [8.0] * 40}) == ()
    (one,) = drifts_of({"two_way_mps": clearest})
    assert one.p_value == pytest.approx(1152 / 40320, abs=0.006)
    assert {watched.name for watched in WATCHED} == set(FIGURES)


def test_the_change_is_found_where_it_can_be_counted_by_hand() -> None:
    """Eight low values, then eight high ones: U after the eighth is 2 x 36 - 8 x 17 = -64.

    Only two of the 16! / (8! 8!) = 12,870 ways to share the ranks out reach it.
    """
    first_after, p_value = change_point(np.arange(16.0))
    assert first_after == 8
    assert p_value == pytest.approx(2.0 / 12_870.0, abs=5e-4)


def test_a_chance_is_a_chance() -> None:
    """Under no change the chance falls below 0.05 in one case of twenty, and not much less."""
    rng = np.random.default_rng(6)
    low = sum(change_point(rng.standard_normal(20))[1] <= 0.05 for _ in range(1000))
    assert 30 <= low <= 70


@pytest.mark.parametrize(("name", "beside", "rides", "told"), [
    ("best_1s_mps", "0-20 km/h", 9, True), ("two_way_mps", "mean_braking_mps2", 9, True),
    ("mean_braking_mps2", "two_way_mps", 9, False), ("mean_braking_mps2", "two_way_mps", 10, True),
    ("0-20 km/h", "best_1s_mps", 9, False), ("0-20 km/h", "best_1s_mps", 10, True),
])  # fmt: skip
def test_a_headline_has_four_times_the_share_of_what_may_be_wrong(
    name: str, beside: str, rides: int, told: bool
) -> None:
    """One of 35 orders of nine is as clear, one of 126 of ten: 0.029 and 0.008.

    Of nine rides the lowest four or the lowest five come first, or last: 2 (2 x 4! 5! - 4! 4!) of
    9!; of ten the lowest five: 2 x 5! 5! of 10!. Holm (1979), section 4: of a tenth in all a
    headline has four fifths beside one other figure, which has 0.02.
    """
    alike = [9.0 + number % 2 for number in range(rides)]
    falling = [9.0 - 0.1 * number for number in range(rides)]
    found = drifts_of({beside: alike, name: falling})
    one = next(each for each in found if each.watched.name == name)
    # A time that falls is a gain.
    assert (one.improved if name == "0-20 km/h" else one.drifted) is told
