"""Energy at the wheels in words: the line on the terminal and the section on the page."""

from ridelog.analysis.energy.measure import WheelEnergy
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.quantity import TRAVEL, plain
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Section
from ridelog.present.words import share_words

_WHAT_IT_IS = (
    "Each kilogram of machine, rider and turning wheels takes so much. Multiplied by their mass in "
    "kilograms and divided by 3600 it is watt hours; motor, controller and battery take more than "
    "reaches the wheels. It counts what the drive gave to speed and to rolling and air resistance, "
    "as the coast-down tells them; a climb, a bend or wind is not seen. Harder riding takes more."
)


def energy_words(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return the figure with its interval, or as a range; empty without."""
    figure = ride.figures["wheel_energy_j_per_kg_m"]
    return figure.words_in(reader) if figure.estimate else ""


def energy_section(ride: MeasuredRide, reader: SpeedUnit) -> Section:
    """Return what the page says of it; without a figure one sentence that says why."""
    energy: WheelEnergy = ride["energy"]
    words = energy_words(ride, reader)
    lead = f"No energy was measured: {energy.reason}."
    if words:
        lead = (
            f"The wheels took {words}, over {plain(energy.distance_m, TRAVEL, reader)}, of which "
            f"{share_words(energy.driven_m / energy.distance_m)} was driven and the rest rolled or "
            "braked."
        )
    return Section("energy", "Energy at the wheels", lead, notes=(_WHAT_IT_IS,) if words else ())
