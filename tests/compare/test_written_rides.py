"""Comparisons of rides whose figures are written here: which are compared, with what, and why not.

Half widths of independent errors add in squares; means, differences and crossings by hand.
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.figure import HIGHER, LOWER, Comparable, Figure
from ridelog.compare.comparison import Compared, compare, compared_names
from ridelog.compare.curves import best_run, crossing_of, curves_of
from ridelog.compare.difference import difference_of
from ridelog.compare.display.measure import check_display, readings_of, right_circumference
from ridelog.compare.predicted import agreements, measured_after, side_means
from ridelog.core.errors import NotEnoughDataError, RideLogError
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.quantity import SPEED, TIME
from ridelog.core.units import SPEED_UNITS

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
FULL = {"charge": "full"}


def about(value: float, sd: float = 0.05) -> Estimate:
    return Estimate(value, value - QUANTILE * sd, value + QUANTILE * sd)


def figure(name: str, value: float | None, sd: float = 0.05, *, reason: str = "",
           round_in: str = "", at_mps: float | None = None, **terms: Any) -> Figure:  # fmt: skip
    terms.setdefault("better", HIGHER)
    estimate = None if value is None else about(value, sd)
    return Figure(name, name, SPEED, estimate, reason, Comparable(**terms), round_in=round_in,
                  at_mps=at_mps)  # fmt: skip


def curve(pull: float, *, both_ways: bool = True, speeds: Any = (1.0, 1.5, 2.0, 2.5)) -> Any:
    """Return an acceleration curve that is level, known to 0.02 m/s²."""
    at = np.array(speeds)

    def columns(v: np.ndarray) -> np.ndarray:
        return pull + 0.02 * np.resize([0.0, -1.0, 1.0], (len(v), 9))

    return SimpleNamespace(
        speed_mps=at, both_ways=both_ways, curve=(), sharp=columns,
        at=lambda v: about(pull, 0.02) if np.isclose(at, v).any() else None,
    )  # fmt: skip


class Ride(dict[str, Any]):
    """What a comparison reads of a ride."""

    def __init__(self, name: str, *figures: Figure, weak: str = "", sha256: str = "",
                 pull: Any = None, fastest_s: float = 50.0) -> None:  # fmt: skip
        self.name = name
        self.source = SimpleNamespace(
            sha256=sha256 or name, rate_hz=10.0, speed_source="reported", date_known=False,
            start_utc="",
        )  # fmt: skip
        self.settings = SimpleNamespace(windows=())
        self.figures = {one.name: one for one in figures}
        self.cautions = ()
        self.motion = known_motion([(0.0, 5.0), (1.0, 5.0)])
        none = curve(1.0, speeds=())
        super().__init__(
            signal=SimpleNamespace(too_weak=weak, speed_sd_mps=0.05, usable_share=1.0),
            top_speed=SimpleNamespace(two_way_runs=(), two_way_mps=None, at_s=fastest_s),
            acceleration=pull or none,
        )


def rides(letter: str, *values: float | None, name: str = "two_way_mps", **more: Any) -> Any:
    return tuple(
        Ride(f"{letter}{k}", figure(name, value, **more)) for k, value in enumerate(values)
    )


def one(before: Any, after: Any, name: str = "two_way_mps", **more: Any) -> Compared:
    more.setdefault("noted_before", FULL)
    more.setdefault("noted_after", dict(FULL))
    return compare(before, after, **more)[name]


def test_more_is_better_or_less_is() -> None:
    before, after = rides("b", 8.0, 8.1, 7.9), rides("a", 9.0, 9.1, 8.9)
    assert one(before, after).verdict.word == "better"
    assert one(after, before).verdict.word == "worse"
    sooner, later = (
        rides(side, *values, name="x", better=LOWER)
        for side, values in (("b", (8.0, 8.1, 7.9)), ("a", (9.0, 9.1, 8.9)))
    )
    assert one(sooner, later, name="x").verdict.word == "worse"
    same = one(rides("b", 8.0, 8.3, 7.7), rides("a", 8.1, 8.4, 7.8))
    assert same.verdict.word == "no difference shown"
    single = one(rides("b", 8.0), rides("a", 9.0))
    assert single.verdict.word == "cannot say" and single.difference is not None
    assert single.difference.method == "one ride a side"


def test_a_charge_that_nobody_noted_could_be_a_small_gain() -> None:
    """Volts at a quarter are 0.855 of full: up to 17 % more speed is the charge's, more is not."""
    before, small = rides("b", 8.0, 8.02, 7.98), rides("a", 8.8, 8.82, 8.78)
    open_ = one(before, small, noted_before={}, noted_after={})
    assert open_.verdict.word == "cannot say" and open_.charge is not None
    assert one(before, small).verdict.word == "better" and one(before, small).charge is None
    great = one(before, rides("a", 12.0, 12.02, 11.98), noted_before={}, noted_after={})
    assert great.verdict.word == "better" and great.charge is None


