"""Rides before and after a change: every measure with its difference and verdict."""

from dataclasses import dataclass, field

from ridelog.analysis.comparable import Measure, Reading, Rides
from ridelog.analysis.comparables import measures_of
from ridelog.compare.curves import PullCurves, curves_of
from ridelog.compare.difference import Difference, difference_by_direction, difference_of
from ridelog.compare.matching import Matched, match_directions
from ridelog.compare.mismatches import Mismatch, mismatches_of
from ridelog.compare.predicted import Foretold, foretell_change
from ridelog.compare.verdict import CANNOT_SAY, Verdict, verdicts
from ridelog.core.errors import RideLogError
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.machine.setup import MachineSetup


@dataclass(frozen=True)
class Compared:
    """One measure of both sides.

    before, after : the readings of every ride, in the order of the rides.
    difference : None where it cannot be told; ``obstacle`` then says why.
    """

    measure: Measure
    before: tuple[Reading, ...]
    after: tuple[Reading, ...]
    difference: Difference | None
    verdict: Verdict
    obstacle: str = ""


@dataclass(frozen=True)
class Comparison:
    """Everything that two sets of rides say about a change.

    unit : in which the speeds are round that figures are taken at.
    pull : how hard the machine pulls at every speed, None if the rides do not tell.
    noted_before, noted_after : what the user noted for a side, such as rider and battery.
    foretold : what the rides before foretold of the change; None without set-ups of both states.
    """

    before: Rides
    after: Rides
    measures: tuple[Compared, ...]
    mismatches: tuple[Mismatch, ...]
    unit: SpeedUnit
    pull: PullCurves | None = None
    noted_before: dict[str, str] = field(default_factory=dict)
    noted_after: dict[str, str] = field(default_factory=dict)
    foretold: Foretold | None = None

    def measure(self, name: str) -> Compared | None:
        """Return one measure by name, None if the rides do not hold it."""
        return next((each for each in self.measures if each.measure.name == name), None)


def compare(
    before: Rides,
    after: Rides,
    *,
    unit: SpeedUnit = SPEED_UNITS["km/h"],
    noted_before: dict[str, str] | None = None,
    noted_after: dict[str, str] | None = None,
    setups: tuple[MachineSetup, MachineSetup] | None = None,
) -> Comparison:
    """Return the comparison of two sides of at least one ride each.

    Parameters
    ----------
    before, after : tuple of RiddenRide
        Each carries the settings it was measured with; marks may differ from ride to ride.
    unit : SpeedUnit
        In which the usual launch windows are round; windows that were asked for are all taken.
    noted_before, noted_after : dict, optional
        What the user noted for a side.
    setups : tuple of MachineSetup, optional
        The machine before and after: what the rides before foretell is then told as well.

    Raises
    ------
    RideLogError
        If a side has no ride, or one log is named twice.
    """
    _check_sides(before, after)
    noted_before, noted_after = noted_before or {}, noted_after or {}
    measures = measures_of(before, after, unit)
    drafts = [_draft(measure, before, after) for measure in measures]
    told = [(each.measure, each.difference) for each in drafts if each.difference is not None]
    found = verdicts(
        [difference for _, difference in told],
        [measure.weight for measure, _ in told],
        [measure.better_when for measure, _ in told],
    )
    by_name = {measure.name: verdict for (measure, _), verdict in zip(told, found, strict=True)}
    return Comparison(
        before=before,
        after=after,
        measures=tuple(
            Compared(
                each.measure,
                each.before,
                each.after,
                each.difference,
                by_name.get(each.measure.name, Verdict(CANNOT_SAY)),
                each.obstacle,
            )
            for each in drafts
        ),
        mismatches=mismatches_of(before, after, noted_before, noted_after),
        unit=unit,
        pull=curves_of(before, after),
        noted_before=noted_before,
        noted_after=noted_after,
        foretold=foretell_change(setups, before, after, unit) if setups else None,
    )


def _check_sides(before: Rides, after: Rides) -> None:
    for side, rides in (("before", before), ("after", after)):
        if not rides:
            raise RideLogError(
                f"There is no ride {side} the change.", "name at least one log for each side."
            )
    seen: dict[str, str] = {}
    for ride in (*before, *after):
        sha256 = ride.result.source.sha256
        if sha256 in seen:
            raise RideLogError(
                f"{ride.name}: this log has the same bytes as {seen[sha256]}; a ride counts once.",
                "leave one of them out.",
            )
        seen[sha256] = ride.name


def _draft(measure: Measure, before: Rides, after: Rides) -> Compared:
    first = tuple(measure.read(ride) for ride in before)
    second = tuple(measure.read(ride) for ride in after)
    obstacle = _missing(first, second)
    matched = Matched(first, second)
    if not obstacle and measure.one_direction:
        matched = match_directions(first, second)
        obstacle = matched.obstacle
    difference = None
    if not obstacle:
        told = [
            [reading.estimate for reading in side if reading.estimate is not None]
            for side in (matched.first, matched.second)
        ]
        if matched.directions is None:
            parts = [_wind_parts(side) for side in (matched.first, matched.second)]
            known = (parts[0], parts[1]) if parts[0] and parts[1] else None
            readings = (*matched.first, *matched.second)
            # The least of them is what surely all of them share.
            shared = min(r.shared_sd for r in readings if r.estimate is not None)
            difference = difference_of(told[0], told[1], wind_parts=known, shared_sd=shared)
        else:
            ways = [
                [way for way, r in zip(side_ways, side, strict=True) if r.estimate is not None]
                for side_ways, side in zip(
                    matched.directions, (matched.first, matched.second), strict=True
                )
            ]
            difference = difference_by_direction(told[0], told[1], ways[0], ways[1])
    return Compared(
        measure, matched.first, matched.second, difference, Verdict(CANNOT_SAY), obstacle
    )


def _missing(first: tuple[Reading, ...], second: tuple[Reading, ...]) -> str:
    """Return why a side has no figure at all, or nothing."""
    for side, readings in (("before", first), ("after", second)):
        if all(reading.estimate is None for reading in readings):
            reasons = list(dict.fromkeys(r.reason for r in readings if r.reason))
            why = f" ({reasons[0].rstrip('.')})" if reasons else ""
            return f"no ride {side} the change holds this figure{why}"
    return ""


def _wind_parts(readings: tuple[Reading, ...]) -> list[float]:
    """Return what wind and favoured directions may add to every ride, nothing if one is open."""
    told = [(r.estimate, r.both_ways, r.wind_excess) for r in readings if r.estimate is not None]
    parts = [one.value - both.value + excess for one, both, excess in told if both is not None]
    return parts if len(parts) == len(told) else []
