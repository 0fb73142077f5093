"""What the rides before a change foretold of it, beside what the rides after it showed."""

from dataclasses import dataclass, replace

from ridelog.analysis.launches.windows import default_windows, suited
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.matching import Rides
from ridelog.core.units import SpeedUnit
from ridelog.machine.loop import foretell
from ridelog.machine.measured_after import Ridden, ride_after, together
from ridelog.machine.predict import Prediction
from ridelog.machine.rides import evidence_of
from ridelog.machine.setup import MachineSetup

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
    before, after : tuple of MeasuredRide
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
        evidence_of(ride.motion, _settings_of(ride, reverse), measured=ride) for ride in before
    ]
    top_mps = max((one.top_mps[0] for one in evidence if one.top_mps), default=_USUAL_TOP_MPS)
    windows = suited(default_windows(top_mps), unit)
    ridden = together(
        [ride_after(ride.motion, windows, _settings_of(ride, reverse)) for ride in after]
    )
    return Foretold(*setups, foretell(*setups, evidence, windows), ridden)


def _settings_of(ride: MeasuredRide, has_reverse: bool | None) -> Settings:
    """Return how a ride was measured, with the set-up's word on reverse where it has none."""
    settings = ride.settings
    if settings.has_reverse is not None or settings.reverse_marks_s:
        # Someone who marks reverse travel was there; the file may be of another state.
        return settings
    return replace(settings, has_reverse=has_reverse)