@pytest.mark.parametrize(("name", "at_mps", "held"), [
    ("0-20 km/h", None, True), ("0-20 km/h distance", None, True), ("0-50 m", None, True),
    ("pull_at_2_mps", 2.0, True), ("mean_braking_mps2", None, False),
])  # fmt: skip
def test_starts_and_pulls_are_held_against_it_too(
    name: str, at_mps: float | None, held: bool
) -> None:
    def side(letter: str, value: float) -> Any:
        return tuple(
            Ride(f"{letter}{k}", figure("two_way_mps", 8.0 + 0.01 * k),
                 figure(name, value + 0.01 * k, 0.01, at_mps=at_mps, better=LOWER))
            for k in range(3)
        )  # fmt: skip

    sides = side("b", 4.0), side("a", 3.8)
    assert one(*sides, name=name).verdict.word == "better"
    open_ = one(*sides, name=name, noted_before={}, noted_after={})
    assert (open_.charge is not None) is held
    assert open_.verdict.word == ("cannot say" if held else "better")
    # How near a time or a pull is to the top decides what a charge does: without one nobody says.
    if name != "two_way_mps":
        topless: list[Any] = [
            tuple(Ride(ride.name, ride.figures[name]) for ride in side) for side in sides
        ]
        alone = one(topless[0], topless[1], name=name, noted_before={}, noted_after={})
        assert alone.charge is None and alone.verdict.word == "better"


def test_the_top_speed_comes_first_under_its_name() -> None:
    def side(letter: str, two_way: float | None) -> Any:
        return tuple(
            Ride(f"{letter}{k}", figure("x", 1.0), figure("best_1s_mps", 9.0),
                 figure("two_way_mps", two_way, reason="no two runs."))
            for k in range(2)
        )  # fmt: skip

    found = compare(side("b", 8.0), side("a", 8.0))
    assert [each.figure.name for each in found.figures] == ["two_way_mps", "x", "best_1s_mps"]
    assert found.figures[0].figure.title == "top speed"
    other = compare(side("b", None), side("a", 8.0))
    assert [each.figure.name for each in other.figures][:2] == ["best_1s_mps", "x"]
    assert other.figures[0].figure.title == "top speed" and other["x"].figure.title == "x"
    assert other["two_way_mps"].obstacle == (
        "no ride before the change holds this figure (no two runs)"
    )
    assert other.get("nothing") is None
    with pytest.raises(KeyError, match="compared were best_1s_mps, x, two_way_mps"):
        other["nothing"]


def test_which_figures_are_compared() -> None:
    """Of both sides, in the reader's unit, where told; of a series the middle of what most hold."""

    def ride(name: str, *series: str, alone: bool = False, told: float | None = 1.0) -> Any:
        told_there = figure("where", told, where_told=True)
        more = [figure("alone", 1.0)] if alone else []
        rows = [figure(one, 1.0, series="s") for one in series]
        round_ = [
            figure("0-20 km/h", 3.0, round_in="km/h"),
            figure("0-15 mph", 3.0, round_in="mph"),
        ]
        return Ride(name, told_there, *more, *rows, *round_)

    before: Any = (ride("b1", "s1", "s2", "s3", alone=True), ride("b2", "s1", "s2", "s3"))
    after: Any = (ride("a1", "s1", "s2", "s3", "s4"), ride("a2", "s1", "s2"))
    assert compared_names(before, after, KMH) == ["where", "s1", "0-20 km/h"]
    assert compared_names(before, after, MPH) == ["where", "s1", "0-15 mph"]
    # s1, s2 and s3 are held by all rides: the one in the middle.
    assert "s2" in compared_names(before, after[:1], KMH)
    silent: Any = (ride("a3", "s1", told=None),)
    short: Any = Ride("a4", figure("where", 1.0))
    assert "where" not in compared_names(before, silent, KMH)
    # A ride that was not measured for a figure has none of it.
    lacks = compare(before, (*after, short))["s1"]
    assert lacks.after[2].estimate is None
    assert lacks.after[2].reason == "the ride does not reach it"


