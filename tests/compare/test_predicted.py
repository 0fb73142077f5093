"""Predicted beside measured: the figures are those of report and comparison, marks included."""

import json
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest

from ridelog.__main__ import main
from ridelog.analysis.figure import HIGHER, Comparable, Figure
from ridelog.analysis.launches.windows import parse_window
from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import compare, predicted_change
from ridelog.compare.difference import difference_of, side_mean
from ridelog.compare.matching import Rides
from ridelog.compare.predicted import (
    MeasuredAfter,
    agreements,
    measured_after,
    predict_from,
    side_means,
)
from ridelog.core.errors import SetupError
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import SPEED
from ridelog.core.units import SPEED_UNITS
from ridelog.machine.calibration_data import calibration_data_of, top_of
from ridelog.machine.change import changes_between
from ridelog.machine.predict import predict
from ridelog.machine.setup import MachineSetup

pytest_plugins = ("thin_rides",)
Spans = tuple[tuple[float, float], ...]
KMH = SPEED_UNITS["km/h"]
SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"
BEFORE = MachineSetup(name="Quad", state="before", front_teeth=11, rear_teeth=60)
AFTER = MachineSetup(name="Quad", state="after", front_teeth=10, rear_teeth=60, fuse_a=40.0)


def test_the_change_is_what_differs() -> None:
    assert changes_between(BEFORE, AFTER) == {"front_teeth": 10, "fuse_a": 40.0}
    assert changes_between(BEFORE, BEFORE) == {}


def test_a_key_left_out_later_is_told() -> None:
    with pytest.raises(SetupError) as caught:
        changes_between(AFTER, BEFORE)
    assert str(caught.value) == (
        "the set-up after the change leaves out fuse_a, which the one before gives. What to do: "
        "write the same keys into both files, changed or not."
    )


def test_measured_beside_predicted() -> None:
    prediction = predict(BEFORE, [], {"front_teeth": 10}, (parse_window("0-5 km/h"),))
    top = prediction.get("top_speed_mps")
    assert top and top.changed
    near = Estimate(top.changed.value, top.changed.value - 0.1, top.changed.value + 0.1)
    far = Estimate(99.0, 98.9, 99.1)
    figures = {"top_speed_mps": near, "0-5 km/h": far, "stopping_distance_m": far, "pull": far}
    after = MeasuredAfter(("a.gpx",), figures, cast(Any, None), ())
    one, other = agreements(prediction, after)
    assert (one.name, one.agrees) == ("top_speed_mps", True)
    assert one.apart.value == pytest.approx(0.0)
    assert (other.name, other.agrees) == ("0-5 km/h", False)
    # Half widths add in squares: with 0.1 beside a wide prediction hardly anything.
    assert one.apart.high - one.apart.value == pytest.approx(
        ((top.changed.value - top.changed.low) ** 2 + 0.01) ** 0.5
    )


def test_both_sides_of_a_comparison_are_the_means_of_one_rule() -> None:
    def rides(*values: float) -> list[Estimate]:
        return [Estimate(value, value - 0.1, value + 0.1) for value in values]

    for first, second in (
        (rides(9.0), rides(9.5)),
        (rides(9.0, 9.1), rides(9.5)),
        (rides(9.0, 9.1, 8.9), rides(9.5, 9.6)),
    ):
        found = difference_of(first, second)
        assert found.before == side_mean(first, second)
        assert found.after == side_mean(second, first)
    assert side_mean(rides(9.0)) == rides(9.0)[0]
    # Two rides alone: Student's t of one degree of freedom is 6.314 at 90 %.
    alone = side_mean(rides(9.0, 9.4))
    assert alone.value == pytest.approx(9.2)
    assert alone.high - alone.value == pytest.approx(6.314 * 0.2, rel=1e-3)


def _one_way(value: float, course_deg: float, both: bool = False) -> Any:
    estimate = Estimate(value, value - 0.1, value + 0.1)
    terms = Comparable(
        HIGHER, one_direction=True, both_ways=estimate if both else None,
        course_deg=None if both else course_deg,
    )  # fmt: skip
    figure = Figure("best_1s_mps", "fastest second", SPEED, estimate, "", terms)
    return SimpleNamespace(figures={"best_1s_mps": figure})


def test_a_side_alone_keeps_directions_apart_as_a_comparison_does() -> None:
    # Two rides with the wind and one against it: each direction weighs half.
    told = side_means((_one_way(10.0, 0.0), _one_way(10.2, 2.0), _one_way(8.0, 181.0)))
    assert told["best_1s_mps"].value == pytest.approx(0.5 * (10.1 + 8.0))
    # A ride of both directions goes before those of one.
    told = side_means((_one_way(9.0, 0.0, both=True), _one_way(11.0, 0.0)))
    assert told["best_1s_mps"].value == 9.0


