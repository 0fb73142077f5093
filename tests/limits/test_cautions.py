"""From which speed on a reader is warned, on both sides of each limit.

Sources: CPSC, "ATV safety: children" (classes of 16 CFR 1420: 15 mph from age 6, 30 mph from 10 or
12) and the scope of ASTM F2641-08 (10 mph); Regulation (EU) 168/2013 Art. 2 (2) (a), eKFV § 1 (6
km/h); eKFV Annex, no. 2.1.2 (runs at most 10 % apart). 10 km/h backwards, the width of an interval
and a fifth more than the fastest braking are common practice, no source.
"""

from types import SimpleNamespace
from typing import Any

import pytest

from ridelog.analysis.reverse.subject import reverse_cautions
from ridelog.analysis.subject import DANGER, WARNING, age_class_caution, stands_first
from ridelog.analysis.top_speed.subject import advised_speed_caution, doubts
from ridelog.core.estimate import Estimate

MPH, KMH = 0.44704, 1.0 / 3.6


def about(value: float, half: float = 0.01) -> Estimate:
    return Estimate(value, value - half, value + half)


@pytest.mark.parametrize(
    ("mph", "limit_mph", "words"),
    [
        (9.9, None, ""),
        (10.1, 10.0, "ages 8 to 12"),
        (14.9, 10.0, "ages 8 to 12"),
        (15.1, 15.0, "from age 6"),
        (29.9, 15.0, "from age 6"),
        (30.1, 30.0, "not for a child"),
    ],
)
def test_classes_of_age(mph: float, limit_mph: float | None, words: str) -> None:
    found = age_class_caution(mph * MPH)
    if limit_mph is None:
        assert found is None
        return
    assert found is not None and found.gravity == WARNING
    assert words in found.text.lower()
    assert stands_first(found) is (limit_mph == 30.0)
    assert found.limit == pytest.approx(limit_mph * MPH, rel=1e-12)


@pytest.mark.parametrize(
    ("kmh", "code"),
    [
        (5.9, None), (6.1, "reverse_too_fast"), (9.9, "reverse_too_fast"),
        (10.1, "reverse_far_too_fast"),
    ],
)  # fmt: skip
def test_walking_pace_backwards(kmh: float, code: str | None) -> None:
    reverse: Any = SimpleNamespace(top_speed_mps=about(kmh * KMH), state="found", segments=())
    assert [one.code for one in reverse_cautions(reverse)] == ([code] if code else [])
    for one in reverse_cautions(reverse):
        assert one.limit == pytest.approx((10.0 if "far" in one.code else 6.0) * KMH)
    if code == "reverse_far_too_fast":
        assert reverse_cautions(reverse)[0].gravity == DANGER


@pytest.mark.parametrize(
    ("limit_kmh", "words", "other"),
    [(6.0, "walking pace", "you set"), (4.0, "the limit you set", "walking pace")],
)
def test_a_limit_of_ones_own_is_not_called_walking_pace(
    limit_kmh: float, words: str, other: str
) -> None:
    reverse: Any = SimpleNamespace(top_speed_mps=about(7.0 * KMH), state="found", segments=())
    (one,) = reverse_cautions(reverse, limit_mps=limit_kmh * KMH)
    assert words in one.text and other not in one.text and f"{limit_kmh:.1f} km/h" in one.text


@pytest.mark.parametrize(("probability", "warned"), [(0.49, False), (0.51, True)])
def test_of_what_is_more_likely_forward_nobody_is_warned(probability: float, warned: bool) -> None:
    segment = SimpleNamespace(top_speed_mps=about(2.5), probability=probability)
    reverse: Any = SimpleNamespace(top_speed_mps=None, state="uncertain", segments=(segment,))
    assert [one.code for one in reverse_cautions(reverse)] == ["reverse_possible"] * warned


def top_speed(**parts: Any) -> Any:
    runs = tuple(SimpleNamespace(speed_mps=about(v)) for v in parts.pop("runs", (10.0, 10.0)))
    usual = {"top": about(10.0), "seen_share": 1.0, "two_way_mps": about(10.0)}
    return SimpleNamespace(**(usual | parts), two_way_runs=runs)


@pytest.mark.parametrize(
    ("parts", "code"),
    [
        ({"runs": (10.0, 10.9)}, None),
        ({"runs": (10.0, 11.2)}, "directions_differ"),
        ({"top": about(10.0, 0.49)}, None),
        ({"top": about(10.0, 0.51)}, "wide_interval"),
        ({"seen_share": 0.91}, None),
        ({"seen_share": 0.89}, "partly_seen"),
        ({"two_way_mps": None, "runs": ()}, "one_direction"),
    ],
)
def test_doubts_about_the_top_speed(parts: dict[str, Any], code: str | None) -> None:
    assert [one.code for one in doubts(top_speed(**parts))] == ([code] if code else [])


def test_the_advised_speed_is_the_limit() -> None:
    assert advised_speed_caution(about(4.99), 5.0) == ()
    assert len(advised_speed_caution(about(5.01), 5.0)) == 1
    assert advised_speed_caution(about(50.0), None) == ()