@pytest.mark.parametrize(("sd", "weak", "doubt"), [
    (0.05, "", ""), (0.05, "few fixes", "the signal was too weak in a1"),
    (9.0, "", "the rides before and after tell it too roughly to name one figure"),
])  # fmt: skip
def test_what_may_not_be_named_by_itself(sd: float, weak: str, doubt: str) -> None:
    before = tuple(Ride(f"b{k}", figure("x", 8.0 + 0.01 * k, sd)) for k in range(2))
    after = tuple(
        Ride(f"a{k}", figure("x", 8.0 + 0.01 * k, sd), weak=weak if k == 1 else "")
        for k in range(2)
    )
    sides: Any = (before, after)
    assert compare(*sides)["x"].doubt == doubt


def test_one_side_may_be_too_rough() -> None:
    before, after = rides("b", 8.0, 8.0, 8.0, name="x"), rides("a", 1.0, 9.0, 17.0, name="x")
    assert compare(before, after)["x"].doubt.startswith("the rides after tell it too roughly")


def test_wind_and_what_is_shared_come_from_the_terms() -> None:
    """10 m/s with the wind, 9.6 both ways: 0.4 of wind, and 0.1 that is in them as well."""

    def side(letter: str, value: float, both: float) -> Any:
        terms: dict[str, Any] = {"one_direction": True, "both_ways": about(both),
                                 "wind_excess": 0.1, "shared_sd": 0.03}  # fmt: skip
        return tuple(Ride(f"{letter}{k}", figure("x", value, **terms)) for k in range(3))

    found = one(side("b", 10.0, 9.6), side("a", 10.5, 10.3), name="x").difference
    assert found is not None
    assert found.wind_part == pytest.approx((10.5 - 10.3 + 0.1) - (10.0 - 9.6 + 0.1))
    assert found.receiver_error == pytest.approx(0.04 * np.sqrt(2.0 / 3.0))


def test_rides_of_one_direction_each_are_matched() -> None:
    def ride(name: str, value: float, course: float) -> Ride:
        return Ride(name, figure("x", value, one_direction=True, course_deg=course))

    before: Any = (ride("b1", 8.0, 0.0), ride("b2", 9.0, 180.0))
    after: Any = (ride("a1", 9.5, 180.0), ride("a2", 8.4, 0.0), ride("a3", 20.0, 90.0))
    found = one(before, after, name="x")
    assert found.difference is not None
    # Half of 8.4 - 8.0 and half of 9.5 - 9.0.
    assert found.difference.difference.value == pytest.approx(0.45)
    lost = one(before[:1], after[2:], name="x")
    assert lost.difference is None and "different directions" in lost.obstacle


def test_two_modes_of_the_same_logs_are_pairs() -> None:
    def side(*values: float) -> Any:
        return tuple(
            Ride(f"r{k}", figure("two_way_mps", value), sha256=f"log{k}", fastest_s=100.0)
            for k, value in enumerate(values)
        )

    eco, sport = side(8.0, 9.0, 7.0, 8.2), side(8.5, 9.52, 7.48, 8.7)
    found = compare(eco, sport, modes=("eco", "sport"))
    difference = found["two_way_mps"].difference
    assert difference is not None and difference.method == "pairs"
    assert difference.difference.value == pytest.approx(0.5)
    assert found["two_way_mps"].verdict.word == "better"
    assert found.sides == ("eco", "sport")
    assert "same_logs" in {each.code for each in found.mismatches}
    # Two logs are not enough for a scatter of their own.
    few = compare(eco[:2], sport[:2], modes=("eco", "sport"))["two_way_mps"].difference
    assert few is not None and few.method == "shared scatter"
    # A log that tells one mode only drops out, with the reason.
    gone: Any = (*sport[:3], Ride("r3", figure("two_way_mps", None, reason="x"), sha256="log3"))
    part = compare(eco, gone, modes=("eco", "sport"))["two_way_mps"]
    assert part.before[3].estimate is None and part.before[2].estimate is not None
    assert part.before[3].reason == "its log tells this figure in one of the two modes only"
    assert part.difference is not None and part.difference.method == "pairs"
    with pytest.raises(RideLogError, match="a ride counts once"):
        compare(eco, sport)


