"""From where on a machine tips, and how a pack moves its centre of gravity, by arithmetic."""

from typing import Any

import numpy as np
import pytest

from ridelog.machine.setup import MachineSetup
from ridelog.machine.tipping import height_with_pack_m, tip_over_mps2

HEAVY: dict[str, Any] = {
    "machine_mass_kg": 60.0, "rider_mass_kg": 30.0, "load_mass_kg": 10.0, "cg_height_m": 0.5,
    "battery_mass_kg": 10.0, "battery_height_m": 0.3,
}  # fmt: skip


def test_moments_about_the_ground() -> None:
    """100 kg at 0.5 m, less 10 kg at 0.3 m, and 15 kg at 0.4 m: 53 kg m over 105 kg (by hand)."""
    after = {**HEAVY, "machine_mass_kg": 65.0, "battery_mass_kg": 15.0, "battery_height_m": 0.4}
    found = height_with_pack_m(MachineSetup(**HEAVY), MachineSetup(**after))
    assert found == pytest.approx(53.0 / 105.0)
    # Without the load it is 90 kg, 45 kg m: 48 over 95.
    bare = [{**each, "load_mass_kg": None} for each in (HEAVY, after)]
    before, later = (MachineSetup(**each) for each in bare)
    assert height_with_pack_m(before, later) == pytest.approx(48.0 / 95.0)


@pytest.mark.parametrize("key", ["machine_mass_kg", "rider_mass_kg", "cg_height_m",
                                 "battery_mass_kg", "battery_height_m"])  # fmt: skip
def test_what_is_not_known_gives_no_height(key: str) -> None:
    missing = MachineSetup(**{**HEAVY, key: None})
    assert height_with_pack_m(missing, MachineSetup(**HEAVY)) is None
    if key != "cg_height_m":
        assert height_with_pack_m(MachineSetup(**HEAVY), missing) is None


def test_the_static_factor_less_what_tilt_tables_show() -> None:
    """0.8 m wide, 0.5 m high: 0.8 g, of which 85 to 90 % (FME for The Oregonian, 2007)."""
    found = tip_over_mps2(MachineSetup(track_width_m=0.8, cg_height_m=0.5), 4000)
    assert found is not None
    assert np.median(found) == pytest.approx(0.8 * 0.875 * 9.80665, rel=0.005)
    # A height known to 5 %, and a share spread evenly over 5 %, sd 5 / sqrt(12) of 87.5.
    assert np.std(np.log(found)) == pytest.approx(np.hypot(0.05, 5.0 / 87.5 / 12**0.5), rel=0.05)
    assert tip_over_mps2(MachineSetup(track_width_m=0.8), 10) is None
