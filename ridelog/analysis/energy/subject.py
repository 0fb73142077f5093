"""Energy at the wheels, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from ridelog.analysis.energy import WHEEL_ENERGY
from ridelog.analysis.energy.measure import ENERGY_PER_MASS_AND_LENGTH, WheelEnergy, measure_energy
from ridelog.analysis.figure import LOWER, Comparable, Figure
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.quantity import TRAVEL, plain
from ridelog.core.units import SpeedUnit
from ridelog.present.words import share_words

if TYPE_CHECKING:
    from ridelog.present.section import Section

_WHAT_IT_IS = (
    "Every 100 kg of machine, rider and turning wheels take so much: twice as heavy, twice as "
    "much. Motor, controller and battery take more than reaches the wheels. It counts what the "
    "drive gave to speed and to rolling and air resistance, as the coast-down tells them; a climb, "
    "a bend or wind is not seen. Harder riding takes more."
)


class EnergyOfRide(Subject):
    """What every kilogram takes at the wheels for a distance."""

    name = "energy"
    needs = ("reverse", "coasting")
    members: ClassVar[dict[str, Any]] = {"energy": WheelEnergy}

    def measure(self, ride: MeasuredRide) -> WheelEnergy:
        """Return the energy at the wheels over the distance ridden forward."""
        return measure_energy(ride.motion, ride["coasting"], excluded=ride.excluded)

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the energy at the wheels; rides are compared where both tell it."""
        energy: WheelEnergy = ride["energy"]
        yield Figure(
            WHEEL_ENERGY,
            "energy at the wheels",
            ENERGY_PER_MASS_AND_LENGTH,
            energy.wheel_energy_j_per_kg_m,
            energy.reason,
            Comparable(LOWER, where_told=True),
            short="Energy at wheels",
            explained="for every 100 kg of machine and rider; harder riding takes more",
        )

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return the figure for the terminal, if there is one."""
        figure = ride.figures[WHEEL_ENERGY]
        if figure.estimate:
            yield "Energy", f"{figure.words_in(reader)} at the wheels"

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about it; without a figure one sentence that says why."""
        from ridelog.present.section import Section

        energy: WheelEnergy = ride["energy"]
        figure = ride.figures[WHEEL_ENERGY]
        lead = f"No energy was measured: {energy.reason}."
        notes: tuple[str, ...] = ()
        if figure.estimate:
            lead = (
                f"The wheels took {figure.words_in(reader)}, over "
                f"{plain(energy.distance_m, TRAVEL, reader)}, of which "
                f"{share_words(energy.driven_m / energy.distance_m)} was driven and the rest "
                "rolled or braked."
            )
            notes = (_WHAT_IT_IS,)
        yield Section("energy", "Energy at the wheels", lead, notes=notes)
