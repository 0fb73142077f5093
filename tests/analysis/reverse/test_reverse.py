"""Reverse on simulated rides of known sign: what is found, what is not, and what decides."""

from functools import cache

import numpy as np
import pytest
from labelled_rides import RandomRide
from log_in_memory import to_track
from receiver_presets import preset
from reverse_rides import forward_ride, reverse_ride, turned_by_hand
from simulate import RideLayout, Span

from ridelog.analysis.reverse.measure import Reverse, find_reverse
from ridelog.core.errors import RideLogError
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion

MAKERS = {"reverse": reverse_ride, "forward": forward_ride}


@cache
def ridden(
    kind: str, rate_hz: float = 10.0, reports: bool = True, seed: int = 11
) -> tuple[RandomRide, Motion]:
    rng = np.random.default_rng(seed)
    made = {
        "by hand": lambda: turned_by_hand(rng, slow=True),
        "u-turns": lambda: forward_ride(rng, "u-turns"),
    }.get(kind, lambda: reverse_ride(rng, kind))()
    receiver = preset("clean", rate_hz, rng, reports_speed=reports)
    return made, estimate_motion(to_track(receiver.observe(made.truth, rng)))


def overlap(found: Reverse, truth: Span) -> float:
    """Return the time in common over the time of both."""
    spans = found.spans
    common = sum(max(0.0, min(b, truth.end_s) - max(a, truth.start_s)) for a, b in spans)
    lengths = sum(b - a for a, b in spans) + truth.end_s - truth.start_s
    return common / (lengths - common)


@pytest.mark.parametrize("reports", [True, False])
def test_a_plain_reverse_is_found_with_its_speed(reports: bool) -> None:
    ride, motion = ridden("straight", 10.0, reports)
    truth = ride.labels["reverses"][0]
    found = find_reverse(motion)
    assert found.state == "found"
    assert found.possible_spans == ()
    assert overlap(found, truth) > 0.9
    best = ride.truth.best_mean_speed(reverse=True).speed_mps
    assert found.top_speed_mps is not None
    assert found.top_speed_mps.value == pytest.approx(best, abs=0.12)
    assert found.distance_m == pytest.approx(truth.distance_m, abs=0.3)
    assert "at the stop and no turn of the path explains it" in found.segments[0].evidence
    assert found.reason == "told by the course through the stops."


@pytest.mark.parametrize("kind", ["three-point", "rolling", "shunting", "arc"])
def test_every_kind_is_found_at_ten_hertz(kind: str) -> None:
    ride, motion = ridden(kind)
    found = find_reverse(motion)
    assert found.state == "found"
    assert len(found.spans) == len(ride.labels["reverses"])


def test_a_turn_is_no_reverse() -> None:
    found = find_reverse(ridden("u-turns")[1])
    assert found == Reverse("none", None, 0.0, (), found.reason)
    assert found.reason == "nowhere does the machine leave a stop back along its own course."


def test_turned_by_hand_is_never_found() -> None:
    found = find_reverse(ridden("by hand")[1])
    assert found.state != "found"
    assert found.spans == ()
    assert found.top_speed_mps is None
    if found.state == "uncertain":
        assert "turned round by hand" in found.segments[0].evidence
        assert found.reason.startswith("something looks like reverse, but the log cannot settle")


def test_a_ride_all_one_way_is_called_forward() -> None:
    ride = RideLayout()
    ride.stand(3.0)
    ride.drive(until_mps=5.0)
    ride.hold(4.0)
    ride.brake()
    ride.stand(3.0)
    rng = np.random.default_rng(3)
    track = to_track(preset("clean", 10.0, rng).observe(ride.build(rng), rng))
    assert find_reverse(estimate_motion(track)).state == "none"


def test_marks_decide() -> None:
    _, motion = ridden("u-turns")
    found = find_reverse(motion, marks=[(20.0, 24.0), (22.0, 26.0)])
    assert found.state == "found"
    assert found.spans == ((20.0, 26.0),)
    assert found.reason == "told by the rider's marks."
    assert found.segments[0].state == "marked"
    assert found.segments[0].evidence.startswith("marked by the rider")
    assert found.top_speed_mps is not None


def test_a_mark_replaces_what_was_inferred_there() -> None:
    ride, motion = ridden("straight")
    truth = ride.labels["reverses"][0]
    mark = (truth.start_s + 2.0, truth.end_s - 2.0)
    found = find_reverse(motion, marks=[mark])
    assert found.spans == (mark,)
    assert "begins and ends while the machine moves" in found.segments[0].evidence


def test_a_setup_without_reverse_decides() -> None:
    found = find_reverse(ridden("straight")[1], has_reverse=False)
    assert found.state == "none"
    assert found.reason == "the set-up says that the machine has no reverse."


@pytest.mark.parametrize(
    ("marks", "has_reverse", "words"),
    [
        (
            [(5.0, 5.0)],
            None,
            "the mark 5.0 to 5.0 s does not end after it begins. What to do: give",
        ),
        ([(9.0, 5.0)], None, "the mark 9.0 to 5.0 s does not end after it begins"),
        ([(9e3, 1e4)], None, "the mark 9000.0 to 10000.0 s lies outside the log, which goes from"),
        ([(5.0, 8.0)], False, "1 reverse marked, but the set-up says that the machine has none."),
    ],
)
def test_wrong_marks_are_refused(
    marks: list[tuple[float, float]], has_reverse: bool | None, words: str
) -> None:
    with pytest.raises(RideLogError) as caught:
        find_reverse(ridden("straight")[1], marks=marks, has_reverse=has_reverse)
    assert words in " ".join(str(caught.value).split())
