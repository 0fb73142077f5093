"""The register: what rides of both sides hold is read from their results."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np

from ridelog.analysis.figure import HIGHER, LOWER, Figures
from ridelog.analysis.register import SUBJECTS
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Comparison, compare
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS

pytest_plugins = ("thin_rides",)
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
    assert list(found)[:3] == ["best_1s_mps", "two_way_mps", "0-20 km/h"]
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
        return SimpleNamespace(
            speed_mps=np.array([5.0, 7.0]), at=lambda v: loss, reason="", both_ways=True
        )

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
