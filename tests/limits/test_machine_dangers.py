"""From where on a change or a set-up is warned of, on both sides of each limit.

Published: blade fuses of 32 V (ISO 8820-3); 3.5 m/s² of slow vehicles and two brakes (eKFV § 4 (1),
StVZO § 41 (4)); walking pace 6 km/h (Regulation (EU) 168/2013 Art. 2 (2) (a)); static stability
factor less 15 % on a tilt table (FME for The Oregonian, 2007); 60 V DC (UN R100, voltage class B of
ISO 6469-3, from memory). Fuses carry 75 % of their rating for long: makers' guidance, from memory.
A tenth more stopping distance, 2 % more speed and 25 km/h without brakes: common practice, no
source.
"""

from typing import Any

import pytest

from ridelog.analysis.subject import DANGER, WARNING, Caution
from ridelog.core.estimate import Estimate
from ridelog.machine.electrics import electrical_sheet
from ridelog.machine.risks import risks
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_check import contradictions, dangers

KMH = 1.0 / 3.6


def about(value: float, half: float = 0.0) -> Estimate:
    return Estimate(value, value - half, value + half)


def found(after: dict[str, Any], before: dict[str, Any] | None = None,
          **measures: tuple[Estimate | None, Estimate | None]) -> dict[str, Caution]:  # fmt: skip
    setups = MachineSetup(**(after if before is None else before)), MachineSetup(**after)
    return {one.code: one for one in risks(*setups, measures) if not one.general}


def warned(code: str, after: dict[str, Any], before: dict[str, Any] | None = None,
           **measures: Any) -> bool:  # fmt: skip
    return code in found(after, before, **measures)


@pytest.mark.parametrize(("peak_a", "high_a", "word"), [
    (28.0, 29.9, None), (28.0, 30.1, "may reach"), (32.0, 33.9, "reaches"),
])  # fmt: skip
def test_a_fuse_of_40_a_carries_30_a(peak_a: float, high_a: float, word: str | None) -> None:
    current = Estimate(peak_a, 2.0 * peak_a - high_a, high_a)
    caution = found({"fuse_a": 40.0}, battery_current_peak_a=(None, current)).get("fuse_amperes")
    assert (caution is None) == (word is None)
    if caution is not None:
        assert f"The battery current {word} " in caution.text and caution.gravity == WARNING
        assert caution.value == high_a and caution.limit == pytest.approx(30.0)


@pytest.mark.parametrize(("full_v", "volts", "unknown"), [(31.9, False, False), (32.1, True, True)])
def test_a_common_blade_fuse_breaks_32_v(full_v: float, volts: bool, unknown: bool) -> None:
    assert warned("fuse_volts", {"battery_full_v": full_v, "fuse_v": 32.0}) is volts
    assert warned("fuse_volts_unknown", {"battery_full_v": full_v}) is unknown
    assert not warned("fuse_volts_unknown", {"battery_full_v": full_v, "fuse_v": 58.0})


@pytest.mark.parametrize(("high_a", "told"), [(34.9, False), (35.1, True)])
def test_what_the_battery_allows(high_a: float, told: bool) -> None:
    pack = {"battery_full_v": 30.0, "fuse_v": 32.0, "battery_max_a": 35.0}
    current = Estimate(30.0, 25.0, high_a)
    assert warned("battery_amperes", pack, battery_current_peak_a=(None, current)) is told


@pytest.mark.parametrize("part", ["motor", "controller"])
@pytest.mark.parametrize(("full_v", "told"), [(48.0, False), (48.1, True)])
def test_what_makers_allow(part: str, full_v: float, told: bool) -> None:
    setup = {f"{part}_max_v": 48.0, "battery_full_v": full_v, "fuse_v": 58.0}
    caution = found(setup).get(f"{part}_over_voltage")
    assert (caution is not None) is told
    assert caution is None or caution.gravity == DANGER


@pytest.mark.parametrize(("after_v", "told"), [(42.0, False), (42.03, False), (42.05, True)])
def test_more_volts_are_a_thousandth_more(after_v: float, told: bool) -> None:
    """Rounding of 42.0 V, the full charge of ten cells, is no change of the pack."""
    assert warned("more_volts", {"battery_full_v": after_v}, {"battery_full_v": 42.0}) is told