def test_means_of_one_side_by_the_names_of_a_prediction() -> None:
    sides = rides("b", 8.0, 9.0), rides("a", 10.0)
    assert side_means(sides[0])["top_speed_mps"].value == pytest.approx(8.5)
    told = {"two_way_mps": about(7.0)}
    assert side_means(sides[0], told)["top_speed_mps"] == told["two_way_mps"]
    ways: Any = tuple(
        Ride(f"b{k}", figure("x", value, one_direction=True, course_deg=course))
        for k, (value, course) in enumerate(((8.0, 0.0), (10.0, 180.0), (10.4, 180.0)))
    )
    # Half of 8.0 and half of 10.2; a plain mean would say 9.47.
    assert side_means(ways)["x"].value == pytest.approx(9.1)
    # With few rides the scatter of the other side counts.
    alone, beside = (
        side_means(rides("b", 8.0)),
        side_means(rides("b", 8.0), None, rides("a", 7.0, 9.0)),
    )
    assert beside["top_speed_mps"].high - 8.0 > 2.0 > alone["top_speed_mps"].high - 8.0


def test_the_pull_after_a_change_is_the_mean_of_the_rides_that_tell() -> None:
    sides: Any = (
        Ride("a", pull=curve(2.0)),
        Ride("b", pull=curve(3.0, speeds=(1.0, 1.5))),
        Ride("c"),
    )
    found = measured_after(sides)
    assert found.names == ("a", "b", "c") and found.pull_mps.tolist() == [1.0, 1.5, 2.0, 2.5]
    assert [each.value for each in found.pull] == pytest.approx([2.5, 2.5, 2.0, 2.0])


@pytest.mark.parametrize(
    ("measured", "agrees"), [(8.3, True), (8.6, False), (7.7, True), (7.4, False)]
)
def test_predicted_and_measured_agree_within_both_errors(measured: float, agrees: bool) -> None:
    """0.3 and 0.4 to either side are 0.5 together."""
    said: Any = SimpleNamespace(
        figure=SimpleNamespace(name="top_speed_mps"), changed=Estimate(8.0, 7.7, 8.3)
    )
    riders: Any = SimpleNamespace(
        figure=SimpleNamespace(name="stopping_distance_m"), changed=Estimate(8.0, 7.7, 8.3)
    )
    none: Any = SimpleNamespace(figure=SimpleNamespace(name="x"), changed=None)
    after: Any = SimpleNamespace(figures=dict.fromkeys(
        ("top_speed_mps", "stopping_distance_m", "x"),
        Estimate(measured, measured - 0.4, measured + 0.4),
    ))  # fmt: skip
    prediction: Any = SimpleNamespace(figures=(said, riders, none))
    (found,) = agreements(prediction, after)
    assert found.agrees is agrees and found.name == "top_speed_mps"
    assert found.apart.value == pytest.approx(measured - 8.0)
    assert found.apart.high - found.apart.value == pytest.approx(0.5)
    skewed: Any = SimpleNamespace(figures={"top_speed_mps": Estimate(8.0, 7.6, 9.2)})
    lop: Any = SimpleNamespace(figures=(replace_changed(said, Estimate(8.0, 7.7, 8.9)),))
    (other,) = agreements(lop, skewed)
    assert other.apart.low == pytest.approx(-np.hypot(0.4, 0.9))
    assert other.apart.high == pytest.approx(np.hypot(1.2, 0.3))


def replace_changed(said: Any, changed: Estimate) -> Any:
    return SimpleNamespace(figure=said.figure, changed=changed)


