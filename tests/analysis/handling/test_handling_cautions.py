"""Tip-over margin, its dimensions, and the cautions about turns and weave."""

from dataclasses import replace

import numpy as np
import pytest
from handling_rides import weave_ride
from log_in_memory import to_track
from receiver_presets import preset

from ridelog.analysis.handling.measure import (
    Handling,
    checked_dimensions,
    measure_handling,
    tip_over,
)
from ridelog.analysis.handling.subject import handling_cautions
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import Estimate
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion


@pytest.fixture(scope="module")
def motion() -> Motion:
    rng = np.random.default_rng(3)
    ride = weave_ride(rng, rms_radps=0.3, onset_mps=6.0)
    return estimate_motion(to_track(preset("clean", 10.0, rng).observe(ride.truth, rng)))


@pytest.fixture(scope="module")
def gentle(motion: Motion) -> Handling:
    return measure_handling(motion)


def loaded(handling: Handling, lateral: Estimate, *, known: bool = True) -> Handling:
    """Return the same ride with another hardest turn, on a machine 0.66 m wide and 0.52 high."""
    margin = tip_over(0.66, 0.52, lateral, handling.min_turn_radius_m) if known else None
    return replace(handling, max_lateral_accel_mps2=lateral, tip_over=margin)


def codes(handling: Handling) -> list[str]:
    return [caution.code for caution in handling_cautions(handling)]


def test_a_weaving_machine_is_warned_of(gentle: Handling) -> None:
    (caution,) = handling_cautions(gentle)
    assert caution.code == "weave"
    assert caution.value == pytest.approx(6.0, abs=1.0)
    assert caution.limit is None
    assert caution.text.startswith("From about ")
    assert "km/h" in caution.text and "mph" in caution.text
    assert "ride no faster until the cause is found (tyre pressure," in caution.text
    below = replace(gentle, weave_or_below=True)
    (caution,) = handling_cautions(below)
    assert " or below already it swings from side to side" in caution.text


@pytest.mark.parametrize(
    ("value", "code"),
    [
        (3.0, None),
        (4.5, "lateral_load_near_tip_over"),
        (5.6, "lateral_load_above_tip_over"),
    ],
)
def test_lateral_load_against_the_threshold(
    gentle: Handling, value: float, code: str | None
) -> None:
    """0.66 m and 0.52 m: 0.635 rigid, 5.29 m/s² after the tilt tables' 15 %."""
    turned = loaded(gentle, Estimate(value, value - 0.1, value + 0.1))
    found = codes(turned)
    assert found == (["weave"] if code is None else [code, "weave"])
    if code is not None:
        first = handling_cautions(turned)[0]
        assert first.limit == pytest.approx(5.29, abs=0.01)
        assert f"reached {value / 9.80665:.2f} g sideways" in first.text
        assert "Advisory only" in first.text
        assert ("a wheel may have lifted" in first.text) == (value > 5.29)


def test_without_dimensions_quads_are_the_yardstick(gentle: Handling) -> None:
    high = Estimate(5.6, 5.5, 5.7)
    assert codes(loaded(gentle, high, known=False))[0] == "lateral_load_of_quads"
    text = handling_cautions(loaded(gentle, high, known=False))[0].text
    assert "quads on a tilt table tip from 0.75 g on" in text
    assert codes(loaded(gentle, Estimate(5.0, 4.9, 5.1), known=False)) == ["weave"]


def test_the_margin_follows_from_the_ride(motion: Motion) -> None:
    handling = measure_handling(motion, track_width_m=0.66, cg_height_m=0.52)
    margin, lateral = handling.tip_over, handling.max_lateral_accel_mps2
    assert margin is not None and lateral is not None and margin.share_used is not None
    assert margin.share_used.value == pytest.approx(lateral.value / margin.tilt_threshold_mps2)
    assert margin.share_used.low < margin.share_used.value < margin.share_used.high


@pytest.mark.parametrize(
    ("width", "height", "words"),
    [
        (0.8, None, "only one of track width and height of the centre of gravity is given."),
        (80.0, 0.5, "a track width of 80 m is not that of a small vehicle."),
        (0.8, 0.01, "a height of the centre of gravity of 0.01 m is not that of a small vehicle."),
        (float("nan"), 0.5, "a track width of nan m is not that of a small vehicle."),
    ],
)
def test_dimensions_that_cannot_be(width: float, height: float | None, words: str) -> None:
    with pytest.raises(RideLogError) as caught:
        checked_dimensions(width, height)
    assert caught.value.problem == words
    assert caught.value.advice.startswith("give ")


def test_dimensions_may_be_unknown() -> None:
    checked_dimensions(None, None)
    checked_dimensions(0.1, 2.0)
