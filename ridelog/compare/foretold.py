"""What the rides before a change foretold of it, beside what the rides after it showed."""

from dataclasses import dataclass

from ridelog.analysis.launch_windows import default_windows, suited
from ridelog.compare.measure import Rides
from ridelog.machine.loop import foretell
from ridelog.machine.predict import Prediction
from ridelog.machine.ridden import Ridden, ride_after, together
from ridelog.machine.rides import evidence_of
from ridelog.machine.setup import MachineSetup
from ridelog.units import SpeedUnit

# The launch windows of a machine whose rides tell no top speed: as of one that reaches 30 km/h.
_USUAL_TOP_MPS = 25.0 / 3.0


@dataclass(frozen=True)
class Foretold:
    """A prediction made from the rides before a change, and what the rides after it showed.

    setup_before, setup_after : the machine in both states; what differs is the change.
    """

    setup_before: MachineSetup
    setup_after: MachineSetup
    prediction: Prediction
    ridden: Ridden


def foretell_change(
    setups: tuple[MachineSetup, MachineSetup], before: Rides, after: Rides, unit: SpeedUnit
) -> Foretold:
    """Return what the rides before foretold of the machine after, with what the rides after showed.

    Parameters
    ----------
    setups : tuple of MachineSetup
        The machine before and after the change.
    before, after : tuple of RiddenRide
        At least one each.
    unit : SpeedUnit
        In which the launch windows are round.

    Raises
    ------
    SetupError
        If the set-ups cannot be two states of one machine.
    """
    reverse = setups[0].has_reverse
    evidence = [
        evidence_of(
            ride.motion,
            has_reverse=reverse,
            left_out_s=ride.result.settings.left_out_s,
            measured=ride.result,
        )
        for ride in before
    ]
    top_mps = max((one.top_mps[0] for one in evidence if one.top_mps), default=_USUAL_TOP_MPS)
    windows = suited(default_windows(top_mps), unit)
    ridden = together([ride_after(ride.motion, windows, has_reverse=reverse) for ride in after])
    return Foretold(*setups, foretell(*setups, evidence, windows), ridden)