@pytest.mark.parametrize(("low", "high", "word"), [
    (23.0, 23.9, None), (23.8, 24.1, "may be"), (24.1, 24.4, "is"),
])  # fmt: skip
def test_the_speed_of_its_class(low: float, high: float, word: str | None) -> None:
    top = Estimate(0.5 * (low + high) * KMH, low * KMH, high * KMH)
    setup = {"class_speed_kmh": 24.0}
    caution = found(setup, top_speed_mps=(None, top)).get("class_speed")
    assert (caution is None) == (word is None)
    assert caution is None or f"The top speed {word} above 24 km/h" in caution.text
    # Limits of age are for children: 24 km/h is above the 10 mph of ASTM F2641-08.
    assert warned("age_class", setup, top_speed_mps=(None, top))
    adult = {**setup, "adult_rider": True}
    assert not warned("age_class", adult, top_speed_mps=(None, top))


@pytest.mark.parametrize(("now", "after", "told"), [(10.0, 10.19, False), (10.0, 10.21, True)])
def test_reverse_may_become_faster(now: float, after: float, told: bool) -> None:
    speeds = about(now), about(after)
    caution = found({"has_reverse": True}, top_speed_mps=speeds).get("reverse_speed")
    assert (caution is not None) is told
    if caution is not None:
        assert caution.limit == pytest.approx(6.0 * KMH) and "6 km/h" in caution.text
    assert not warned("reverse_speed", {"has_reverse": False}, top_speed_mps=speeds)


@pytest.mark.parametrize(("after_m", "told"), [(10.95, False), (11.05, True), (9.0, False)])
def test_a_stop_a_tenth_longer(after_m: float, told: bool) -> None:
    both = about(10.0), about(after_m)
    assert warned("longer_stop", {}, stopping_distance_m=both) is told


@pytest.mark.parametrize(("brakes", "told"), [("none", True), ("one", True),
                                              ("two independent", False)])  # fmt: skip
def test_two_brakes_are_asked(brakes: str, told: bool) -> None:
    assert warned("brakes", {"brakes": brakes}) is told


@pytest.mark.parametrize(("decel_mps2", "told"), [(3.51, False), (3.49, True)])
def test_the_least_deceleration_of_slow_vehicles(decel_mps2: float, told: bool) -> None:
    caution = found({"brake_decel_mps2": decel_mps2}).get("weak_brakes")
    assert (caution is not None) is told
    assert caution is None or (caution.gravity == DANGER and caution.limit == 3.5)


@pytest.mark.parametrize(("high_g", "told"), [(0.67, False), (0.69, True)])
def test_tipping_over(high_g: float, told: bool) -> None:
    """Track 0.8 m, height 0.5 m: factor 0.8 / (2 x 0.5) = 0.8, less 15 % 0.68 (by hand)."""
    lateral = Estimate(5.0, 4.0, high_g * 9.80665)
    setup = {"track_width_m": 0.8, "cg_height_m": 0.5}
    caution = found(setup, lateral_accel_mps2=(None, lateral)).get("tip_over")
    assert (caution is not None) is told
    if caution is not None:
        assert caution.limit == pytest.approx(0.68 * 9.80665) and caution.gravity == DANGER
        assert "may tip over from 0.68 g on" in caution.text


@pytest.mark.parametrize(("key", "value"), [
    ("battery_cells", 11), ("battery_chemistry", "lifepo4"), ("battery_nominal_v", 38.0),
    ("battery_full_v", 43.0), ("battery_capacity_ah", 11.0),
])  # fmt: skip
def test_any_other_battery_needs_care(key: str, value: Any) -> None:
    pack = {"battery_cells": 10, "battery_chemistry": "li-ion", "battery_nominal_v": 37.0,
            "battery_full_v": 42.0, "battery_capacity_ah": 10.0, "fuse_v": 58.0}  # fmt: skip
    assert not warned("battery_care", pack, pack)
    assert warned("battery_care", {**pack, key: value}, pack)


