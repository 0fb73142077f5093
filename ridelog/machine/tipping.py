"""From which sideways acceleration a machine tips, and how a pack moves its centre of gravity."""

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.core.units import STANDARD_GRAVITY_MPS2
from ridelog.machine.setup import MachineSetup

# Tilt tables show 10 to 15 % less than track / (2 height): FME report for The Oregonian (2007).
_LEAST_SHARE, _MOST_SHARE = 0.85, 0.90
_THREE = 3
# Share of the weight on the axle with two of three wheels where nobody weighed it: common practice,
# no source.
_PAIRED = (0.5, 0.75)
# A height of the centre of gravity is found in a workshop, rider seated, to this; common practice,
# no source.
_HEIGHT_LOG_SD = 0.05


def effective_track_m(setup: MachineSetup) -> float | None:
    """Return the track width of a four-wheeler that tips as easily, None without one. [m]

    Three wheels tip about the line from the lone wheel to one of the pair: METHOD.md, (23). Where
    nobody says how much weight the pair bears, the least that is usual is taken.
    """
    if setup.track_width_m is None or setup.wheels != _THREE:
        return setup.track_width_m
    return setup.track_width_m * (setup.paired_axle_share or _PAIRED[0])


def lifts_forward_mps2(setup: MachineSetup) -> float | None:
    """Return from which pull the front wheels lift, None where the set-up does not tell. [m/s²]

    g b / h with b from the middle of weight to the axle behind, which is taken for the driven one:
    METHOD.md, (24).
    """
    base, height, share = setup.wheelbase_m, setup.cg_height_m, setup.driven_weight_share
    if base is None or height is None or share is None:
        return None
    return base * (1.0 - share) / height * STANDARD_GRAVITY_MPS2


def tip_over_mps2(setup: MachineSetup, count: int) -> FloatArray | None:
    """Return from which sideways acceleration possible machines tip on the level, (count,). [m/s²]

    None without track width and height of the centre of gravity: METHOD.md, (16).
    """
    track, height = setup.track_width_m, setup.cg_height_m
    if track is None or height is None:
        return None
    rng = np.random.default_rng(8)
    share = rng.uniform(_LEAST_SHARE, _MOST_SHARE, count)
    heights = height * np.exp(_HEIGHT_LOG_SD * rng.standard_normal(count))
    if setup.wheels == _THREE:
        known = setup.paired_axle_share
        share = share * (rng.uniform(*_PAIRED, count) if known is None else known)
    return np.asarray(share * track / (2.0 * heights) * STANDARD_GRAVITY_MPS2)


def height_with_pack_m(before: MachineSetup, after: MachineSetup) -> float | None:
    """Return the height of the centre of gravity after a pack of another mass or height. [m]

    Moments about the ground: METHOD.md, (17). None where something in them is not known.
    """
    height = before.cg_height_m
    packs = [(each.battery_mass_kg, each.battery_height_m) for each in (before, after)]
    totals = [_mass_kg(each) for each in (before, after)]
    if height is None or None in totals or any(None in pack for pack in packs):
        return None
    (old_kg, old_m), (new_kg, new_m) = packs
    assert old_kg is not None and old_m is not None and new_kg is not None and new_m is not None
    assert totals[0] is not None and totals[1] is not None
    return (totals[0] * height - old_kg * old_m + new_kg * new_m) / totals[1]


def _mass_kg(setup: MachineSetup) -> float | None:
    """Return the mass with its rider, None if one of them is not known. [kg]"""
    if setup.machine_mass_kg is None or setup.rider_mass_kg is None:
        return None
    return setup.machine_mass_kg + setup.rider_mass_kg + (setup.load_mass_kg or 0.0)
