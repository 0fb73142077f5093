"""Closing the loop: what was predicted of a change beside what rides after it showed."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ridelog.core.errors import SetupError
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.machine.evidence import Evidence
from ridelog.machine.measures import LaunchWindow
from ridelog.machine.predict import Prediction, predict
from ridelog.machine.setup import MachineSetup

# Words that name a state and change nothing.
_NAMES = ("name", "state")
# Measured figures whose predicted counterpart has another name: the machine's top speed is on the
# level in still air, which the mean of both directions comes nearest to.
COUNTERPARTS = {"two_way_mps": "top_speed_mps"}


@dataclass(frozen=True)
class Agreement:
    """One figure predicted and measured.

    agrees : whether their difference is no larger than both intervals together allow in 9 of 10
        cases. apart : measured minus predicted, with its interval, in the measure's unit.
    """

    name: str
    unit: str
    predicted: Estimate
    measured: Estimate
    apart: Estimate
    agrees: bool


def changes_between(before: MachineSetup, after: MachineSetup) -> dict[str, Any]:
    """Return the keys in which two set-ups of one machine differ, with their new values.

    Raises
    ------
    SetupError
        If the later set-up leaves out what the earlier one gives: nothing says what it became.
    """
    old, new = before.given(), after.given()
    gone = [key for key in old if key not in new and key not in _NAMES]
    if gone:
        raise SetupError(
            f"the set-up after the change leaves out {gone[0]}, which the one before gives.",
            "write the same keys into both files, changed or not.",
        )
    return {key: value for key, value in new.items() if key not in _NAMES and value != old.get(key)}


def foretell(
    before: MachineSetup,
    after: MachineSetup,
    rides_before: Sequence[Evidence],
    windows: Sequence[LaunchWindow],
) -> Prediction:
    """Return what the rides before a change foretell of the machine after it.

    Parameters
    ----------
    before, after : MachineSetup
        The two states; whatever differs is the change.
    rides_before : sequence of Evidence
        What the rides before it told.
    windows : sequence of LaunchWindow
        Windows of the standing start.
    """
    return predict(before, rides_before, changes_between(before, after), windows)


def agreements(
    prediction: Prediction, measured: Mapping[str, Estimate | None]
) -> tuple[Agreement, ...]:
    """Return what was predicted beside what was measured, for figures that have both.

    Parameters
    ----------
    prediction : Prediction
        From the rides before the change.
    measured : mapping
        Name of a measure, as in ``compare``, to its estimate from the rides after it.
    """
    found = []
    for name, seen in measured.items():
        one = prediction.measure(COUNTERPARTS.get(name, name))
        if one is None or one.changed is None or seen is None:
            continue
        found.append(_agreement(name, one.unit, one.changed, seen))
    return tuple(found)


def _agreement(name: str, unit: str, predicted: Estimate, measured: Estimate) -> Agreement:
    """Return one comparison; half widths of independent errors add in squares."""
    value = measured.value - predicted.value
    below = float(np.hypot(measured.value - measured.low, predicted.high - predicted.value))
    above = float(np.hypot(measured.high - measured.value, predicted.value - predicted.low))
    apart = Estimate(value, value - below, value + above, LEVEL)
    return Agreement(name, unit, predicted, measured, apart, apart.low <= 0.0 <= apart.high)


def deviations(agreement: Agreement) -> float:
    """Return how many standard deviations measured and predicted are apart."""
    return abs(agreement.apart.value) / max(agreement.apart.sd, 1e-12)