def test_the_gravest_is_said_first() -> None:
    setup = MachineSetup(brakes="one", brake_decel_mps2=2.0, battery_full_v=40.0)
    gravities = [one.gravity for one in risks(setup, setup, {}) if not one.general]
    assert gravities == sorted(gravities, reverse=True) and gravities[0] == DANGER
    assert all(one.general for one in risks(setup, setup, {})[len(gravities) :])


def codes(**keys: Any) -> list[str]:
    return [one.code for one in dangers(MachineSetup(**keys))]


def test_dangers_on_both_sides_of_their_limits() -> None:
    # Factors 0.8 / (2 h): 0.404 and 0.396.
    assert codes(track_width_m=0.8, cg_height_m=0.99) == []
    assert codes(track_width_m=0.8, cg_height_m=1.01) == ["tips_easily"]
    assert codes(brakes="none", class_speed_kmh=25.0) == []
    assert codes(brakes="none", class_speed_kmh=25.1) == ["no_brake"]
    assert codes(brakes="one", class_speed_kmh=40.0) == []
    assert codes(battery_full_v=60.0) == []
    assert codes(battery_full_v=60.1) == ["shock"]


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        # Ten cells of 3.6 V: 36 V, within 9 % 32.8 to 39.2 V; 42 V full, within 6 % 39.5 to 44.5 V.
        ({"battery_cells": 10, "battery_chemistry": "li-ion", "battery_nominal_v": 39.1}, None),
        ({"battery_cells": 10, "battery_chemistry": "li-ion", "battery_nominal_v": 39.4},
         "does not fit 10 cells"),
        ({"battery_cells": 10, "battery_chemistry": "li-ion", "battery_full_v": 44.4}, None),
        ({"battery_cells": 10, "battery_chemistry": "li-ion", "battery_full_v": 44.6},
         "does not fit 10 cells"),
        ({"battery_cells": 10, "battery_chemistry": "li-ion", "battery_full_v": 39.4},
         "does not fit 10 cells"),
        ({"battery_nominal_v": 36.0, "battery_full_v": 36.0}, None),
        ({"battery_nominal_v": 36.0, "battery_full_v": 35.9}, "is below battery_nominal_v"),
        ({"battery_cells": 10, "controller_cutoff_v": 35.9}, None),
        ({"battery_cells": 10, "controller_cutoff_v": 36.0}, "with the battery half full"),
        # Least while giving current (from memory): 2.75 V of a lithium-ion cell, 2.4 V of lithium
        # iron phosphate, 1.6 V of lead-acid in an hour's discharge (IEC 61056-1).
        ({"battery_cells": 10, "controller_cutoff_v": 27.6}, None),
        ({"battery_cells": 10, "controller_cutoff_v": 27.4}, "deep discharge"),
        ({"battery_cells": 16, "battery_chemistry": "lifepo4", "controller_cutoff_v": 38.5}, None),
        ({"battery_cells": 16, "battery_chemistry": "lifepo4", "controller_cutoff_v": 38.3},
         "deep discharge"),
        ({"battery_cells": 36, "battery_chemistry": "lead-acid", "controller_cutoff_v": 57.7},
         None),
        ({"battery_cells": 36, "battery_chemistry": "lead-acid", "controller_cutoff_v": 57.5},
         "deep discharge"),
        ({"battery_nominal_v": 48.0}, None),
        ({"battery_nominal_v": 48.0, "battery_chemistry": "lead-acid"}, None),
        ({"battery_nominal_v": 48.9, "battery_chemistry": "lead-acid"}, None),
        ({"battery_nominal_v": 49.0, "battery_chemistry": "lead-acid"}, "no number of cells"),
        # Ten cells are called 36 or 37 V: 3.5 % more than 36 V is 37.26 V.
        ({"battery_nominal_v": 37.2, "battery_chemistry": "li-ion"}, None),
        ({"battery_nominal_v": 37.3, "battery_chemistry": "li-ion"}, "no number of cells"),
        ({"tyre_circumference_m": 0.39}, None),
        ({"tyre_circumference_m": 0.37}, "fits no such machine"),
        # A rim of 622 mm with a tyre of 62 mm rolls 2.34 m (ISO 5775, from memory).
        ({"tyre_circumference_m": 2.39}, None),
        ({"tyre_circumference_m": 2.41}, "fits no such machine"),
        # 0.33 m across is 1.037 m round: 86 % of it 0.892, 102 % 1.057.
        ({"tyre_circumference_m": 0.90, "tyre_diameter_m": 0.33}, None),
        ({"tyre_circumference_m": 0.88, "tyre_diameter_m": 0.33}, "does not fit tyre_diameter_m"),
        ({"tyre_circumference_m": 1.05, "tyre_diameter_m": 0.33}, None),
        ({"tyre_circumference_m": 1.07, "tyre_diameter_m": 0.33}, "does not fit tyre_diameter_m"),
        ({"battery_limit_a": 30.0, "fuse_a": 30.0}, None),
        ({"battery_limit_a": 30.1, "fuse_a": 30.0}, "more than the fuse carries"),
        ({"battery_limit_a": 30.0, "battery_max_a": 30.0}, None),
        ({"battery_limit_a": 30.1, "battery_max_a": 30.0}, "more than the battery allows"),
        ({"battery_limit_a": 30.0, "motor_limit_a": 30.0}, None),
        ({"battery_limit_a": 30.0, "motor_limit_a": 29.9}, "were the two exchanged"),
        ({"front_teeth": 20, "rear_teeth": 20}, None),
        ({"front_teeth": 21, "rear_teeth": 20}, "were they exchanged"),
        ({"front_teeth": 21, "rear_teeth": 20, "gearbox_ratio": 5.0}, None),
        ({"second_front_teeth": 11}, "lacks second_rear_teeth"),
        ({"second_rear_teeth": 11}, "lacks second_front_teeth"),
        # 100 rpm/V at 36 V: 3600 rpm without load.
        ({"motor_rpm_per_v": 100.0, "motor_rated_v": 36.0, "motor_rated_rpm": 3599.0}, None),
        ({"motor_rpm_per_v": 100.0, "motor_rated_v": 36.0, "motor_rated_rpm": 3600.0},
         "the speed without load"),
        ({"class_speed_kmh": 20.0, "reverse_limit_kmh": 20.0}, None),
        ({"class_speed_kmh": 20.0, "reverse_limit_kmh": 20.1}, "is above class_speed_kmh"),
        ({"has_reverse": False, "reverse_limit_kmh": 5.0}, "has no reverse"),
        ({"has_reverse": True, "reverse_limit_kmh": 5.0}, None),
        ({"cg_height_m": 0.99, "wheelbase_m": 1.0}, None),
        ({"cg_height_m": 1.0, "wheelbase_m": 1.0}, "tip over backwards"),
    ],
)  # fmt: skip
def test_what_cannot_all_be_right(keys: dict[str, Any], words: str | None) -> None:
    told = [one.text for one in contradictions(MachineSetup(**keys))]
    if words is None:
        assert told == []
    else:
        assert len(told) == 1 and words in told[0]


