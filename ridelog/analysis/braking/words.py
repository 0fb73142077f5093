"""Braking in words: for the page, the terminal and the labels of pictures."""

from ridelog.analysis.braking.measure import Braking, Brakings, StoppingDistance
from ridelog.analysis.braking.procedure import (
    LEAST_STOPS,
    rounded_decel_mps2,
    rounded_distance_m,
    yardstick_for,
)
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.present.words import count_words, plain_speed

# A stop counts as one from top speed if it begins at this share of it or above, as the eKFV Annex
# allows values of one test to differ by a tenth.
_FROM_TOP = 0.9


def decel_words(decel: Estimate) -> str:
    """Return a deceleration with its bounds, such as "3.2 m/s² (3.1 to 3.4)"."""
    places = 2 if decel.high - decel.low < 0.1 else 1
    return f"{decel.value:.{places}f} m/s² ({decel.low:.{places}f} to {decel.high:.{places}f})"


def way_words(way: Estimate, unit: SpeedUnit) -> str:
    """Return a distance with its bounds in the unit's own length, such as "11.3 m (10.9 to 11.8)".

    Metres or feet go with the speed unit.
    """
    value, low, high = (unit.from_metres(x) for x in (way.value, way.low, way.high))
    places = 1 if high - low < 10.0 else 0
    return f"{value:.{places}f} {unit.distance_label} ({low:.{places}f} to {high:.{places}f})"


def hardest_of(brakings: Brakings) -> Braking | None:
    """Return the braking of greatest mean deceleration, None without any."""
    return max(brakings.each, key=lambda one: one.mean_decel.value, default=None)


def braking_lines(
    brakings: Brakings, stop: StoppingDistance | None, unit: SpeedUnit
) -> tuple[tuple[str, str], ...]:
    """Return at most one line for the terminal: how hard, and how far from the top speed."""
    hardest = hardest_of(brakings)
    if hardest is None:
        return ()
    words = f"hardest {hardest.mean_decel.value:.1f} m/s²"
    if stop is not None:
        whole = unit.from_metres(stop.whole.value)
        words += (
            f"; {whole:.0f} {unit.distance_label} from {plain_speed(stop.from_mps, unit, 0)} to "
            f"rest, {stop.reaction_s:.2g} s reaction"
        )
    return (("Braking", words),)


def braking_lead(brakings: Brakings, stop: StoppingDistance | None, unit: SpeedUnit) -> str:
    """Return the answer first: how far it goes before it stands, and how hard it was braked."""
    hardest = hardest_of(brakings)
    if hardest is None:
        return f"No braking was measured: {brakings.reason}."
    count = count_words(len(brakings.each), "braking", "brakings")
    hard = f"The ride holds {count}; the hardest reached {decel_words(hardest.mean_decel)}."
    if stop is None:
        return f"{hard} None of them takes off enough speed to tell a stopping distance."
    return (
        f"From its top speed of {plain_speed(stop.from_mps, unit)} the machine needs "
        f"{way_words(stop.whole, unit)} to stand, {unit.from_metres(stop.reaction_m):.1f} "
        f"{unit.distance_label} of them while the rider reacts ({stop.reaction_s:.2g} s). {hard}"
    )


def quadruple_words(stop: StoppingDistance, unit: SpeedUnit) -> str:
    """Return with numbers that twice the speed takes four times the way under the brake."""
    half = 0.5 * stop.from_mps
    short, full = (unit.from_metres(stop.braking_m(v)) for v in (half, stop.from_mps))
    double = unit.from_metres(stop.braking_m(2.0 * stop.from_mps))
    label = unit.distance_label
    return (
        f"Doubling the speed quadruples the way under the brake: {short:.1f} {label} from "
        f"{plain_speed(half, unit)}, {full:.1f} {label} from {plain_speed(stop.from_mps, unit)}, "
        f"and {double:.0f} {label} if it went {plain_speed(2.0 * stop.from_mps, unit)} with the "
        "same brakes."
    )


def yardstick_words(brakings: Brakings, stop: StoppingDistance) -> str:
    """Return how the hardest braking compares with the published yardstick, rounded as it asks."""
    hardest = hardest_of(brakings)
    if hardest is None:
        return ""
    yardstick = yardstick_for(stop.from_mps)
    rounded = rounded_decel_mps2(hardest.mean_decel.value)
    least = f"yardstick of {yardstick.least_mps2:.1f} m/s² ({yardstick.source})"
    if rounded >= yardstick.least_mps2:
        word = f"meets the {least}"
    elif rounded >= yardstick.one_brake_mps2:
        word = f"is below the {least}"
    else:
        alone = f"{yardstick.one_brake_mps2:.2f} m/s² asked of one brake alone"
        word = f"is below even the {alone}, far from the {least}"
    stops = [one for one in brakings.stops if one.from_mps >= _FROM_TOP * stop.from_mps]
    held = count_words(len(stops), "such stop", "such stops")
    return (
        f"Rounded as the eKFV Annex (no. 2.2) asks, the hardest braking took "
        f"{rounded_distance_m(hardest.distance.value):.2f} m at {rounded:.1f} m/s², which {word}. "
        f"That procedure takes {LEAST_STOPS} stops in a row from top speed, as hard as is safe; "
        f"this ride holds {held}. It is a method here, no approval, and the log shows how hard the "
        "rider braked, not how hard the brakes could."
    )
