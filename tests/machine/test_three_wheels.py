"""Three wheels and front wheels that lift, from closed forms."""

import numpy as np
import pytest

from ridelog.core.estimate import Estimate
from ridelog.machine.risks import risks
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_check import dangers
from ridelog.machine.tipping import effective_track_m, lifts_forward_mps2, tip_over_mps2

FOUR = MachineSetup(track_width_m=0.8, cg_height_m=0.5)


def three(**more: float) -> MachineSetup:
    return MachineSetup(**{**FOUR.given(), "wheels": 3, **more})


def test_three_wheels_tip_about_the_line_from_the_lone_wheel() -> None:
    # Geometry of it, written out: lone wheel at (0, 0), one of the pair at (1.2, 0.4), weight at
    # (0.78, 0). The lever of the weight against that of the sideways force about that line.
    base, half, along, height = 1.2, 0.4, 0.65 * 1.2, 0.5
    length = np.hypot(base, half)
    weight, sideways = along * half / length, height * base / length
    share = weight / sideways
    setup = three(paired_axle_share=0.65)
    track = effective_track_m(setup)
    assert track is not None and track / (2.0 * height) == pytest.approx(share)
    both = [tip_over_mps2(one, 500) for one in (FOUR, setup)]
    assert both[0] is not None and both[1] is not None
    assert both[1] == pytest.approx(0.65 * both[0])


def test_an_unweighed_pair_is_known_roughly_and_taken_as_the_least() -> None:
    assert effective_track_m(three()) == pytest.approx(0.4)
    assert effective_track_m(FOUR) == 0.8
    assert effective_track_m(MachineSetup(wheels=3)) is None
    found, known = tip_over_mps2(three(), 2000), tip_over_mps2(FOUR, 2000)
    assert found is not None and known is not None
    share = found / known
    assert 0.5 <= share.min() < 0.51 and 0.74 < share.max() <= 0.75


def test_three_wheels_that_tip_easily_endanger() -> None:
    (doubt,) = dangers(three(paired_axle_share=0.45))
    assert doubt.code == "tips_easily"
    assert doubt.text.startswith(
        "With track_width_m = 0.8 m, three wheels, and cg_height_m = 0.5 m it tips over from 0.36 g"
    )
    assert not dangers(FOUR)
    # 0.8 m of track, 0.45 of it counts, over twice 0.9 m.
    (doubt,) = dangers(three(paired_axle_share=0.45, cg_height_m=0.9))
    assert "it tips over from 0.20 g sideways" in doubt.text


def test_front_wheels_that_lift_are_told() -> None:
    setup = MachineSetup(wheelbase_m=1.0, cg_height_m=0.5, driven_weight_share=0.8)
    # b = 0.2 m behind the middle: 0.4 g.
    assert lifts_forward_mps2(setup) == pytest.approx(0.4 * 9.80665)
    assert lifts_forward_mps2(FOUR) is None

    def codes(high: float) -> list[str]:
        pull = Estimate(3.0, 2.8, high)
        return [one.code for one in risks(setup, setup, {"pull_at_0_mps2": (pull, pull)})]

    assert "tips_backwards" in codes(4.0) and "tips_backwards" not in codes(3.5)
    pull = Estimate(4.5, 4.2, 4.8)
    (told,) = [
        one
        for one in risks(setup, setup, {"pull_at_0_mps2": (pull, pull)})
        if one.code == "tips_backwards"
    ]
    assert told.text.startswith(
        "At full throttle from standstill the pull is 4.5 m/s² (4.2 to 4.8); from 3.92 m/s² the "
        "front wheels lift"
    )
