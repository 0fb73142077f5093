"""Cautions about reverse: on both sides of each limit, and limits of one's own."""

import pytest

from ridelog.analysis.reverse.measure import Reverse, Segment
from ridelog.analysis.reverse.subject import reverse_cautions
from ridelog.core.estimate import Estimate


def reversing(speed_mps: float, state: str = "found") -> Reverse:
    top = Estimate(speed_mps, speed_mps - 0.05, speed_mps + 0.05)
    segment = Segment(1.0, 5.0, state, 4.0, top, 0.99, "seen.")  # type: ignore[arg-type]
    sure = state == "found"
    return Reverse(
        "found" if sure else "uncertain", top if sure else None, 4.0, (segment,), "told."
    )


@pytest.mark.parametrize(
    ("speed_mps", "code"),
    [(1.66, None), (1.68, "reverse_too_fast"), (2.77, "reverse_too_fast"),
     (2.79, "reverse_far_too_fast")],
)  # fmt: skip
def test_each_limit_on_both_sides(speed_mps: float, code: str | None) -> None:
    """Regulation (EU) 168/2013 Art. 2 (2) (a) and eKFV § 1: 6 km/h, 1.6667 m/s."""
    cautions = reverse_cautions(reversing(speed_mps))
    assert [caution.code for caution in cautions] == ([code] if code else [])


def test_the_words_name_speed_limit_and_source() -> None:
    (caution,) = reverse_cautions(reversing(2.0))
    assert caution.text == (
        "Reverse at 7.2 km/h (4.5 mph) is faster than walking pace, 6.0 km/h (3.7 mph): keep "
        "people clear behind it and limit its reverse speed."
    )
    assert "StVO § 21a (1) no. 3" in caution.source
    assert caution.value == 2.0 and caution.limit == pytest.approx(6.0 / 3.6)
    (strong,) = reverse_cautions(reversing(3.5))
    assert strong.text.startswith("Reverse at 12.6 km/h (7.8 mph) is above 10.0 km/h (6.2 mph): ")
    assert strong.source == "common practice, no source"


def test_limits_of_ones_own() -> None:
    (caution,) = reverse_cautions(reversing(1.2), limit_mps=1.0, strong_mps=2.0)
    assert "faster than the limit you set, 3.6 km/h (2.2 mph): " in caution.text
    assert caution.source == "limit chosen by the user"
    (strong,) = reverse_cautions(reversing(2.2), limit_mps=1.0, strong_mps=2.0)
    assert (strong.code, strong.limit) == ("reverse_far_too_fast", 2.0)


def test_what_is_uncertain_is_said_to_be() -> None:
    (caution,) = reverse_cautions(reversing(2.0, "uncertain"))
    assert caution.code == "reverse_possible"
    assert caution.text == (
        "It may have gone backwards at 7.2 km/h (4.5 mph), faster than 6.0 km/h (3.7 mph); the log "
        "cannot settle it. Mark the reverses, or measure again."
    )
    assert reverse_cautions(reversing(1.0, "uncertain")) == ()
    assert reverse_cautions(Reverse("none", None, 0.0, (), "nothing.")) == ()