@pytest.mark.parametrize(("stall_nm", "told"), [(1.73, False), (1.71, True), (6.86, False),
                                                (6.90, True)])  # fmt: skip
def test_the_torque_at_standstill_follows_from_the_other_figures(
    stall_nm: float, told: bool
) -> None:
    """36 V over 1 ohm, 100 rpm/V: 36 A x 60 / (2 pi 100) N m/A = 3.44 N m; half and twice it."""
    setup = MachineSetup(motor_rpm_per_v=100.0, motor_rated_v=36.0, motor_resistance_ohm=1.0,
                         motor_stall_torque_nm=stall_nm)  # fmt: skip
    assert ["does not fit 1 ohm" in one.text for one in contradictions(setup)] == [True] * told


@pytest.mark.parametrize(("per_volt", "told"), [(8.2, True), (8.26, False), (411.0, False),
                                                (412.0, True)])  # fmt: skip
def test_a_speed_without_load_that_no_small_machine_has(per_volt: float, told: bool) -> None:
    """36 V, 8.23 rpm/V x 36 x 0.75 m / (60 x 3.333) = 4 km/h (by hand); fifty times 200 km/h."""
    setup = MachineSetup(motor_rpm_per_v=per_volt, battery_nominal_v=36.0, front_teeth=12,
                         rear_teeth=40, tyre_circumference_m=0.75)  # fmt: skip
    assert ["without load" in one.text for one in contradictions(setup)] == [True] * told


