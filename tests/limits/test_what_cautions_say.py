"""The numbers, limits and gravity inside warnings, worked out by hand from what they are of.

1 mph is 1.609344 km/h, 1 ft 0.3048 m and g 9.80665 m/s² (all exact); sources as in test_cautions.
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.braking.subject import braking_cautions
from ridelog.analysis.handling.subject import best_seconds, handling_cautions
from ridelog.analysis.reverse.subject import reverse_cautions
from ridelog.analysis.settings import Settings
from ridelog.analysis.signal.subject import Signal
from ridelog.analysis.subject import (
    DANGER,
    DOUBT,
    WARNING,
    Caution,
    MeasuredRide,
    RideSource,
    age_class_caution,
    general_cautions,
)
from ridelog.analysis.top_speed.subject import advised_speed_caution, doubts
from ridelog.core.estimate import Estimate
from ridelog.core.flags import Flag
from ridelog.machine.risks import risks
from ridelog.machine.setup import MachineSetup

KMH = 1.0 / 3.6


def about(value: float, half: float = 0.0) -> Estimate:
    return Estimate(value, value - half, value + half)


def of_change(before: dict[str, Any], after: dict[str, Any], **measures: Any) -> dict[str, Caution]:
    found = risks(MachineSetup(**before), MachineSetup(**after), measures)
    return {one.code: one for one in found}


def test_the_share_of_an_interval_and_of_the_unseen() -> None:
    runs = (SimpleNamespace(speed_mps=about(10.0)), SimpleNamespace(speed_mps=about(8.0)))
    top: Any = SimpleNamespace(
        top=about(10.0, 0.75), seen_share=0.83, two_way_mps=about(9.0), two_way_runs=runs
    )
    wide, unseen, apart = doubts(top)
    assert "only to within 15 % of it" in wide.text and wide.value == pytest.approx(0.15)
    assert unseen.text.startswith("17 % of the distance lies between fixes too far apart")
    assert (unseen.value, unseen.limit) == (0.83, 0.9)
    # 2 of 10 m/s, whichever way was faster.
    assert "differ by 20 %" in apart.text and apart.value == pytest.approx(0.2)
    top.two_way_runs = runs[::-1]
    assert list(doubts(top))[2].value == pytest.approx(0.2)
    assert {one.gravity for one in (wide, unseen, apart)} == {DOUBT}


def test_an_advised_speed_is_told_with_what_is_sure() -> None:
    (sure,) = advised_speed_caution(about(5.0, 0.1), 4.5)
    (open_,) = advised_speed_caution(about(5.0, 0.6), 4.5)
    assert "It reached 18 km/h (11 mph), above the advised 16 km/h (10 mph): " in sure.text
    assert "16 km/h (10 mph), perhaps: limit it" in open_.text
    assert (sure.value, sure.limit, sure.gravity) == (5.0, 4.5, DANGER)
    assert advised_speed_caution(about(4.5, 0.6), 4.5) == ()


def test_backwards_in_words() -> None:
    segment = SimpleNamespace(top_speed_mps=about(2.5), probability=0.8)
    other = SimpleNamespace(top_speed_mps=about(3.0), probability=0.9)
    reverse: Any = SimpleNamespace(
        top_speed_mps=None, state="uncertain",
        segments=(segment, other, SimpleNamespace(top_speed_mps=None, probability=1.0)),
    )  # fmt: skip
    (possible,) = reverse_cautions(reverse)
    assert (possible.value, possible.gravity) == (3.0, WARNING)
    assert "backwards at 10.8 km/h (6.7 mph), faster than 6.0 km/h (3.7 mph)" in possible.text
    reverse.state = "found"
    assert reverse_cautions(reverse) == ()
    # No reverse at all is no speed, and warns of nothing whatever the limit.
    nothing: Any = SimpleNamespace(top_speed_mps=None, state="none", segments=())
    assert reverse_cautions(nothing, limit_mps=0.5) == ()
    fast: Any = SimpleNamespace(top_speed_mps=about(3.0), state="found", segments=())
    (far,) = reverse_cautions(fast)
    assert "Reverse at 10.8 km/h (6.7 mph) is above 10.0 km/h (6.2 mph)" in far.text
    assert (far.value, far.gravity, far.source) == (3.0, DANGER, "common practice, no source")
    (own,) = reverse_cautions(fast, strong_mps=2.9)
    assert own.limit == 2.9 and own.source != far.source
    (mild,) = reverse_cautions(fast, strong_mps=3.1)
    assert mild.code == "reverse_too_fast" and "168/2013" in mild.source
    (chosen,) = reverse_cautions(fast, limit_mps=2.0, strong_mps=3.1)
    assert chosen.limit == 2.0 and chosen.source == own.source


@pytest.mark.parametrize(("mph", "words"), [
    (30.5, "49 km/h (30 mph), above the 48 km/h (30 mph) of the fastest youth quad"),
    (20.0, "32 km/h (20 mph); youth quads are built for 24 km/h (15 mph) from age 6, and "
     "for 48 km/h (30 mph) from age 10 or 12"),
    (12.0, "19 km/h (12 mph); powered scooters and pocket bikes for ages 8 to 12 are meant for "
     "16 km/h (10 mph) at most"),
])  # fmt: skip
def test_classes_of_age_in_words(mph: float, words: str) -> None:
    found = age_class_caution(mph * 0.44704)
    assert found is not None and words in found.text
    assert found.value == pytest.approx(mph * 0.44704)


def test_what_always_holds_is_said_once_and_last() -> None:
    assert all(one.general and one.gravity == DOUBT for one in general_cautions())
    assert len({one.code for one in general_cautions()}) == len(general_cautions()) >= 4


def handling(lateral: Estimate | None, **parts: Any) -> Any:
    usual = {"tip_over": None, "weave_onset_mps": None, "weave_or_below": False,
             "weave_frequency_hz": 2.13}  # fmt: skip
    return SimpleNamespace(max_lateral_accel_mps2=lateral, **(usual | parts))


@pytest.mark.parametrize(("lateral", "code"), [
    # A threshold of 5.0 m/s²: warned from three quarters of it on, at the upper end; "lifted" by
    # the value itself.
    (about(3.5, 0.24), None), (about(3.5, 0.26), "lateral_load_near_tip_over"),
    (about(4.99, 0.2), "lateral_load_near_tip_over"),
    (about(5.0, 0.2), "lateral_load_above_tip_over"),
])  # fmt: skip
def test_tipping_is_warned_of_near_its_threshold(lateral: Estimate, code: str | None) -> None:
    found = handling_cautions(handling(lateral, tip_over=SimpleNamespace(tilt_threshold_mps2=5.0)))
    assert [one.code for one in found] == ([code] if code else [])
    for one in found:
        assert f"{100.0 * lateral.value / 5.0:.0f} % of the 0.51 g" in one.text
        assert (one.value, one.limit, one.gravity) == (lateral.value, 5.0, DANGER)


def test_quads_are_the_yardstick_from_three_quarters_on() -> None:
    """The least of quads tips at 0.751 g (FME for The Oregonian, 2007): 0.75 of it, 5.524 m/s²."""
    assert handling_cautions(handling(about(5.52))) == ()
    (one,) = handling_cautions(handling(about(5.53)))
    assert one.limit == pytest.approx(0.75 * 0.751 * 9.80665) and "from 0.75 g on" in one.text


def test_weave_is_told_with_its_speed() -> None:
    onset = Estimate(6.0, 5.0, 7.0)
    (one,) = handling_cautions(handling(None, weave_onset_mps=onset))
    assert one.text.startswith("From about 22 km/h (13 mph) on it swings from side to side")
    assert "about 2.1 times a second" in one.text and one.value == 6.0
    (below,) = handling_cautions(handling(None, weave_onset_mps=onset, weave_or_below=True))
    assert below.text.startswith("At 25 km/h (16 mph) or below already") and below.value == 7.0
    assert handling_cautions(handling(None)) == ()


@pytest.mark.parametrize(("window_s", "words"), [(1.0, "second"), (2.0, "2 seconds")])
def test_over_how_long_a_turn_is_a_mean(window_s: float, words: str) -> None:
    found: Any = SimpleNamespace(lateral_window_s=window_s)
    assert best_seconds(found) == words


def brakings(hard: Estimate, *, from_mps: float = 6.0, fastest: float = 6.0) -> Any:
    required = SimpleNamespace(least_mps2=3.5, one_brake_mps2=1.54, source="eKFV § 4 (1)")
    stop = SimpleNamespace(
        required=required, from_mps=from_mps, fastest_braking_mps=fastest, reaction_m=6.0,
        reaction_s=1.0, stopping_distance_m=about(15.0), decel_mps2=about(2.0),
    )  # fmt: skip
    return SimpleNamespace(stopping=stop, hardest=SimpleNamespace(mean_decel_mps2=hard))


@pytest.mark.parametrize(
    ("hard", "code", "words"),
    [
        (about(3.5, 0.3), None, ""), (about(4.0, 1.0), None, ""),
        (about(3.4, 0.05), "braking_below_yardstick", "3.40 m/s² (7.61 mph/s); road vehicles this "
         "fast must reach 3.50 m/s² (7.83 mph/s): test the brakes"),
        (about(3.4, 0.2), "braking_below_yardstick", "(perhaps enough); road vehicles"),
        # Weak, but with one brake it may have been enough.
        (about(1.4, 0.2), "braking_below_yardstick", "1.40 m/s² (3.13 mph/s); road vehicles"),
        (about(1.4, 0.1), "braking_far_below_yardstick", "must reach 1.54 m/s² (3.44 mph/s) with "
         "one brake alone: test the brakes"),
    ],
)  # fmt: skip
def test_weak_brakings_against_what_is_asked(hard: Estimate, code: str | None, words: str) -> None:
    found = list(braking_cautions(brakings(hard)))
    assert [one.code for one in found] == [*([code] if code else []), "stopping_distance"]
    if code:
        assert words in found[0].text and found[0].value == hard.value
        far = code == "braking_far_below_yardstick"
        assert found[0].limit == (1.54 if far else 3.5)
        assert found[0].gravity == (DANGER if far else WARNING)
    last = found[-1]
    assert "About 15 m (49 ft) from 22 km/h (13 mph) to rest at 2.00 m/s² (4.47 mph/s)" in last.text
    assert "braking, 6 m (20 ft) of it reacting (1 s)" in last.text
    assert (last.value, last.gravity) == (15.0, WARNING)


@pytest.mark.parametrize(("from_mps", "untested"), [(7.19, False), (7.21, True)])
def test_a_fifth_faster_than_it_was_braked_is_untested(from_mps: float, untested: bool) -> None:
    codes = [one.code for one in braking_cautions(brakings(about(4.0), from_mps=from_mps))]
    assert ("brakes_untested_at_top_speed" in codes) is untested
    none = brakings(about(1.0))
    none.hardest = None
    assert list(braking_cautions(none)) == []


def test_contradictions_of_a_log_are_told_with_their_time() -> None:
    motion = known_motion([(0.0, 5.0), (60.0, 5.0)])
    flags = motion.flags.copy()
    for first, last in ((100, 130), (300, 350)):
        flags[first : last + 1] |= np.uint32(Flag.CONTRADICTED)
    signal = SimpleNamespace(too_weak="")
    ride = MeasuredRide(
        replace(motion, flags=flags), RideSource.of(motion), Settings(), {"signal": signal}
    )
    (one,) = Signal().cautions(ride)
    assert "from 10 s to 13 s and 1 more, 8 s in all." in one.text
    assert one.value == pytest.approx(8.0, abs=0.25)


def test_a_change_in_words() -> None:
    current = Estimate(28.0, 24.0, 33.0)
    found = of_change(
        {}, {"fuse_a": 40.0, "battery_max_a": 32.0, "battery_full_v": 58.8, "fuse_v": 32.0},
        battery_current_peak_a=(None, current), stopping_distance_m=(about(10.0), about(13.0)),
    )  # fmt: skip
    assert "a fuse of 40 A carries 30 A for long" in found["fuse_amperes"].text
    assert found["battery_amperes"].value == 33.0 and found["battery_amperes"].limit == 32.0
    assert "may reach 33.0 A; the battery allows 32 A" in found["battery_amperes"].text
    assert "has 58.8 V; the fuse is rated 32 V" in found["fuse_volts"].text
    assert "needs 13 m (43 ft) to stop, 30 % more than now" in found["longer_stop"].text
    assert (found["longer_stop"].value, found["longer_stop"].limit) == (13.0, 10.0)
    volts = of_change({"battery_full_v": 42.0}, {"battery_full_v": 54.6})["more_volts"]
    assert "From 42.0 to 54.6 V when full" in volts.text
    assert (volts.value, volts.limit, volts.gravity) == (54.6, 42.0, WARNING)


@pytest.mark.parametrize(("high", "told"), [(5.88, False), (5.89, True)])
def test_the_front_lifts_from_g_b_over_h_on(high: float, told: bool) -> None:
    """b = 1.2 m x (1 - 0.6) and h = 0.8 m: 0.6 g, 5.884 m/s² (moments about the rear contact)."""
    setup = {"wheelbase_m": 1.2, "cg_height_m": 0.8, "driven_weight_share": 0.6}
    pull = Estimate(5.0, 4.5, high)
    found = of_change(setup, setup, pull_at_0_mps2=(None, pull))
    assert ("tips_backwards" in found) is told
    if told:
        one = found["tips_backwards"]
        assert (one.value, one.gravity) == (5.0, WARNING) and one.limit == pytest.approx(5.88399)
        assert "the pull is 5.0 m/s² (4.5 to 5.9)" in one.text and "from 5.88 m/s²" in one.text


def test_what_the_sheet_contradicts_is_said_unless_said_already() -> None:
    setup = {"switch_max_v": 40.0, "battery_full_v": 42.0, "battery_nominal_v": 36.0,
             "motor_max_v": 40.0, "fuse_v": 58.0}  # fmt: skip
    found = of_change(setup, setup)
    assert found["electrical_switch_volts"].text.startswith("Switch volts do not fit: ")
    assert "electrical_motor_volts" not in found and "motor_over_voltage" in found


CURRENT, TURN, TOP = Estimate(28.0, 24.0, 33.0), Estimate(6.8, 6.0, 7.0), Estimate(7.1, 6.5, 7.5)


@pytest.mark.parametrize(
    ("setup", "measures", "code", "value", "limit", "gravity"),
    [
        # Three quarters of the fuse; blade fuses of 32 V (ISO 8820-3).
        ({"fuse_a": 40.0}, {"battery_current_peak_a": CURRENT}, "fuse_amperes", 33.0, 30.0,
         WARNING),
        ({"battery_full_v": 58.8, "fuse_v": 58.0}, {}, "fuse_volts", 58.8, 58.0, WARNING),
        ({"battery_full_v": 58.8}, {}, "fuse_volts_unknown", 58.8, 32.0, DOUBT),
        ({"battery_full_v": 30.0, "battery_max_a": 32.0}, {"battery_current_peak_a": CURRENT},
         "battery_amperes", 33.0, 32.0, WARNING),
        ({"battery_full_v": 58.8, "motor_max_v": 50.0}, {}, "motor_over_voltage", 58.8, 50.0,
         DANGER),
        ({"battery_full_v": 58.8, "controller_max_v": 55.0}, {}, "controller_over_voltage", 58.8,
         55.0, DANGER),
        # 25 km/h, and 6 km/h of walking pace.
        ({"class_speed_kmh": 25.0}, {"top_speed_mps": TOP}, "class_speed", 7.1, 25.0 * KMH,
         WARNING),
        ({"has_reverse": True}, {"top_speed_mps": TOP}, "reverse_speed", None, 6.0 * KMH, DOUBT),
        ({"brakes": "one"}, {}, "brakes", None, None, WARNING),
        ({"brake_decel_mps2": 2.0}, {}, "weak_brakes", 2.0, 3.5, DANGER),
        ({"track_width_m": 0.8, "cg_height_m": 0.5}, {"lateral_accel_mps2": TURN}, "tip_over", 6.8,
         0.85 * 0.8 * 9.80665, DANGER),
        ({"battery_cells": 14}, {}, "battery_care", None, None, WARNING),
        ({"battery_full_v": 61.0}, {}, "shock", None, None, DANGER),
        ({"switch_max_v": 40.0, "battery_full_v": 42.0}, {}, "electrical_switch_volts", None, None,
         WARNING),
    ],
)  # fmt: skip
def test_a_change_is_warned_of_with_what_is_and_what_may_be(
    setup: dict[str, Any], measures: dict[str, Estimate], code: str, value: float | None,
    limit: float | None, gravity: int,
) -> None:  # fmt: skip
    told = {name: (about(0.9 * one.value), one) for name, one in measures.items()}
    one = of_change({}, setup, **told)[code]
    assert (one.value, one.gravity, one.general) == (value, gravity, False)
    assert one.limit == pytest.approx(limit) and one.source


@pytest.mark.parametrize(("last", "beyond", "code"), [
    ({"battery_full_v": 32.0}, {"battery_full_v": 32.1}, "fuse_volts_unknown"),
    ({"battery_full_v": 58.0, "fuse_v": 58.0}, {"battery_full_v": 58.1, "fuse_v": 58.0},
     "fuse_volts"),
    ({"brake_decel_mps2": 3.5}, {"brake_decel_mps2": 3.4}, "weak_brakes"),
    ({"battery_full_v": 48.0, "motor_max_v": 48.0}, {"battery_full_v": 48.1, "motor_max_v": 48.0},
     "motor_over_voltage"),
])  # fmt: skip
def test_what_just_fits_is_not_warned_of(
    last: dict[str, Any], beyond: dict[str, Any], code: str
) -> None:
    assert code not in of_change({}, last) and code in of_change({}, beyond)


def test_a_share_of_what_the_fuse_carries_is_sure_or_may_be() -> None:
    for low, words in ((29.9, "may reach"), (30.1, "reaches")):
        current = Estimate(31.0, low, 33.0)
        found = of_change({}, {"fuse_a": 40.0}, battery_current_peak_a=(None, current))
        assert f"The battery current {words} " in found["fuse_amperes"].text


@pytest.mark.parametrize(("limit_a", "told"), [(39.9, False), (40.0, True), (40.1, False)])
def test_of_a_fuse_at_the_limit_the_sheet_warns(limit_a: float, told: bool) -> None:
    """Above it the set-up contradicts itself, which is told as such."""
    found = of_change({}, {"battery_limit_a": limit_a, "fuse_a": 40.0})
    assert ("electrical_fuse_amperes" in found) is told
