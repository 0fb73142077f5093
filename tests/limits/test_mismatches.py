"""From where on a difference between the sides of a comparison is told, on both sides of each edge.

Two limits are published: the grade of a test track (eKFV Annex, no. 1.1: 1 %) and the angle within
which two runs count as one straight (the same 20 degrees as for opposite runs). The others are
common practice, no source; here they are held where the sentences put them.
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.figure import HIGHER, Comparable, Figure
from ridelog.compare.matching import direction_gap_mps, match_directions, mismatches_of
from ridelog.core.estimate import Estimate
from ridelog.core.geodesy import from_local
from ridelog.core.quantity import SPEED
from ridelog.core.track import FloatArray
from ridelog.core.units import SPEED_UNITS

ORIGIN = (52.0, 9.0)
# On the straight of 200 m that all these rides share.
ALONG_M = np.linspace(0.0, 200.0, 41)


class Ride(dict[str, Any]):
    """What a comparison reads of a ride, made up; each part as its subject would have it."""

    def __init__(
        self, name: str, *, east_m: float = 0.0, rate_hz: float = 10.0, sd_mps: float = 0.05,
        share: float = 1.0, weak: str = "", gap_mps: float = 0.0, grade: float = 0.0,
        course_deg: float = 0.0, day: str = "2024-06-08", source: str = "reported",
        along_m: FloatArray = ALONG_M,
    ) -> None:  # fmt: skip
        self.name = name
        turned = np.radians(course_deg)
        east, north = east_m + along_m * np.sin(turned), along_m * np.cos(turned)
        latitude, longitude = from_local(east, north, *ORIGIN)
        self.source = SimpleNamespace(
            rate_hz=rate_hz, speed_source=source, start_utc=f"{day}T09:00:00Z", date_known=True
        )
        track = SimpleNamespace(
            latitude_deg=latitude, longitude_deg=longitude, height_m=80.0 + grade * along_m
        )
        self.motion = SimpleNamespace(
            origin_deg=ORIGIN, track=track, used=np.ones(len(along_m), dtype=bool),
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


def heading(course_deg: float | None) -> Figure:
    """Return a figure of a run in one direction."""
    terms = Comparable(HIGHER, one_direction=True, course_deg=course_deg)
    return Figure("x", "x", SPEED, Estimate(1.0, 0.9, 1.1), comparable=terms)


def codes(**after: Any) -> set[str]:
    """Return what differs between two rides each of which the later ones have something else."""
    before: Any = (Ride("a"), Ride("b"))
    later: Any = (Ride("c", **after), Ride("d", **after))
    return {one.code for one in mismatches_of(before, later, {}, {})}


def test_like_sides_have_no_mismatch() -> None:
    assert codes() == set()


@pytest.mark.parametrize(("before", "after", "told"), [
    (0.4, 0.4, False), (-0.4, -0.4, False), (-0.2, 0.2, True), (0.2, -0.2, True),
])  # fmt: skip
def test_a_wind_of_both_sides_is_no_mismatch(before: float, after: float, told: bool) -> None:
    first, second = ((Ride("a", gap_mps=v), Ride("b", gap_mps=v)) for v in (before, after))
    sides: tuple[Any, Any] = first, second
    found = {one.code for one in mismatches_of(*sides, {}, {})}
    assert found == ({"wind_or_slope"} if told else set())


@pytest.mark.parametrize(
    ("code", "still", "told"),
    [
        ("other_place", {"east_m": 299.5}, {"east_m": 300.5}),
        ("other_rate", {"rate_hz": 15.0}, {"rate_hz": 15.1}),
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


@pytest.mark.parametrize(
    ("course_deg", "matched"), [(20.0, True), (340.0, True), (20.1, False), (160.0, False)]
)
def test_rides_of_one_direction_match_within_20_degrees(course_deg: float, matched: bool) -> None:
    found = match_directions((heading(0.0),), (heading(course_deg),))
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


def told(code: str, before: dict[str, Any], after: dict[str, Any]) -> str:
    """Return what a reader in km/h is told of two rides a side."""
    first: Any = (Ride("b1", **before), Ride("b2", **before))
    second: Any = (Ride("a1", **after), Ride("a2", **after))
    (one,) = [one for one in mismatches_of(first, second, {}, {}) if one.code == code]
    return one.text_in(SPEED_UNITS["km/h"])


@pytest.mark.parametrize(
    ("code", "before", "after", "words"),
    [
        ("wind_or_slope", {"gap_mps": 0.5}, {"gap_mps": -0.25},
         "faster than the other by 1.8 km/h before and −0.9 km/h after (minus: slower)"),
        ("other_rate", {"rate_hz": 5.0}, {"rate_hz": 10.0},
         "The logs hold 5 fixes a second before and 10 after"),
        ("unequal_slope", {"grade": 0.02}, {"grade": -0.01},
         "rose by 2.0 % along the straight before and fell by 1.0 % after"),
        ("other_place", {}, {"east_m": 2000.0}, "were made 2.0 km apart"),
        ("other_course", {"course_deg": 350.0}, {"course_deg": 40.0}, "lie 50° apart"),
        ("other_course", {"course_deg": 10.0}, {"course_deg": 160.0}, "lie 30° apart"),
        ("poor_signal", {"share": 0.9}, {"share": 0.6},
         "poorer after the change: in a1 60 % of its fixes are usable"),
        ("poor_signal", {"sd_mps": 0.3, "share": 0.95}, {"sd_mps": 0.1, "share": 0.9},
         "poorer before the change: in b1 95 % of its fixes are usable"),
        ("poor_signal", {"sd_mps": 0.1, "share": 0.5}, {"sd_mps": 0.15},
         "poorer before the change: in b1 50 % of its fixes are usable"),
        ("poor_signal", {"weak": "few fixes"}, {}, "firm figures in b1, b2: leave such a ride out"),
        ("other_day", {}, {"day": "2024-06-09"}, "before and after were made on different days"),
    ],
)  # fmt: skip
def test_the_sentence_tells_each_side_its_own(
    code: str, before: dict[str, Any], after: dict[str, Any], words: str
) -> None:
    assert words in told(code, before, after)


@pytest.mark.parametrize(("rates", "words"), [((10.0, 10.4), "10 fixes"), ((4.0, 5.0), "4 to 5 f")])
def test_rates_of_a_side_are_one_or_a_range(rates: tuple[float, float], words: str) -> None:
    before: Any = tuple(Ride(f"b{rate}", rate_hz=rate) for rate in rates)
    after: Any = (Ride("a1", rate_hz=20.0), Ride("a2", rate_hz=20.0))
    (one,) = mismatches_of(before, after, {}, {})
    assert f"The logs hold {words}" in one.text


@pytest.mark.parametrize(
    ("length_m", "fixes", "found"),
    [(39.9, 20, False), (40.5, 20, True), (100.0, 9, False), (100.0, 10, True)],
)
def test_a_slope_is_told_over_40_m_and_ten_heights(
    length_m: float, fixes: int, found: bool
) -> None:
    along = np.linspace(0.0, length_m, fixes)
    assert ("unequal_slope" in codes(grade=0.05, along_m=along)) is found


@pytest.mark.parametrize(("course_deg", "kept"), [(159.9, False), (160.0, True), (200.0, True)])
def test_the_opposite_direction_lies_within_20_degrees_too(course_deg: float, kept: bool) -> None:
    first, second = (heading(0.0), heading(180.0)), (heading(0.0), heading(course_deg))
    found = match_directions(first, second)
    assert (found.second[1].estimate is not None) is kept
    assert found.directions == (((0, 1), (0, 1)) if kept else None)


def test_a_gap_is_told_along_the_axis_whichever_run_comes_first() -> None:
    ride: Any = Ride("a", gap_mps=0.5)
    assert direction_gap_mps(ride, 0.0) == pytest.approx(0.5)
    assert direction_gap_mps(ride, 180.0) == pytest.approx(-0.5)
    assert direction_gap_mps(ride, 89.0) == pytest.approx(0.5)
    assert direction_gap_mps(ride, 91.0) == pytest.approx(-0.5)


def test_the_worst_of_two_rides_is_named() -> None:
    before: Any = (Ride("a"), Ride("b"))
    after: Any = (Ride("c", share=0.9), Ride("d", share=0.5))
    (one,) = mismatches_of(before, after, {}, {})
    assert "in d 50 % of its fixes" in one.text


def test_rides_are_matched_by_the_first_that_tells_a_direction() -> None:
    """20 degrees either side of it are one way, so two that are 36 degrees apart may both stay."""
    first = (heading(None), heading(0.0), heading(18.0))
    found = match_directions(first, (heading(342.0), heading(30.0)))
    assert [one.estimate is None for one in found.first] == [True, False, False]
    assert [one.estimate is None for one in found.second] == [False, True]
    assert found.first[0].reason == "its direction cannot be told"
    assert found.second[1].reason == "no ride of the other side went in this direction"


@pytest.mark.parametrize(("noted", "words"), [
    (({"rider": "Ann"}, {"rider": "Bob"}), "rider: Ann before, Bob after."),
    (({"rider": "Ann"}, {"rider": "Ann"}), ""), (({"rider": "Ann"}, {}), ""),
    (({"price": "10"}, {"price": "20"}), ""),
])  # fmt: skip
def test_notes_that_differ_are_told(
    noted: tuple[dict[str, str], dict[str, str]], words: str
) -> None:
    sides: Any = ((Ride("a"), Ride("b")), (Ride("c"), Ride("d")))
    texts = [one.text for one in mismatches_of(sides[0], sides[1], noted[0], noted[1])]
    assert len(texts) == bool(words) and all(words in text for text in texts)


@pytest.mark.parametrize(
    ("noted", "rest"),
    [
        ({}, ": air, ground, tyre pressure and charge may have differed."),
        ({"battery charge at the start": "full"}, ": air, ground and tyre pressure may have"),
        ({"wind": "none", "charge": "80 %"}, ": air, ground and tyre pressure may have differed."),
        ({"wind": "none", "air temperature": "20"}, ": ground, tyre pressure and charge may have"),
        ({"battery": "new"}, ": air, ground, tyre pressure and charge may have differed."),
        ({"wind": "none", "air temperature": "20", "surface": "tarmac", "tyre pressure": "2 bar",
          "charge": "full"}, "on different days."),
    ],
)  # fmt: skip
def test_what_both_sides_noted_is_not_said_to_have_differed(
    noted: dict[str, str], rest: str
) -> None:
    before: Any = (Ride("b1"), Ride("b2"))
    after: Any = (Ride("a1", day="2024-06-09"), Ride("a2", day="2024-06-09"))
    (one,) = mismatches_of(before, after, noted, noted)
    assert rest in one.text
    # Of one side alone it tells nothing about the other.
    (alone,) = (m for m in mismatches_of(before, after, noted, {}) if m.code == "other_day")
    assert "air, ground, tyre pressure and charge may have differed" in alone.text


@pytest.mark.parametrize(("grade", "told"), [(0.0095, False), (0.0105, True)])
def test_only_heights_that_are_there_and_believed_tell_a_slope(grade: float, told: bool) -> None:
    """Every third height is missing, every other third of a fix that is left out 30 m too high."""
    before: Any = (Ride("a"), Ride("b"))
    after: Any = (Ride("c", grade=grade), Ride("d", grade=grade))
    for ride in after:
        motion, number = ride.motion, np.arange(len(ALONG_M))
        motion.track.height_m[::3] = np.nan
        motion.used = number % 3 != 1
        motion.track.height_m[1::3] += 30.0 * number[1::3]
        motion.east_m = np.where(number == 5, np.nan, motion.east_m)
    found = {one.code for one in mismatches_of(before, after, {}, {})}
    assert ("unequal_slope" in found) is told


@pytest.mark.parametrize("course_deg", [60.0, 90.0, 135.0, 300.0])
@pytest.mark.parametrize(("still", "told", "code"), [
    ({"gap_mps": 0.14}, {"gap_mps": 0.16}, "wind_or_slope"),
    ({"grade": -0.0095}, {"grade": -0.0105}, "unequal_slope"),
    ({"east_m": -299.5}, {"east_m": -300.5}, "other_place"),
])  # fmt: skip
def test_it_does_not_matter_which_way_the_straight_lies(
    course_deg: float, still: dict[str, Any], told: dict[str, Any], code: str
) -> None:
    before: Any = (Ride("a", course_deg=course_deg), Ride("b", course_deg=course_deg))
    for more, found in (({}, set()), (still, set()), (told, {code})):
        after: Any = tuple(Ride(name, course_deg=course_deg, **more) for name in "cd")
        assert {one.code for one in mismatches_of(before, after, {}, {})} == found
    # The opposite end of the same straight is the same straight.
    other: Any = tuple(Ride(name, course_deg=course_deg + 180.0) for name in "cd")
    assert mismatches_of(before, other, {}, {}) == ()


@pytest.mark.parametrize(("share", "sd_mps", "worse"), [
    # Of alike shares the noisier ride, of alike noise the one with the smaller share.
    ((0.6, 0.6), (0.2, 0.3), "a2"), ((0.6, 0.6), (0.3, 0.2), "a1"),
    ((0.6, 0.5), (0.2, 0.2), "a2"), ((0.5, 0.6), (0.2, 0.2), "a1"),
])  # fmt: skip
def test_the_ride_with_the_poorest_signal_is_named(
    share: tuple[float, float], sd_mps: tuple[float, float], worse: str
) -> None:
    before: Any = (Ride("b1"), Ride("b2"))
    after: Any = tuple(Ride(f"a{k + 1}", share=share[k], sd_mps=sd_mps[k]) for k in range(2))
    (one,) = mismatches_of(before, after, {}, {})
    assert f"poorer after the change: in {worse} " in one.text