@pytest.mark.parametrize("without", ["motor_rpm_per_v", "battery_nominal_v", "front_teeth",
                                     "rear_teeth", "tyre_circumference_m"])  # fmt: skip
def test_what_is_not_known_contradicts_nothing(without: str) -> None:
    keys = {"motor_rpm_per_v": 1000.0, "battery_nominal_v": 36.0, "front_teeth": 12,
            "rear_teeth": 40, "tyre_circumference_m": 0.75}  # fmt: skip
    assert len(contradictions(MachineSetup(**keys))) == 1  # type: ignore[arg-type]  # as in a file
    del keys[without]
    assert contradictions(MachineSetup(**keys)) == ()  # type: ignore[arg-type]


def line(name: str, **keys: Any) -> str:
    (state,) = [one.state for one in electrical_sheet(MachineSetup(**keys)) if one.name == name]
    return state


PACK: dict[str, Any] = {"battery_nominal_v": 36.0, "battery_full_v": 42.0, "battery_cells": 10}


@pytest.mark.parametrize(
    ("name", "keys", "state"),
    [
        ("switch volts", {"switch_max_v": 42.0}, "confirmed"),
        ("switch volts", {"switch_max_v": 41.9}, "contradicts"),
        # A lamp on the pack sees 30 V (ten empty cells) to 42 V; behind a converter its output.
        ("lights volts", {"lights_min_v": 30.0, "lights_max_v": 42.0}, "confirmed"),
        ("lights volts", {"lights_min_v": 30.1, "lights_max_v": 42.0}, "contradicts"),
        ("lights volts", {"lights_max_v": 41.9}, "contradicts"),
        ("lights volts", {"lights_max_v": 14.0, "converter_out_v": 14.0}, "confirmed"),
        ("lights volts", {"lights_max_v": 13.9, "converter_out_v": 14.0}, "contradicts"),
        ("lights volts", {"lights_min_v": 12.0, "lights_max_v": 14.0, "converter_out_v": 11.9},
         "contradicts"),
        ("lights volts", {"lights_min_v": 33.0, "lights_max_v": 42.0, "controller_cutoff_v": 33.0},
         "confirmed"),
        ("fuse amperes", {"battery_limit_a": 39.9, "fuse_a": 40.0}, "not confirmed"),
        ("fuse amperes", {"battery_limit_a": 40.0, "fuse_a": 40.0}, "contradicts"),
        ("fuse amperes", {"battery_limit_a": 39.0, "fuse_a": 40.0, "battery_continuous_a": 30.0},
         "confirmed"),
        ("fuse amperes", {"battery_limit_a": 39.0, "fuse_a": 40.0, "battery_continuous_a": 30.1},
         "contradicts"),
        # IEC 60364-5-52, table B.52.2, method B1 (from memory): 4 mm² of copper carries 32 A.
        ("wire amperes", {"wire_mm2": 4.0, "fuse_a": 32.0}, "confirmed"),
        # Lying free 42 A (Bosch, Automotive Handbook, from memory).
        ("wire amperes", {"wire_mm2": 4.0, "fuse_a": 32.1}, "not confirmed"),
        ("wire amperes", {"wire_mm2": 3.9, "fuse_a": 32.0}, "not confirmed"),
        ("wire amperes", {"wire_mm2": 4.0, "fuse_a": 42.0}, "not confirmed"),
        ("wire amperes", {"wire_mm2": 4.0, "fuse_a": 42.1}, "contradicts"),
        ("wire amperes", {"wire_mm2": 3.9, "fuse_a": 42.0}, "contradicts"),
        ("connector amperes", {"connector_max_a": 30.0, "fuse_a": 30.0}, "confirmed"),
        ("connector amperes", {"connector_max_a": 30.0, "fuse_a": 30.1}, "contradicts"),
        # 5 % of 36 V is 1.8 V; 2 x L / 58 / 4 mm² x 40 A is 1.8 V at L = 5.22 m (IEC 60028).
        ("voltage drop", {"wire_mm2": 4.0, "wire_length_m": 5.21, "battery_limit_a": 40.0},
         "confirmed"),
        ("voltage drop", {"wire_mm2": 4.0, "wire_length_m": 5.23, "battery_limit_a": 40.0},
         "contradicts"),
        ("cells", {"battery_capacity_ah": 8.0, "battery_limit_a": 40.0}, "not confirmed"),
        ("cells", {"battery_capacity_ah": 8.0, "battery_limit_a": 40.1}, "contradicts"),
        ("cells", {"battery_max_a": 40.0, "battery_limit_a": 40.1}, "contradicts"),
        ("converter watts", {"converter_w": 50.0, "lights_w": 40.0}, "not confirmed"),
        ("converter watts", {"converter_w": 50.0, "lights_w": 20.0, "horn_w": 15.0,
                             "accessories_w": 5.0}, "confirmed"),
        ("converter watts", {"converter_w": 50.0, "lights_w": 20.0, "horn_w": 15.0,
                             "accessories_w": 5.1}, "contradicts"),
        ("converter least volts", {"converter_min_v": 30.0}, "confirmed"),
        ("converter least volts", {"converter_min_v": 30.1}, "contradicts"),
        ("converter least volts", {"converter_min_v": 33.0, "controller_cutoff_v": 33.0},
         "confirmed"),
        # 95 to 101 % of 42 V: 39.9 to 42.42 V; of lead-acid 116 %.
        ("charger volts", {"charger_v": 42.4}, "confirmed"),
        ("charger volts", {"charger_v": 42.5}, "contradicts"),
        ("charger volts", {"charger_v": 40.0}, "confirmed"),
        ("charger volts", {"charger_v": 39.8}, "contradicts"),
        ("charger amperes", {"charger_a": 8.0, "battery_capacity_ah": 8.0}, "confirmed"),
        ("charger amperes", {"charger_a": 8.1, "battery_capacity_ah": 8.0}, "contradicts"),
    ],
)  # fmt: skip
def test_the_electrical_sheet(name: str, keys: dict[str, Any], state: str) -> None:
    assert line(name, **PACK, **keys) == state


