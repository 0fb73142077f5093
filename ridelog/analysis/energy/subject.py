"""Energy at the wheels, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

from ridelog.analysis.energy.measure import (
    ENERGY_PER_MASS_AND_LENGTH,
    WheelEnergy,
    measure_energy,
)
from ridelog.analysis.figure import LOWER, Comparable, Figure
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section


class EnergyOfRide(Subject):
    """What each kilogram takes at the wheels for a distance."""

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
            "wheel_energy_j_per_kg_m",
            "energy at the wheels",
            ENERGY_PER_MASS_AND_LENGTH,
            energy.wheel_energy_j_per_kg_m,
            energy.reason,
            Comparable(LOWER, where_told=True),
            short="Energy at wheels",
            explained="for each kilogram and distance ridden; harder riding takes more",
        )

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return the figure for the terminal, if there is one."""
        from ridelog.analysis.energy.page import energy_words

        words = energy_words(ride, reader)
        return (("Energy", f"{words} at the wheels"),) if words else ()

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about it."""
        from ridelog.analysis.energy.page import energy_section

        yield energy_section(ride, reader)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "energy" of the result."""
        return {"energy": ride["energy"]}