def test_pull_curves_of_rides_with_both_directions_come_first() -> None:
    balanced: Any = (Ride("b1", pull=curve(2.0)), Ride("b2", pull=curve(2.2)),
                     Ride("b3", pull=curve(9.0, both_ways=False)))  # fmt: skip
    after: Any = (Ride("a1", pull=curve(3.0)), Ride("a2", pull=curve(3.2)), Ride("a3"))
    found = curves_of(balanced, after)
    assert found is not None and found.speed_mps.tolist() == [1.0, 1.5, 2.0, 2.5]
    assert found.differences[0].difference.value == pytest.approx(3.1 - 2.1)
    assert found.crossing is None
    single: Any = tuple(Ride(f"c{k}", pull=curve(4.0, both_ways=False)) for k in range(2))
    mixed = curves_of(balanced, single)
    assert mixed is not None
    assert mixed.differences[0].difference.value == pytest.approx(4.0 - (2.0 + 2.2 + 9.0) / 3.0)
    assert curves_of(balanced, after[2:]) is None
    narrow: Any = (Ride("d", pull=curve(3.0, speeds=(2.0, 2.5))),)
    part = curves_of(balanced, narrow)
    assert part is not None and part.speed_mps.tolist() == [2.0, 2.5]
    assert curves_of(balanced, (Ride("e", pull=curve(3.0, speeds=(2.5, 3.0))),)) is None  # type: ignore[arg-type]


def test_pull_curves_of_three_logs_are_pairs() -> None:
    def side(*pulls: float) -> Any:
        return tuple(Ride(f"r{k}", pull=curve(p), sha256=f"log{k}") for k, p in enumerate(pulls))

    found = curves_of(side(2.0, 3.0, 4.0), side(2.5, 3.5, 4.6), pairs=True)
    assert found is not None and {each.method for each in found.differences} == {"pairs"}
    for pairs, sides in ((False, 3), (True, 2)):
        other = curves_of(side(2.0, 3.0, 4.0)[:sides], side(2.5, 3.5, 4.6)[:sides], pairs=pairs)
        assert other is not None and "pairs" not in {each.method for each in other.differences}


@pytest.mark.parametrize(("up_s", "found"), [(20.0, True), (47.0, True), (49.0, False)])
def test_the_run_with_the_best_second(up_s: float, found: bool) -> None:
    """From where the straight line leaves zero to a twentieth below the highest."""
    end_s = 5.0 + up_s
    ride: Any = Ride("x")
    ride.motion = known_motion([(0.0, 0.0), (5.0, 0.0), (end_s, 8.0), (end_s + 4.0, 0.0)])
    ride["top_speed"].at_s = end_s - 0.5
    run = best_run(ride)
    assert (run is not None) is found
    if run is not None:
        assert (run.time_s[0], run.speed_mps[0]) == (0.0, 0.0)
        # It stands up to 0.5 m/s; from there a line through two fixes leads back, one interval at
        # most; 0.4 m/s are lost in a fifth of a second more.
        slope, moved_s = 8.0 / up_s, 0.5 * up_s / 8.0
        rising = (run.time_s > 0.0) & (run.time_s < up_s - moved_s - 0.2)
        assert run.speed_mps[rising] == pytest.approx(0.5 + slope * run.time_s[rising], abs=0.1)
        assert run.time_s[-1] == pytest.approx(up_s - moved_s + 0.2, abs=0.3)


def test_no_run_without_a_start_or_across_a_gap() -> None:
    ride: Any = Ride("x")
    ride.motion = known_motion([(0.0, 0.6), (10.0, 8.0)])
    ride["top_speed"].at_s = 8.0
    assert best_run(ride) is None
    ride.motion = known_motion([(0.0, 0.0), (2.0, 0.0), (10.0, 8.0), (12.0, 8.0)])
    assert best_run(ride) is not None
    time_s = ride.motion.track.time_s
    for hole_s, found in ((2.4, True), (2.7, False)):
        used = (time_s < 5.0 + 1e-6) | (time_s > 5.0 + hole_s - 1e-6)
        ride.motion = replace(
            known_motion([(0.0, 0.0), (2.0, 0.0), (10.0, 8.0), (12.0, 8.0)]), used=used
        )
        assert (best_run(ride) is not None) is found
    ride["top_speed"].at_s = float("nan")
    assert best_run(ride) is None