@pytest.mark.parametrize(("volts", "state"), [(44.0, "confirmed"), (44.7, "contradicts")])
def test_a_lead_acid_charger_ends_above_rest(volts: float, state: str) -> None:
    """Three blocks of 12.8 V at rest are 38.4 V: 116 % of it 44.5 V."""
    pack = {"battery_chemistry": "lead-acid", "battery_full_v": 38.4, "battery_nominal_v": 36.0}
    assert line("charger volts", **pack, charger_v=volts) == state


def test_what_the_sag_leaves_is_by_ohms_law() -> None:
    """Half full less R I: the line tells both, and the cut-off decides."""
    keys = {**PACK, "battery_resistance_ohm": 0.1, "battery_limit_a": 40.0}
    sheet = electrical_sheet(MachineSetup(**keys, controller_cutoff_v=31.0))
    (sag,) = [one for one in sheet if one.name == "sag"]
    words = sag.text.split()
    half, under = (float(words[k]) for k in (words.index("has") + 1, words.index("to") + 1))
    assert half - under == pytest.approx(0.1 * 40.0, abs=0.101)
    assert 36.0 < half < 38.0  # ten cells of lithium-ion, half full 3.6 to 3.8 V (from memory)
    assert line("sag", **keys, controller_cutoff_v=under - 0.2) == "confirmed"
    assert line("sag", **keys, controller_cutoff_v=under + 0.2) == "contradicts"


@pytest.mark.parametrize("chemistry", ["li-ion", "lifepo4", "lead-acid"])
@pytest.mark.parametrize(("limit_a", "state"), [(40.0, "not confirmed"), (40.1, "contradicts")])
def test_hardly_any_cells_stand_five_times_their_hours(
    chemistry: str, limit_a: float, state: str
) -> None:
    keys = {"battery_chemistry": chemistry, "battery_capacity_ah": 8.0, "battery_limit_a": limit_a}
    assert line("cells", **keys) == state


