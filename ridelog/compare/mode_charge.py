"""What the battery's charge alone could do to the top speed between two drive modes of a log."""

import numpy as np

from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.charge import LEAST_CHARGE, ChargeAlone
from ridelog.compare.matching import Rides
from ridelog.machine.pack import resting_share
from ridelog.machine.setup import MachineSetup

# Ridden as hard as it can be, a pack lasts half an hour or longer: common practice, no source.
_DRAIN_PER_S = 1.0 / 1800.0
# Charges between the bounds at which the curve of the chemistry is read: own choice, finer than
# the tenths in which that curve is known.
_STEPS = 76


def charge_between_modes(first: Rides, second: Rides) -> ChargeAlone | None:
    """Return what the charge alone could do between two modes ridden in the same logs.

    Whatever the charge was, one log has one: only what the battery lost between the fastest
    moments of both modes can differ. None if the logs are not the same, or a time is not told.
    METHOD.md, "The battery's charge".
    """
    moments = [{ride.source.sha256: _fastest_s(ride) for ride in side} for side in (first, second)]
    if moments[0].keys() != moments[1].keys():
        return None
    later_s = float(np.mean([moments[1][sha256] - at_s for sha256, at_s in moments[0].items()]))
    if not np.isfinite(later_s):
        return None
    lost = min(abs(later_s) * _DRAIN_PER_S, 1.0 - LEAST_CHARGE)
    charge = np.linspace(LEAST_CHARGE + lost, 1.0, _STEPS)
    setup = MachineSetup()
    fall = float(np.min(resting_share(setup, charge - lost) / resting_share(setup, charge)))
    return (
        ChargeAlone(fall, 1.0, "modes") if later_s > 0.0 else ChargeAlone(1.0, 1.0 / fall, "modes")
    )


def _fastest_s(ride: MeasuredRide) -> float:
    """Return when a ride was fastest, of two opposite runs the mean time. [s]"""
    runs = ride["top_speed"].two_way_runs
    if runs:
        return float(np.mean([0.5 * (run.start_s + run.end_s) for run in runs]))
    return float(ride["top_speed"].at_s)
