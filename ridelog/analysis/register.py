"""The register of what is measured on a ride.

Whoever adds a subject adds its folder and its entry here; every surface iterates this register,
in the order of reading.
"""

from ridelog.analysis.acceleration.subject import Acceleration
from ridelog.analysis.braking.subject import BrakingOfRide
from ridelog.analysis.coasting.subject import CoastDownOfRide
from ridelog.analysis.energy.subject import EnergyOfRide
from ridelog.analysis.handling.subject import HandlingOfRide
from ridelog.analysis.launches.subject import StandingStarts
from ridelog.analysis.phases.subject import PhasesOfRide
from ridelog.analysis.reverse.subject import ReverseTravel
from ridelog.analysis.signal.subject import Signal
from ridelog.analysis.subject import Subject
from ridelog.analysis.top_speed.subject import TopSpeedOfRide

SUBJECTS: tuple[Subject, ...] = (
    TopSpeedOfRide(),
    StandingStarts(),
    Acceleration(),
    BrakingOfRide(),
    CoastDownOfRide(),
    EnergyOfRide(),
    ReverseTravel(),
    HandlingOfRide(),
    PhasesOfRide(),
    Signal(),
)
