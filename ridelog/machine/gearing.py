"""Teeth and tyre: how the motor's turns become the way on the ground."""

from math import pi

from ridelog.machine.setup import MachineSetup

# A loaded tyre rolls this share of its outer circumference; from memory, common practice.
ROLLING_SHARE = 0.96


def stage_ratio(driving_teeth: int, driven_teeth: int) -> float:
    """Return turns of the driving sprocket for one turn of the driven one.

    Source
    ------
    i = driven / driving: kart builders' practice; definition of the ratio of a gear pair.
    """
    return driven_teeth / driving_teeth


def overall_ratio(setup: MachineSetup) -> float | None:
    """Return turns of the motor for one turn of the driven wheel, None if not known.

    Stages multiply. A machine with neither teeth nor gearbox in its file has an unknown ratio; a
    motor in the hub is written as ``gearbox_ratio = 1``.
    """
    front, rear = setup.front_teeth, setup.rear_teeth
    if (front is None) != (rear is None):
        return None
    if front is None and setup.gearbox_ratio is None:
        return None
    ratio = setup.gearbox_ratio or 1.0
    if front is not None and rear is not None:
        ratio *= stage_ratio(front, rear)
    if setup.second_front_teeth is not None and setup.second_rear_teeth is not None:
        ratio *= stage_ratio(setup.second_front_teeth, setup.second_rear_teeth)
    return ratio


def circumference_m(setup: MachineSetup) -> float | None:
    """Return the way on the ground for one turn of the driven wheel, None if not known. [m]"""
    if setup.tyre_circumference_m is not None:
        return setup.tyre_circumference_m
    if setup.tyre_diameter_m is not None:
        return ROLLING_SHARE * pi * setup.tyre_diameter_m
    return None


def stages(setup: MachineSetup) -> int:
    """Return how many chain or gear stages lie between motor and wheel, at least one."""
    given = (setup.front_teeth, setup.second_front_teeth, setup.gearbox_ratio)
    return max(1, sum(value is not None for value in given))
