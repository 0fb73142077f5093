"""The register: what rides of both sides hold is read from their results."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

from ridelog.analysis.figure import HIGHER, LOWER, Figures
from ridelog.analysis.ride import SUBJECTS
from ridelog.analysis.subject import DANGER, DOUBT, WARNING, Caution, MeasuredRide, general_cautions
from ridelog.compare.cautions import cautions_of
from ridelog.compare.comparison import Comparison, compare
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.report.compare_json import compared_figures
from ridelog.report.compare_words import headline, headline_figures
from ridelog.report.rounding import side_words

pytest_plugins = ("thin_rides",)
KMH = SPEED_UNITS["km/h"]
Sides = dict[str, tuple[MeasuredRide, ...]]


def changed(ride: MeasuredRide, **records: Any) -> MeasuredRide:
    """Return a ride some of whose records are others, with the figures that they tell."""
    for name, record in records.items():
        ride = ride.with_record(name, record)
    figures = [f for s in SUBJECTS for f in s.figures(ride) if s.name in records]
    kept = [f for name, f in ride.figures.items() if name not in {one.name for one in figures}]
    gone = {f.name for s in SUBJECTS if s.name in records for f in kept if s.name in f.name}
    return replace(ride, figures=Figures((*(f for f in kept if f.name not in gone), *figures)))


def with_parts(rides: Sides, **parts: Any) -> Sides:
    return {side: tuple(changed(ride, **parts) for ride in each) for side, each in rides.items()}


def about(value: float) -> Estimate:
    return Estimate(value, value - 0.1, value + 0.1)


def test_names_units_and_directions(thin_comparison: Comparison) -> None:
    found = {each.figure.name: each.figure for each in thin_comparison.figures}
    assert list(found)[:3] == ["two_way_mps", "best_1s_mps", "0-20 km/h"]
    assert {"pull_at_2_mps", "mean_braking_mps2", "0-20 km/h distance", "0-30 m"} <= set(found)
    assert not any("mph" in name for name in found)
    assert found["0-20 km/h"].quantity.si == "s"
    assert found["0-20 km/h"].terms.better == LOWER
    assert found["pull_at_2_mps"].quantity.si == "m/s2"
    assert found["pull_at_2_mps"].terms.better == HIGHER
    assert found["mean_braking_mps2"].terms.better == HIGHER


def test_windows_follow_the_readers_unit(thin_rides: Sides) -> None:
    mph = compare(thin_rides["before"], thin_rides["after"], unit=SPEED_UNITS["mph"])
    names = [each.figure.name for each in mph.figures]
    assert "0-10 mph" in names and "0-60 ft" in names
    assert not any("km/h" in name for name in names)


def test_reverse_needs_both_sides(thin_rides: Sides) -> None:
    found = SimpleNamespace(state="found", top_speed_mps=about(3.0), reason="")
    none = SimpleNamespace(state="none", top_speed_mps=None, reason="it never went backwards")
    both = with_parts(thin_rides, reverse=found)
    compared = compare(both["before"], both["after"]).get("reverse_top_mps")
    assert compared is not None and compared.terms.better == LOWER
    one = {"before": both["before"], "after": with_parts(thin_rides, reverse=none)["after"]}
    assert compare(one["before"], one["after"]).get("reverse_top_mps") is None


def test_a_loss_that_is_no_better_known_than_none_is_no_figure(thin_rides: Sides) -> None:
    def coasting(half: float) -> Any:
        loss = Estimate(0.3, 0.3 - half, 0.3 + half)
        curve = tuple(SimpleNamespace(speed_mps=speed) for speed in (5.0, 7.0))
        return SimpleNamespace(curve=curve, at=lambda v: loss, reason="")

    for half, told in ((0.29, True), (0.31, False)):
        rides = with_parts(thin_rides, coasting=coasting(half))
        compared = compare(rides["before"], rides["after"]).get("coasting_at_6_mps")
        assert compared is not None and (compared.difference is not None) == told
        assert told or "long enough to tell the resistance from none" in compared.obstacle


def test_weave_needs_an_onset_on_both_sides(thin_rides: Sides) -> None:
    def handling(onset: float | None) -> Any:
        return SimpleNamespace(
            weave_onset_mps=None if onset is None else about(onset),
            weave_reason="nothing swings" if onset is None else "",
            max_lateral_accel_mps2=None,
            lateral_reason="",
            lateral_window_s=1.0,
            min_turn_radius_m=None,
            radius_reason="",
        )

    early, late, never = (
        with_parts(thin_rides, handling=handling(onset)) for onset in (5.0, 9.0, None)
    )
    compared = compare(early["before"], late["after"]).get("weave_onset_mps")
    assert compared is not None
    assert compared.verdict.word == "better"
    assert compare(early["before"], never["after"]).get("weave_onset_mps") is None


def test_a_ride_without_a_figure_says_why(thin_rides: Sides) -> None:
    first, second = thin_rides["before"]
    top = replace(first["top_speed"], two_way_mps=None, two_way_runs=(), reason="it went one way")
    sides = ((changed(first, top_speed=top), second), thin_rides["after"])
    compared = compare(*sides).get("two_way_mps")
    assert compared is not None
    assert compared.before[0].estimate is None and compared.before[0].reason == "it went one way"
    # One ride with the figure against two: the rides share one scatter.
    assert compared.difference is not None and compared.difference.method == "shared scatter"
    assert compared.difference.rides_before == 1


def test_top_speed_is_that_of_both_directions_else_the_fastest_second(thin_rides: Sides) -> None:
    one_way = {
        side: tuple(
            changed(
                ride,
                top_speed=replace(
                    ride["top_speed"], two_way_mps=None, two_way_runs=(), headline="best_1s_mps"
                ),
            )
            for ride in each
        )
        for side, each in thin_rides.items()
    }
    for rides, name in ((thin_rides, "two_way_mps"), (one_way, "best_1s_mps")):
        comparison = compare(rides["before"], rides["after"])
        first = comparison.figures[0].figure
        assert (first.name, first.title) == (name, "top speed")
        titles = [each.figure.title for each in comparison.figures]
        assert titles.count("top speed") == 1
        assert ("fastest second" in titles) == (name == "two_way_mps")


def test_a_figure_in_doubt_is_no_headline_and_shows_ranges(thin_rides: Sides) -> None:
    def rough(ride: MeasuredRide) -> MeasuredRide:
        top = ride["top_speed"]
        value = top.two_way_mps.value
        wide = Estimate(value, 0.5 * value, 1.5 * value)
        return changed(ride, top_speed=replace(top, two_way_mps=wide))

    rides = {side: tuple(rough(ride) for ride in each) for side, each in thin_rides.items()}
    comparison = compare(rides["before"], rides["after"])
    top = comparison["two_way_mps"]
    assert top.doubt == "the rides before and after tell it too roughly to name one figure"
    assert top not in headline_figures(comparison)
    assert "top speed" not in headline(comparison, KMH)
    assert all(" to " in side for side in side_words(top, KMH))
    figure = {each.name: each for each in compared_figures(comparison)}["two_way_mps"]
    assert figure.before is None and figure.after is None and figure.percent is None
    assert "It lies somewhere from" in figure.reason
    assert figure.difference is not None


def test_a_ride_too_weak_names_no_figure(thin_rides: Sides) -> None:
    first, second = thin_rides["after"]
    weak = first.with_record("signal", replace(first["signal"], grade="too weak"))
    comparison = compare(thin_rides["before"], (weak, second))
    assert comparison["two_way_mps"].doubt == "the signal was too weak in after-1.gpx"
    assert headline_figures(comparison) == []


def test_cautions_are_the_gravest_of_both_sides(thin_rides: Sides) -> None:
    def with_cautions(ride: MeasuredRide, *cautions: Caution) -> MeasuredRide:
        return replace(ride, cautions=(*cautions, *general_cautions()))

    def caution(code: str, value: float, limit: float, gravity: int = WARNING) -> Caution:
        return Caution(code, f"{code} {value}.", value, limit, "a source", gravity=gravity)

    (one, two), after = thin_rides["before"], thin_rides["after"]
    before = (
        with_cautions(one, caution("reverse_too_fast", 3.0, 1.0), caution("fast", 20.0, 10.0)),
        with_cautions(two, caution("partly_seen", 0.5, 0.9, DOUBT)),
    )
    rides = (
        with_cautions(after[0], caution("brakes", 4.0, 5.0, DANGER), caution("age", 12.0, 10.0)),
        with_cautions(after[1], caution("brakes", 3.0, 5.0, DANGER), caution("age", 11.0, 10.0)),
    )
    # With equal charge: else the charge alone could make the machine faster.
    full = {"charge": "full"}
    found = cautions_of(compare(before, rides, noted_before=full, noted_after=dict(full)))
    told = [each.text for each in found if not each.general]
    assert told == [
        "brakes 3.0.",
        "age 12.0.",
        "Before the change (after the change, reverse was not ridden): reverse_too_fast 3.0.",
        told[3],
        # What makes a figure doubtful names its ride.
        f"{two.source.file}: partly_seen 0.5.",
    ]
    assert told[3].startswith("Faster needs more room")
    assert [each.code for each in found[5:]] == [each.code for each in general_cautions()]
