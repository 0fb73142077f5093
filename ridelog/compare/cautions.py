"""What a comparison warns of: of each caution the gravest ride, and what a change itself brings."""

from dataclasses import replace

from ridelog.analysis.braking.subject import BRAKING_CODES
from ridelog.analysis.subject import DOUBT, WARNING, Caution, MeasuredRide
from ridelog.compare.comparison import Comparison
from ridelog.compare.matching import Rides
from ridelog.compare.verdict import BETTER
from ridelog.present.words import capital, clean, share_words


def cautions_of(comparison: Comparison) -> tuple[Caution, ...]:
    """Return the cautions of a comparison, the gravest first, then those that always hold.

    What the rides after the change warn of counts. Of the rides before it count what makes their
    figures doubtful and what the machine may still do: go backwards. Of two drive modes both may
    be ridden, so that both count.
    """
    found = gravest_of(comparison.after)
    for ride in comparison.before:
        for caution in ride.cautions:
            lasts = caution.gravity == DOUBT or caution.code.startswith("reverse")
            lasts = lasts or comparison.modes is not None
            if lasts and not caution.general and caution.code not in found:
                of = capital(comparison.names.at_length[0])
                found[caution.code] = _of_ride(caution, ride, of)
    particular = [caution for caution in found.values() if not caution.general]
    particular += _faster(comparison)
    return (
        *sorted(particular, key=lambda one: -one.gravity),
        *(caution for caution in found.values() if caution.general),
    )


def gravest_of(rides: Rides) -> dict[str, Caution]:
    """Return of each caution of some rides the one that is furthest beyond its limit, by code.

    What makes a ride doubtful names it; what the machine does, it does whatever the ride. All that
    is said of the brakes is said of one ride and names it.
    """
    found: dict[str, Caution] = {}
    braked = max(rides, key=_of_brakes) if rides else None
    several = len({ride.source.file for ride in rides}) > 1  # the modes of one are in one file
    for ride in rides:
        for caution in ride.cautions:
            if caution.code in BRAKING_CODES and ride is not braked:
                continue
            known = found.get(caution.code)
            if known is None or _beyond(caution) > _beyond(known):
                found[caution.code] = _of_ride(caution, ride) if several else caution
    return found


def _of_brakes(ride: MeasuredRide) -> tuple[int, float]:
    """Return how grave a ride's word about the brakes is, then how far it goes before it stands."""
    told = [one for one in ride.cautions if one.code in BRAKING_CODES]
    far = (one.value or 0.0 for one in told if one.code == "stopping_distance")
    return max((one.gravity for one in told), default=0), max(far, default=0.0)


def _of_ride(caution: Caution, ride: MeasuredRide, of: str = "") -> Caution:
    """Return a caution that says which ride it is of, or of which side the machine is."""
    if not of and caution.code in BRAKING_CODES:
        of = clean(ride.source.file)
    if caution.gravity == DOUBT and not caution.general:
        of = clean(ride.source.file)
    return replace(caution, text=f"{of}: {caution.text}") if of else caution


def _beyond(caution: Caution) -> float:
    """Return how far a caution's value is beyond its limit, on whichever side of it."""
    if caution.value is None:
        return 0.0
    return abs(caution.value - (caution.limit or 0.0))


def _faster(comparison: Comparison) -> list[Caution]:
    """Return the warning that a higher top speed needs a longer way to stand still."""
    top = comparison.get("two_way_mps") or comparison.get("best_1s_mps")
    if top is None or top.difference is None or top.verdict.word != BETTER:
        return []
    before, after = top.difference.before.value, top.difference.after.value
    if before <= 0.0:
        return []
    longer = (after / before) ** 2 - 1.0
    return [
        Caution(
            "faster_needs_room",
            "Faster needs more room: from top speed, with the same brakes, the braking distance "
            f"grows by {share_words(longer)}.",
            longer,
            None,
            "physics: distance = speed² / (2 × deceleration)",
            gravity=WARNING,
        )
    ]
