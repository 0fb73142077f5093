"""Energy at the wheels over a distance, per mass: what the drive gives to speed and resistance.

METHOD.md of energy, (1) to (3).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.braking.corners import smoothed
from ridelog.analysis.coasting.measure import CoastDown, ResistanceFit
from ridelog.analysis.fitted import FittedPath, along_speed, fitted_paths
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate, even_normals
from ridelog.core.quantity import Quantity
from ridelog.core.spans import Span, inside_spans, runs_of
from ridelog.core.track import BoolArray, FloatArray, IntArray
from ridelog.core.units import JOULES_PER_WH
from ridelog.filtering.motion import Motion

# Owners know watt hours, and 100 kg are a light machine with its rider: own choice.
_READ_FOR_KG = 100.0


def energy_of_mass(mass_kg: float, of_what: str = "") -> Quantity:
    """Return energy per mass and length as readers take it for so many kilograms, in watt hours.

    ``of_what`` stands behind the unit.
    """
    return Quantity(
        "energy per mass and length",
        "J/(kg m)",
        1,
        lambda reader: (
            f"Wh/{reader.travel_label}{of_what}",
            JOULES_PER_WH / reader.metres_per_travel / mass_kg,
        ),
    )


ENERGY_PER_MASS_AND_LENGTH = energy_of_mass(_READ_FOR_KG, f" per {_READ_FOR_KG:.0f} kg")
# Shorter riding is no ride, and less of the driving within a fifth of the speeds of the coast-down
# leaves the resistance to a guess; common practice, no source.
_LEAST_M, _LEAST_COVERED, _BEYOND = 100.0, 0.5, 1.2
# Driving is told from rolling by accelerations that are means over this long, or one interval. Own
# choice as for brakings: shorter is noisier, longer blurs where driving begins and ends.
_WIDTH_S = 0.4
# Steps of half that mean, and parts whose paths fit into memory: own choice.
_SPACING_S, _CHUNK_S = 0.2, 60.0
# Drawn paths of either kind in each part. Own choice: a third of those of other figures, since most
# of the spread is that of the resistance; what that costs is derived in METHOD.md, (4).
_DRAWS = 50
# What stays unseen where driving begins and ends, as a share of the work for logs of many fixes a
# second and once more for each second between fixes. Chosen by the coverage on simulated rides.
_UNSEEN_SHARE = 0.005
_SEED = 20261129


@dataclass(frozen=True)
class WheelEnergy:
    """Energy at the wheels over the distance ridden forward.

    wheel_energy_j_per_kg_m : for each kilogram of moving mass; None where nothing can be said.
    distance_m : distance it is taken over.
    driven_m : part of it on which the drive pushed.
    reason : why there is no figure.
    """

    wheel_energy_j_per_kg_m: Estimate | None
    distance_m: float = 0.0
    driven_m: float = 0.0
    reason: str = ""


def measure_energy(
    motion: Motion, found: CoastDown, *, excluded: tuple[Span, ...] = ()
) -> WheelEnergy:
    """Return the energy at the wheels over the distance ridden forward.

    ``found`` gives the resistance, and where the machine rolled freely, so that nothing drove it.
    """
    fit = found.named_fit
    if fit is None:
        return WheelEnergy(None, reason=f"without a coast-down nothing is known: {found.reason}")
    rolled = tuple((coast.start_s, coast.end_s) for coast in found.coasts)
    low, high = found.curve[0].speed_mps / _BEYOND, found.curve[-1].speed_mps * _BEYOND
    work: FloatArray = np.zeros(len(fit.a_mps2))
    distance = driven = covered = 0.0
    for path in fitted_paths(motion, spacing_s=_SPACING_S):
        ridden = path.usable & ~inside_spans(path.time_s, excluded)
        pushed = ridden & _is_driven(path, fit, motion.rate_hz)
        pushed &= ~inside_spans(path.time_s, rolled)
        step_m = _SPACING_S * path.speed_mps
        distance += float(step_m[ridden].sum())
        driven += float(step_m[pushed].sum())
        covered += float(step_m[pushed & (path.speed_mps > low) & (path.speed_mps < high)].sum())
        for number, (start_s, end_s) in enumerate(_chunks(path, ridden)):
            paths = motion.paths(start_s, end_s, draws=_DRAWS, spacing_s=_SPACING_S)
            middle_s = 0.5 * (paths.time_s[1:] + paths.time_s[:-1])
            inside = np.interp(middle_s, path.time_s, pushed) > 0.5
            paired = _paired(number, len(work))
            work += work_j_per_kg(paths.time_s, along_speed(paths), inside, fit, paired)
    if distance < _LEAST_M:
        return WheelEnergy(None, distance, driven, f"it was ridden for less than {_LEAST_M:.0f} m")
    if covered < _LEAST_COVERED * driven:
        reason = "most of the driving was slower or faster than its coast-down"
        return WheelEnergy(None, distance, driven, reason)
    draws = (len(work) - 1) // 2
    unseen = _UNSEEN_SHARE * (1.0 + 1.0 / motion.rate_hz)
    work[1 + draws :] += unseen * work[0] * even_normals(draws, _SEED)
    figure = estimate(work / distance, smallest=0.0)
    reason = "" if figure else "the signal does not carry a figure"
    return WheelEnergy(figure, distance, driven, reason)


def _paired(part: int, columns: int) -> IntArray:
    """Return which drawn path of a part goes with each column of the resistance, (4)."""
    number = np.arange((columns - 1) // 2)
    drawn = 1 + (number + part * (number // _DRAWS)) % _DRAWS
    return np.concatenate([[0], drawn, drawn + _DRAWS])


def work_j_per_kg(
    time_s: FloatArray,
    speed_mps: FloatArray,
    driven: BoolArray,
    fit: ResistanceFit,
    paired: IntArray,
) -> FloatArray:
    """Return the work of the drive for each kilogram on every column of the fit, shape (k,).

    From instants (m,), a column of speeds for each path (m, j), and on which of the steps between
    instants the drive pushed (m - 1,); ``paired``, shape (k,), says which path goes with a column.
    """
    gained = 0.5 * np.diff(np.square(speed_mps), axis=0)[driven].sum(axis=0)
    middle = (0.5 * (speed_mps[1:] + speed_mps[:-1]))[driven]
    step_s = np.diff(time_s)[driven]
    # Of a polynomial the sums of powers are enough, whatever the columns of the fit.
    square = middle * middle
    first, second, third = (step_s @ power for power in (middle, square, square * middle))
    against = fit.a_mps2 * first[paired] + fit.b_ps * second[paired] + fit.c_pm * third[paired]
    total: FloatArray = gained[paired] + against
    return total


def _is_driven(path: FittedPath, fit: ResistanceFit, rate_hz: float) -> BoolArray:
    """Return where the fitted path slows less than its resistance would have it."""
    width = max(1, round(max(_WIDTH_S, 1.0 / rate_hz) / _SPACING_S))
    v = path.speed_mps
    against = fit.a_mps2[0] + fit.b_ps[0] * v + fit.c_pm[0] * v**2
    driven: BoolArray = smoothed(path.accel_mps2, width) + against > 0.0
    return driven


def _chunks(path: FittedPath, ridden: BoolArray) -> list[Span]:
    """Return what was ridden in parts that memory holds, each from the last one's end."""
    count = round(_CHUNK_S / _SPACING_S)
    return [
        (float(path.time_s[begin]), float(path.time_s[min(begin + count, stop - 1)]))
        for first, stop in runs_of(ridden)
        for begin in range(first, stop - 1, count)
    ]
