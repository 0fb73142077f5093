"""The two sides of a comparison: that each ride counts once, and what two modes of a log share."""

from ridelog.compare.matching import Mismatch, Rides
from ridelog.compare.side_names import SideNames
from ridelog.core.errors import RideLogError
from ridelog.core.text import count_words


def check_sides(before: Rides, after: Rides, names: SideNames, *, within: bool) -> None:
    """Do nothing if both sides have rides, each once; ``within``: a log may stand on both sides.

    RideLogError otherwise.
    """
    for side, rides in zip(names.at_length, (before, after), strict=True):
        if not rides:
            raise RideLogError(f"There is no ride {side}.", "name at least one log for each side.")
    seen: dict[str, str] = {}
    for number, ride in enumerate((*before, *after)):
        if within and number == len(before):
            seen.clear()
        sha256 = ride.source.sha256
        if sha256 in seen:
            raise RideLogError(
                f"{ride.name}: this log has the same bytes as {seen[sha256]}; a ride counts once.",
                "leave one of them out.",
            )
        seen[sha256] = ride.name


def shared_by_modes(first: Rides, second: Rides) -> Mismatch:
    """Return what two drive modes of the same logs share, and what still differs between them."""
    logs = {ride.source.sha256 for ride in first} & {ride.source.sha256 for ride in second}
    both = (
        "Both modes were ridden in the same logs: receiver, day, place and rider are the same"
        if len(logs) == len(first) == len(second)
        else f"{count_words(len(logs), 'log holds', 'logs hold')} both modes, the others one"
    )
    return Mismatch(
        "same_logs",
        f"{both}. What still differs is when each was ridden: the battery empties and warms "
        "meanwhile. Ride them in turn, more than once.",
    )
