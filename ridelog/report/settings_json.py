"""The settings of several rides in one result: what all share once, the rest with each ride."""

from typing import Any

from ridelog.analysis.settings import Settings
from ridelog.compare.matching import Rides

SHARED, OWN = "settings", "ride_settings"


def settings_json(before: Rides, after: Rides) -> dict[str, Any]:
    """Return the members that carry the settings of a comparison.

    ``settings`` holds what every ride was measured with, ``ride_settings`` for each ride what the
    rides differ in: the marks of one ride mean nothing on another.
    """
    every = [ride.settings.as_json() for ride in (*before, *after)]
    shared = {key: value for key, value in every[0].items() if all(s[key] == value for s in every)}
    own = [{key: value for key, value in s.items() if key not in shared} for s in every]
    return {SHARED: shared, OWN: {"before": own[: len(before)], "after": own[len(before) :]}}


def settings_in(document: dict[str, Any], count: int) -> list[Settings]:
    """Return the settings of every ride of a result on file, those before the change first.

    Parameters
    ----------
    document : dict
        A result of one ride or of several.
    count : int
        How many rides it holds.

    Raises
    ------
    ValueError, TypeError, AttributeError
        If they cannot be read, or are not those of so many rides.
    """
    shared = document.get(SHARED) or {}
    sides = document.get(OWN)
    own = [{}] * count if sides is None else [*sides["before"], *sides["after"]]
    if len(own) != count:
        raise ValueError(f"{len(own)} settings for {count} rides")
    return [Settings.from_json({**shared, **each}) for each in own]