def test_a_crossing_by_hand() -> None:
    """Differences of 2 - v / 3 m/s² known to 0.2: nought at 6, its ends at 5.4 and 6.6 m/s."""
    speed = np.arange(2.0, 10.1, 1.0)
    template = difference_of([about(1.0), about(1.0)], [about(1.0), about(1.0)])

    def differences(sign: float) -> Any:
        values = sign * (2.0 - speed / 3.0)
        return [replace(template, difference=Estimate(v, v - 0.2, v + 0.2)) for v in values]

    for sign in (1.0, -1.0):
        found = crossing_of(speed, differences(sign))
        assert found is not None and found.harder_below is (sign > 0.0)
        at = found.speed_mps
        assert (at.low, at.value, at.high) == pytest.approx((5.4, 6.0, 6.6))
    assert crossing_of(speed, []) is None
    unknown = [replace(each, contrast=None) for each in differences(1.0)]
    assert crossing_of(speed, unknown) is None


@pytest.mark.parametrize(("factor", "offset", "delay_s"), [(1.08, 0.3, 0.8), (0.95, 0.0, 0.3)])
def test_a_display_is_found_out(factor: float, offset: float, delay_s: float) -> None:
    knots = [
        (10.0 * k, speed) for k, speed in enumerate((2.0, 8.0, 3.0, 9.0, 2.5, 7.0, 4.0, 8.0, 2.0))
    ]
    motion = known_motion(knots, error_mps=0.02)
    at_s = np.arange(3.0, 78.0, 2.6)
    shown = factor * np.interp(at_s - delay_s, *np.array(knots).T) + offset
    step = 0.1 / 3.6
    found = check_display(motion, at_s, np.round(shown / step) * step, step)
    assert found.reason == "" and found.delay_s is not None and found.unused == 0
    assert found.factor.value == pytest.approx(factor, abs=0.01)
    assert found.offset_mps.value == pytest.approx(offset, abs=0.05)
    assert found.delay_s.value == pytest.approx(delay_s, abs=0.08)
    assert found.tested_mps[0] < 3.5 and found.tested_mps[1] > 7.5
    assert len(found.points) == len(at_s)
    assert found.points[3].true_mps.value == pytest.approx(
        np.interp(at_s[3] - delay_s, *np.array(knots).T), abs=0.08
    )
    # Below the true speed no rule allows; 8 % and 0.3 m/s above are within a tenth and 4 km/h.
    assert found.limits[0].met is (factor > 1.0)
    wheel = right_circumference(1.0, found)
    assert wheel.value == pytest.approx(1.0 / factor, abs=0.01) and wheel.low < wheel.high
    # Readings below walking pace or outside of the log do not count.
    more = np.append(at_s, [500.0, 79.9])
    again = check_display(motion, more, np.append(np.round(shown / step) * step, [5.0, 0.5]), step)
    assert again.unused == 2


def test_readings_that_tell_nothing() -> None:
    motion = known_motion([(0.0, 5.0), (60.0, 5.0)])
    at_s = np.arange(5.0, 55.0, 5.0)
    with pytest.raises(NotEnoughDataError, match="all readings were taken at one speed"):
        check_display(motion, at_s, np.full(len(at_s), 5.0), 0.1)
    with pytest.raises(NotEnoughDataError, match="only 4 of 4 readings lie inside the log"):
        check_display(motion, at_s[:4], np.full(4, 5.0), 0.1)
    steps = known_motion([(0.0, 3.0), (30.0, 3.0), (30.5, 6.0), (60.0, 6.0)])
    steady = check_display(steps, at_s, np.where(at_s < 30.0, 3.0, 6.0), 0.1)
    assert steady.delay_s is None and steady.reason.startswith("the readings were taken at steady")


def test_a_second_receiver_is_read_once_a_second() -> None:
    motion = known_motion([(0.0, 5.0), (10.0, 6.0)])
    found = readings_of(motion, motion.track)
    assert found.time_s == pytest.approx(np.arange(11.0), abs=0.11)
    assert found.shown_mps == pytest.approx(5.0 + 0.1 * found.time_s)
    blind = replace(motion, track=replace(motion.track, start_utc=None))
    with pytest.raises(NotEnoughDataError, match="one of the logs has no clock"):
        readings_of(motion, blind.track)


def test_figures_of_an_unmeasured_kind_have_no_terms() -> None:
    bare = Figure("x", "x", TIME, about(1.0))
    with pytest.raises(ValueError, match="x is not compared"):
        _ = bare.terms