def test_one_ride_is_told_as_its_report_tells_it(thin_rides: dict[str, Rides]) -> None:
    # Not the first: its strip moved the top speed by about as much as is let pass.
    ride = thin_rides["before"][1]
    found = predict_from(MachineSetup(name="Quad"), (ride,), {"fuse_a": 40.0}, KMH)
    assert len(found.measured) > 5
    for name, figure in (
        ("top_speed_mps", "two_way_mps"),
        ("0-20 km/h", "0-20 km/h"),
        ("pull_at_2_mps", "pull_at_2_mps"),
        ("stopping_distance_m", "stopping_distance_m"),
        ("lateral_accel_mps2", "max_lateral_accel_mps2"),
    ):
        one = found.get(name)
        assert one is not None and one.now == ride.figures[figure].estimate, name


def test_both_sides_are_told_as_the_comparison_tells_them(thin_rides: dict[str, Rides]) -> None:
    compared = compare(thin_rides["before"], thin_rides["after"])
    told = predicted_change(compared, MachineSetup(name="Quad"), {"fuse_a": 40.0})
    checked = 0
    for each in compared.figures:
        one = told.prediction.get(each.figure.name)
        if each.difference is not None and one is not None:
            assert one.now == each.difference.before
            assert told.after.figures[each.figure.name] == each.difference.after
            checked += 1
    top = told.prediction.get("top_speed_mps")
    two_way = compared["two_way_mps"].difference
    assert top and two_way and top.now == two_way.before and checked >= 3
    assert told.after.figures["top_speed_mps"] == two_way.after


def test_the_commands_show_one_figure(
    thin_logs: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, second = (sorted((thin_logs / side).iterdir())[0] for side in ("before", "after"))
    setup = str(SAMPLES / "thistledrake-before.toml")
    results = []
    for words in (
        ("compare", "--before", str(first), "--after", str(second)),
        ("predict", setup, "--ride", str(first), "--ridden", str(second),
         "--change", "rear_teeth=56"),
    ):  # fmt: skip
        with pytest.raises(SystemExit):
            main([*words, "--json", str(tmp_path / f"{words[0]}.json")])
        results.append(json.loads((tmp_path / f"{words[0]}.json").read_text()))
    capsys.readouterr()
    compared = {one["name"]: one for one in results[0]["measures"]}
    now = {one["name"]: one["now"] for one in results[1]["measures"]}
    after = {one["name"]: one["measured"] for one in results[1]["ridden"]["measures"]}
    for name, other in (("0-20 km/h", "0-20 km/h"), ("two_way_mps", "top_speed_mps")):
        assert now[other] == compared[name]["before"]
        assert after[other] == compared[name]["after"]


@pytest.mark.parametrize(
    "chosen",
    [lambda spans: Settings(left_out_s=spans), lambda spans: Settings(reverse_marks_s=spans)],
    ids=["left out", "reverse"],
)
def test_marked_stretches_tell_nothing(
    chosen: Callable[[Spans], Settings], thin_rides: dict[str, Rides]
) -> None:
    def told(ride: MeasuredRide) -> tuple[float, Estimate]:
        top = calibration_data_of(ride).top_mps
        assert top is not None and top == top_of(ride["top_speed"])
        return top[0], measured_after((ride,)).figures["0-20 km/h"]

    ride = thin_rides["after"][0]
    at_s = ride["top_speed"].at_s
    marked = analyse(ride.motion, chosen(((at_s - 20.0, at_s + 10.0),)))
    (whole_top, _), (top, start) = told(ride), told(marked)
    assert top < whole_top
    # Starts in the marked run are not among those timed.
    assert len(marked["launches"].launches) < len(ride["launches"].launches)
    assert start == marked.figures["0-20 km/h"].estimate


@pytest.mark.parametrize(("of_rides", "asked", "taken"), [
    (("3-7 km/h", "0-30 m"), (), ["3-7 km/h", "0-30 m"]), ((), (), []),
    (("0-30 m",), ("3-7 km/h",), ["3-7 km/h"]),
])  # fmt: skip
def test_windows_that_are_asked_for_go_before_those_of_the_rides(
    of_rides: tuple[str, ...], asked: tuple[str, ...], taken: list[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    class AskedError(Exception):
        pass

    def predicting(*_: Any, windows: Any, **__: Any) -> None:
        raise AskedError([window.label for window in windows])

    monkeypatch.setattr(import_module("ridelog.compare.comparison"), "predict_from", predicting)
    ride = SimpleNamespace(settings=Settings(windows=of_rides))
    compared: Any = SimpleNamespace(before=(ride,), after=(), figures=(), unit=KMH)
    with pytest.raises(AskedError) as caught:
        predicted_change(compared, BEFORE, {}, windows=list(map(parse_window, asked)))
    assert caught.value.args == (taken,)
