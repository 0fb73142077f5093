"""Of each caution the gravest among some rides, and which of them are about the machine itself."""

from dataclasses import replace

from ridelog.analysis.braking.subject import BRAKING_CODES
from ridelog.analysis.subject import DOUBT, Caution, MeasuredRide
from ridelog.compare.matching import Rides
from ridelog.present.words import clean, within

# A prediction says these anew, of the speed that it predicts.
_SAID_ANEW = ("age_class", "advised_speed", "stopping_distance")


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
                found[caution.code] = of_ride(caution, ride) if several else caution
    return found


def _of_brakes(ride: MeasuredRide) -> tuple[int, float]:
    """Return how grave a ride's word about the brakes is, then how far it goes before it stands."""
    told = [one for one in ride.cautions if one.code in BRAKING_CODES]
    far = (one.value or 0.0 for one in told if one.code == "stopping_distance")
    return max((one.gravity for one in told), default=0), max(far, default=0.0)


def of_ride(caution: Caution, ride: MeasuredRide, of: str = "") -> Caution:
    """Return a caution that says which ride it is of, or of which side the machine is."""
    if not of and caution.code in BRAKING_CODES:
        return replace(caution, text=f"{_in(ride)}{within(caution.text)}")
    if caution.gravity == DOUBT and not caution.general:
        of = clean(ride.source.file)
    return replace(caution, text=f"{of}: {caution.text}") if of else caution


def _in(ride: MeasuredRide) -> str:
    return f"In {clean(ride.source.file)} "


def _beyond(caution: Caution) -> float:
    """Return how far a caution's value is beyond its limit, on whichever side of it."""
    if caution.value is None:
        return 0.0
    return abs(caution.value - (caution.limit or 0.0))


def seen_of_machine(rides: Rides) -> tuple[Caution, ...]:
    """Return what rides warn of the machine itself, whatever is predicted of it."""
    # What names its ride says so that it was ridden.
    names = tuple(_in(ride) for ride in rides)
    return tuple(
        one if one.text.startswith(names) else replace(one, text=f"As ridden: {within(one.text)}")
        for one in gravest_of(rides).values()
        if not one.general and one.gravity > DOUBT and one.code not in _SAID_ANEW
    )