WHOLE: dict[str, Any] = {
    **PACK, "battery_chemistry": "li-ion", "battery_capacity_ah": 20.0, "battery_limit_a": 25.0,
    "battery_continuous_a": 20.0, "battery_max_a": 60.0, "battery_resistance_ohm": 0.05,
    "controller_cutoff_v": 31.0, "fuse_a": 30.0, "wire_mm2": 6.0, "wire_length_m": 1.0,
    "connector_max_a": 40.0, "converter_w": 100.0, "converter_min_v": 20.0, "lights_w": 10.0,
    "horn_w": 5.0, "accessories_w": 0.0, "lights_min_v": 20.0, "horn_min_v": 20.0,
    "charger_v": 42.0, "charger_a": 4.0,
    **{f"{part}_max_v": 60.0 for part in ("controller", "motor", "switch", "connector", "display",
                                          "converter", "lights", "horn")}, "fuse_v": 60.0,
}  # fmt: skip
_ON_THE_PACK = ("controller", "motor", "fuse", "switch", "connector", "display", "converter",
                "lights", "horn", "charger")  # fmt: skip
KEYS_OF = {"charger amperes": {"charger_a", "battery_capacity_ah"}, "voltage drop": {
    "wire_mm2", "wire_length_m", "battery_limit_a"}}  # fmt: skip
VOLTS = {f"{part} volts" for part in _ON_THE_PACK}


@pytest.mark.parametrize(("without", "open_lines"), [
    ((), set()),
    *(((f"{part}_max_v",), {f"{part} volts"}) for part in (
        "controller", "motor", "switch", "connector", "display", "converter", "lights", "horn")),
    (("fuse_v",), {"fuse volts"}), (("charger_v",), {"charger volts"}),
    (("fuse_a",), {"fuse amperes", "wire amperes", "connector amperes", "battery amperes"}),
    (("battery_limit_a",), {"fuse amperes", "voltage drop", "sag"}),
    (("battery_continuous_a",), {"fuse amperes"}), (("wire_length_m",), {"voltage drop"}),
    (("wire_mm2",), {"wire amperes", "voltage drop"}),
    (("connector_max_a",), {"connector amperes"}),
    (("battery_max_a",), {"battery amperes", "cells"}), (("charger_a",), {"charger amperes"}),
    (("battery_capacity_ah",), {"charger amperes"}), (("controller_cutoff_v",), {"sag"}),
    (("battery_resistance_ohm",), set()),  # then as its cells have it
    (("battery_resistance_ohm", "battery_capacity_ah"), {"charger amperes", "sag"}),
    (("converter_w",), {"converter watts"}), (("lights_w",), {"converter watts"}),
    (("horn_w",), {"converter watts"}), (("accessories_w",), {"converter watts"}),
    (("lights_w", "horn_w", "accessories_w"), {"converter watts"}),
    (("converter_min_v",), {"converter least volts"}),
    (("lights_min_v",), set()), (("horn_min_v",), set()),
    (("battery_cells", "battery_nominal_v", "battery_full_v"),
     {*VOLTS, "voltage drop", "converter least volts", "sag"}),
])  # fmt: skip
def test_what_nobody_read_off_is_open_and_nothing_else(
    without: tuple[str, ...], open_lines: set[str]
) -> None:
    """A line that is open is told as not confirmed with what is missing, or not at all."""
    whole = {one.name: one.state for one in electrical_sheet(MachineSetup(**WHOLE))}
    assert set(whole.values()) == {"confirmed"}
    keys = {key: value for key, value in WHOLE.items() if key not in without}
    sheet = {one.name: one for one in electrical_sheet(MachineSetup(**keys))}
    told = {name for name, one in sheet.items() if one.state == "confirmed"}
    assert (whole.keys() | open_lines) - told == open_lines
    assert not any(one.state == "contradicts" for one in sheet.values())
    for name in (open_lines & sheet.keys()) - {"converter watts"}:
        pack = "battery_cells" in without
        (missing,) = (
            {"the battery's voltage"} if pack else {*without} & KEYS_OF.get(name, {*without})
        )
        assert missing in sheet[name].text


def test_behind_a_converter_lamps_ask_for_no_pack() -> None:
    lamp = {"lights_max_v": 14.0, "lights_min_v": 11.0, "converter_out_v": 12.0}
    assert line("lights volts", **lamp) == "confirmed"
    assert line("horn volts", **lamp) == "not confirmed"
    assert line("lights volts", lights_max_v=14.0, lights_min_v=11.0) == "not confirmed"
