"""Energy at the wheels for owners: of the whole machine where its mass is known."""

from dataclasses import replace

from ridelog.analysis.energy import WHEEL_ENERGY
from ridelog.analysis.energy.measure import energy_of_mass
from ridelog.compare.comparison import Compared, Comparison

_NAMED, _OTHERS = ("machine_mass_kg", "rider_mass_kg"), ("load_mass_kg", "battery_mass_kg")


def at_known_mass(comparison: Comparison) -> Comparison:
    """Return a comparison whose energy is read for the mass that its set-ups name for both sides.

    It is returned as it is where they name none, or two.
    """
    told = comparison.predicted
    if told is None:
        return comparison
    given, asked = told.prediction.setup.given(), told.prediction.change.asked
    if any(name not in given for name in _NAMED) or any(n in asked for n in (*_NAMED, *_OTHERS)):
        return comparison
    mass_kg = sum(given.get(name, 0.0) for name in (*_NAMED, _OTHERS[0]))
    figures = (_read_for(mass_kg, each) for each in comparison.figures)
    return replace(comparison, figures=tuple(figures))


def _read_for(mass_kg: float, compared: Compared) -> Compared:
    if compared.figure.name != WHEEL_ENERGY:
        return compared
    figure = replace(
        compared.figure,
        quantity=energy_of_mass(mass_kg),
        explained=f"of the {mass_kg:.0f} kg of machine and rider; harder riding takes more",
    )
    return replace(compared, figure=figure)
