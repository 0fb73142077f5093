"""From where on a difference between the sides of a comparison is told, on both sides of each edge.

Two limits are published: the grade of a test track (eKFV Annex, no. 1.1: 1 %) and the angle within
which two runs count as one straight (the same 20 degrees as for opposite runs). The others are
common practice, no source; here they are held where the sentences put them.
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.compare.matching import match_directions, mismatches_of
from ridelog.core.estimate import Estimate
from ridelog.core.geodesy import from_local

ORIGIN = (52.0, 9.0)
# On the straight of 200 m that all these rides share.
ALONG_M = np.linspace(0.0, 200.0, 41)


class Ride(dict[str, Any]):
    """What a comparison reads of a ride, made up; each part as its subject would have it."""

    def __init__(
        self, name: str, *, east_m: float = 0.0, rate_hz: float = 10.0, sd_mps: float = 0.05,
        share: float = 1.0, weak: str = "", gap_mps: float = 0.0, grade: float = 0.0,
        course_deg: float = 0.0, day: str = "2024-06-08", source: str = "reported",
    ) -> None:  # fmt: skip
        self.name = name
        turned = np.radians(course_deg)
        east, north = east_m + ALONG_M * np.sin(turned), ALONG_M * np.cos(turned)
        latitude, longitude = from_local(east, north, *ORIGIN)
        self.source = SimpleNamespace(
            rate_hz=rate_hz, speed_source=source, start_utc=f"{day}T09:00:00Z", date_known=True
        )
        track = SimpleNamespace(
            latitude_deg=latitude, longitude_deg=longitude, height_m=80.0 + grade * ALONG_M
        )
        self.motion = SimpleNamespace(
            origin_deg=ORIGIN, track=track, used=np.ones(len(ALONG_M), dtype=bool),
            east_m=east, north_m=north,
        )  # fmt: skip
        runs = [
            SimpleNamespace(course_deg=course_deg + way, speed_mps=Estimate(v, v - 0.1, v + 0.1))
            for way, v in ((0.0, 10.0 + gap_mps), (180.0, 10.0))
        ]
        super().__init__(
            signal=SimpleNamespace(speed_sd_mps=sd_mps, usable_share=share, too_weak=weak),
            top_speed=SimpleNamespace(two_way_runs=tuple(runs), two_way_mps=runs[1].speed_mps),
        )


def codes(**after: Any) -> set[str]:
    """Return what differs between two rides each of which the later ones have something else."""
    before: Any = (Ride("a"), Ride("b"))
    later: Any = (Ride("c", **after), Ride("d", **after))
    return {one.code for one in mismatches_of(before, later, {}, {})}


def test_like_sides_have_no_mismatch() -> None:
    assert codes() == set()


@pytest.mark.parametrize(
    ("code", "still", "told"),
    [
        ("other_place", {"east_m": 295.0}, {"east_m": 305.0}),
        ("other_rate", {"rate_hz": 14.9}, {"rate_hz": 15.1}),
        ("other_rate", {"rate_hz": 6.7}, {"rate_hz": 6.6}),
        ("wind_or_slope", {"gap_mps": 0.14}, {"gap_mps": 0.16}),
        ("wind_or_slope", {"gap_mps": -0.14}, {"gap_mps": -0.16}),
        ("unequal_slope", {"grade": 0.0095}, {"grade": 0.0105}),
        ("other_course", {"course_deg": 19.0}, {"course_deg": 21.0}),
        ("poor_signal", {"sd_mps": 0.099}, {"sd_mps": 0.101}),
        ("poor_signal", {"share": 0.76}, {"share": 0.74}),
        ("poor_signal", {}, {"weak": "the signal is too weak"}),
        ("other_day", {"day": "2024-06-08"}, {"day": "2024-06-09"}),
        ("other_receiver", {"source": "reported"}, {"source": "positions"}),
    ],
)
def test_a_mismatch_is_told_from_its_limit_on(
    code: str, still: dict[str, Any], told: dict[str, Any]
) -> None:
    assert codes(**still) == set()
    assert codes(**told) == {code}


def test_what_rides_of_one_side_scatter_by_is_no_mismatch() -> None:
    before: Any = (Ride("a", gap_mps=-0.4), Ride("b", gap_mps=0.4))
    for gap, told in ((0.39, set()), (0.41, {"wind_or_slope"})):
        after: Any = (Ride("c", gap_mps=gap), Ride("d", gap_mps=gap))
        assert {one.code for one in mismatches_of(before, after, {}, {})} == told


@pytest.mark.parametrize(("course_deg", "matched"), [(19.0, True), (21.0, False), (161.0, False)])
def test_rides_of_one_direction_match_within_20_degrees(course_deg: float, matched: bool) -> None:
    def figure(course: float) -> Any:
        terms = SimpleNamespace(both_ways=None, course_deg=course)
        return SimpleNamespace(estimate=Estimate(1.0, 0.9, 1.1), terms=terms)

    found = match_directions((figure(0.0),), (figure(course_deg),))
    assert (found.obstacle == "") == matched


@pytest.mark.parametrize(
    ("count", "words"),
    [
        ((1, 1), "There is one ride a side."),
        ((1, 2), "There is one ride before the change."),
        ((2, 1), "There is one ride after the change."),
        ((2, 2), None),
    ],
)
def test_one_ride_is_told_with_its_side(count: tuple[int, int], words: str | None) -> None:
    sides: Any = [tuple(Ride(f"{side}{k}") for k in range(n)) for side, n in enumerate(count)]
    told = [one.text for one in mismatches_of(sides[0], sides[1], {}, {}) if one.code == "one_ride"]
    assert len(told) == (words is not None)
    assert words is None or told[0].startswith(words)


def test_a_date_that_is_not_known_is_no_other_day() -> None:
    before: Any = (Ride("a"), Ride("b"))
    after: Any = (Ride("c", day="2024-07-01"), Ride("d", day="2024-07-01"))
    for ride in after:
        ride.source.date_known = False
    assert mismatches_of(before, after, {}, {}) == ()
