"""Rides before and after a change: every figure with its difference and verdict."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from ridelog.analysis.energy import WHEEL_ENERGY
from ridelog.analysis.figure import HIGHER, Comparable, Figure
from ridelog.analysis.launches.windows import Window, parse_window
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.charge import ChargeAlone, charge_alone
from ridelog.compare.curves import PullCurves, curves_of
from ridelog.compare.difference import Difference, difference_by_direction, difference_of
from ridelog.compare.matching import Matched, Mismatch, Rides, match_directions, mismatches_of
from ridelog.compare.mode_charge import charge_between_modes
from ridelog.compare.pairs import difference_of_pairs, paired
from ridelog.compare.predicted import Predicted, measured_after, predict_from
from ridelog.compare.side_names import SideNames, names_of_sides
from ridelog.compare.sides import check_sides, shared_by_modes
from ridelog.compare.verdict import CANNOT_SAY, Verdict, verdicts
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import Quantity
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.machine.change import changes_between
from ridelog.machine.conditions import Conditions
from ridelog.machine.setup import MachineSetup

TOP_SPEED = "top speed"
_TOPS = ("two_way_mps", "best_1s_mps", "best_5s_mps")
# Windows are named after what they are, "0-20 km/h", with "distance" for the way they take.
_WINDOW_NAME = re.compile(r"\d+(?:\.\d+)?-\d")


@dataclass(frozen=True)
class Compared:
    """One figure of both sides.

    figure : one ride's, for what all rides share: name, title, quantity, how it is compared.
    before, after : the figure of every ride, in the order of the rides.
    difference : None where it cannot be told; ``obstacle`` then says why.
    doubt : why only ranges of both sides are shown, empty for a figure that may be named.
    charge : what the battery's charge alone could have done, of a top speed that for this reason
        has no verdict; else None.
    """

    figure: Figure
    before: tuple[Figure, ...]
    after: tuple[Figure, ...]
    difference: Difference | None
    verdict: Verdict
    obstacle: str = ""
    doubt: str = ""
    charge: ChargeAlone | None = None

    @property
    def terms(self) -> Comparable:
        """How the figure is compared."""
        return self.figure.terms

    @property
    def quantity(self) -> Quantity:
        """What it is a figure of."""
        return self.figure.quantity


@dataclass(frozen=True)
class Comparison:
    """Everything that two sets of rides say about a change.

    unit : in which the speeds are round that figures are taken at.
    figures : top speed first, under that name: the mean of both directions if both sides tell it,
        else the fastest second.
    pull : how hard the machine pulls at every speed, None if the rides do not tell.
    noted_before, noted_after : what the user noted for a side, such as rider and battery.
    predicted : what the rides before predicted of the change, beside what the rides after showed;
        None without set-ups of both states.
    modes : names of the drive modes that stand on the sides in place of before and after.
    """

    before: Rides
    after: Rides
    figures: tuple[Compared, ...]
    mismatches: tuple[Mismatch, ...]
    unit: SpeedUnit
    pull: PullCurves | None = None
    noted_before: dict[str, str] = field(default_factory=dict)
    noted_after: dict[str, str] = field(default_factory=dict)
    predicted: Predicted | None = None
    modes: tuple[str, str] | None = None

    @property
    def sides(self) -> tuple[str, str]:
        """What the two sides are called."""
        return self.names.heads

    @property
    def names(self) -> SideNames:
        """How the two sides are called, as heads and within sentences."""
        return names_of_sides(self.modes)

    def __getitem__(self, name: str) -> Compared:
        """Return one figure by name."""
        found = self.get(name)
        if found is None:
            names = ", ".join(each.figure.name for each in self.figures)
            raise KeyError(f"{name!r}; compared were {names}")
        return found

    def get(self, name: str) -> Compared | None:
        """Return one figure by name, None if the rides do not hold it."""
        return next((each for each in self.figures if each.figure.name == name), None)


def compare(
    before: Rides,
    after: Rides,
    *,
    unit: SpeedUnit = SPEED_UNITS["km/h"],
    noted_before: dict[str, str] | None = None,
    noted_after: dict[str, str] | None = None,
    setups: tuple[MachineSetup, MachineSetup] | None = None,
    modes: tuple[str, str] | None = None,
) -> Comparison:
    """Return the comparison of two sides of at least one ride each.

    Each ride carries the settings it was measured with; marks may differ from ride to ride. The
    usual launch windows are those round in ``unit``; windows that were asked for are all taken.
    ``noted_before`` and ``noted_after`` are what the user noted for a side. With ``setups``, the
    machine before and after, what the rides before predict is told as well. ``modes`` names two
    drive modes of the same logs: then a log stands on both sides.

    RideLogError if a side has no ride, or one log is named twice.
    """
    names = names_of_sides(modes)
    check_sides(before, after, names, within=modes is not None)
    noted_before, noted_after = noted_before or {}, noted_after or {}
    drafts = [_draft(name, before, after, modes) for name in compared_names(before, after, unit)]
    within = charge_between_modes(before, after) if modes else None
    charge = within or charge_alone(noted_before, noted_after, setups)
    compared = Comparison(
        before=before,
        after=after,
        figures=_top_speed_first(_judged(drafts, charge)),
        mismatches=(
            *mismatches_of(before, after, noted_before, noted_after, names),
            *([shared_by_modes(before, after)] if modes else []),
        ),
        unit=unit,
        pull=curves_of(before, after, pairs=modes is not None),
        noted_before=noted_before,
        noted_after=noted_after,
        modes=modes,
    )
    if setups is None:
        return compared
    asked = changes_between(*setups)
    return replace(compared, predicted=predicted_change(compared, setups[0], asked))


def predicted_change(
    comparison: Comparison,
    setup: MachineSetup,
    asked: Mapping[str, Any],
    *,
    windows: Sequence[Window] = (),
    sweep: tuple[str, Sequence[Any]] | None = None,
    conditions: Conditions | None = None,
) -> Predicted:
    """Return what the rides before predict, and what those after showed, as they are compared.

    Arguments as for ``predict_from``; the windows are those of the rides if left out.
    """
    told = [(each.figure.name, each.difference) for each in comparison.figures if each.difference]
    if not windows:
        windows = tuple(map(parse_window, comparison.before[0].settings.windows))
    prediction = predict_from(
        setup, comparison.before, asked, comparison.unit, windows=windows, sweep=sweep,
        told={name: difference.before for name, difference in told}, conditions=conditions,
    )  # fmt: skip
    after = {name: difference.after for name, difference in told}
    return Predicted(prediction, measured_after(comparison.after, comparison.before, after))


def _charge_on(figure: Figure, charge: ChargeAlone, top_mps: float) -> ChargeAlone | None:
    """Return what the charge alone could do to a figure, None if it is nothing or not asked.

    A top speed is held against it always; starts, pulls, energy where it is unknown or not alike.
    """
    if figure.name in _TOPS:
        return charge.of_top()
    if not charge.opens_starts or not top_mps:
        return None
    if figure.name.startswith("pull_at") and figure.at_mps is not None:
        return charge.of_pull(figure.at_mps / top_mps)
    if figure.name == WHEEL_ENERGY:
        return charge.of_energy()
    if not _WINDOW_NAME.match(figure.name):
        return None
    window = parse_window(figure.name.removesuffix(" distance"))
    return charge.of_way() if window.to_mps is None else charge.of_time(window.to_mps / top_mps)


def _judged(drafts: list[Compared], charge: ChargeAlone) -> list[Compared]:
    """Return the figures with their verdicts; none where the charge could be the difference."""
    told = [(each, each.difference) for each in drafts if each.difference is not None]
    top_mps = max((d.before.value for each, d in told if each.figure.name in _TOPS), default=0.0)
    charges = {each.figure.name: _charge_on(each.figure, charge, top_mps) for each, _ in told}
    found = verdicts(
        [difference for _, difference in told],
        [each.terms.weight for each, _ in told],
        [1 if each.terms.better == HIGHER else -1 for each, _ in told],
        [
            alone.moves(difference.before.value) if alone else (0.0, 0.0)
            for (_, difference), alone in zip(told, charges.values(), strict=True)
        ],
    )
    judged = {
        each.figure.name: replace(
            each,
            verdict=verdict,
            charge=charges[each.figure.name] if verdict.left_open else None,
        )
        for (each, _), verdict in zip(told, found, strict=True)
    }
    return [judged.get(each.figure.name, each) for each in drafts]


def _top_speed_first(figures: list[Compared]) -> tuple[Compared, ...]:
    told = {each.figure.name: each for each in figures if each.difference is not None}
    top = told.get("two_way_mps") or told.get("best_1s_mps")
    if top is None:
        return tuple(figures)
    named = replace(top, figure=replace(top.figure, title=TOP_SPEED, short=""))
    return (named, *(each for each in figures if each is not top))


def compared_names(before: Rides, after: Rides, unit: SpeedUnit) -> list[str]:
    """Return the names of the figures that the rides of both sides together can hold.

    Of a series only the member in the middle of those that every ride of it tells is taken; a
    figure that is round in other units than the reader's is left to other readers.
    """
    listed: dict[str, Figure] = {}
    for ride in (*before, *after):
        for name, figure in ride.figures.items():
            if figure.comparable and figure.round_in in ("", unit.label):
                listed.setdefault(name, figure)
    names = [
        name
        for name, figure in listed.items()
        if all(any(name in ride.figures for ride in side) for side in (before, after))
        and not (figure.terms.where_told and not _told_by_both(name, before, after))
    ]
    series: dict[str, list[str]] = {}
    for name in names:
        if listed[name].terms.series:
            series.setdefault(listed[name].terms.series, []).append(name)
    middle = {_middle(members, before, after) for members in series.values()}
    return [name for name in names if not listed[name].terms.series or name in middle]


def _told_by_both(name: str, before: Rides, after: Rides) -> bool:
    return all(
        any(name in ride.figures and ride.figures[name].estimate for ride in side)
        for side in (before, after)
    )


def _middle(members: list[str], before: Rides, after: Rides) -> str:
    """Return the member in the middle of those that most rides hold."""
    held = [sum(name in ride.figures for ride in (*before, *after)) for name in members]
    most = [name for name, count in zip(members, held, strict=True) if count == max(held)]
    return most[(len(most) - 1) // 2]


def _figure_of(ride: MeasuredRide, name: str, like: Figure) -> Figure:
    """Return a ride's figure; of a ride that was not measured for it, one without estimate."""
    if name in ride.figures:
        return ride.figures[name]
    return replace(
        like,
        estimate=None,
        reason="the ride does not reach it",
        comparable=replace(like.terms, both_ways=None, course_deg=None),
    )


def _draft(
    name: str, before: Rides, after: Rides, modes: tuple[str, str] | None = None
) -> Compared:
    names = names_of_sides(modes)
    like = next(ride.figures[name] for ride in (*before, *after) if name in ride.figures)
    first = tuple(_figure_of(ride, name, like) for ride in before)
    second = tuple(_figure_of(ride, name, like) for ride in after)
    obstacle = _missing(first, second, names)
    matched = Matched(first, second)
    if not obstacle and like.terms.one_direction:
        matched = match_directions(first, second)
        obstacle = matched.obstacle
    difference = None
    pairs = paired(matched, before, after) if modes and not obstacle else None
    if pairs is not None:
        matched = pairs.matched
        difference = _difference_of(*pairs.figures, by=difference_of_pairs)
    elif not obstacle:
        difference = _difference_by_match(matched)
    return Compared(
        like,
        matched.first,
        matched.second,
        difference,
        Verdict(CANNOT_SAY),
        obstacle,
        _doubt(difference, (*before, *after), (*matched.first, *matched.second), names),
    )


def _difference_by_match(matched: Matched) -> Difference:
    if matched.directions is None:
        return _difference_of(matched.first, matched.second, by=difference_of)
    sides = zip(matched.directions, (matched.first, matched.second), strict=True)
    directions = [
        [one for one, r in zip(of_rides, side, strict=True) if r.estimate is not None]
        for of_rides, side in sides
    ]
    told = [_estimates(side) for side in (matched.first, matched.second)]
    return difference_by_direction(told[0], told[1], directions[0], directions[1])


def _difference_of(
    first: Sequence[Figure], second: Sequence[Figure], *, by: Callable[..., Difference]
) -> Difference:
    """Return the difference of two sides with what wind may add and what all rides share."""
    parts = [_wind_parts(side) for side in (first, second)]
    known = (parts[0], parts[1]) if parts[0] and parts[1] else None
    # The least of them is what surely all of them share.
    shared = min(r.terms.shared_sd for r in (*first, *second) if r.estimate is not None)
    return by(_estimates(first), _estimates(second), wind_parts=known, shared_sd=shared)


def _estimates(readings: Sequence[Figure]) -> list[Estimate]:
    return [reading.estimate for reading in readings if reading.estimate is not None]


def _doubt(
    difference: Difference | None, rides: Rides, figures: tuple[Figure, ...], names: SideNames
) -> str:
    """Return why a figure of both sides may not be named by itself, or nothing."""
    if difference is None:
        return ""
    weak = [
        r.name for r, f in zip(rides, figures, strict=True) if f.estimate and r["signal"].too_weak
    ]
    if weak:
        return f"the signal was too weak in {', '.join(weak)}"
    wide = [
        side
        for side, mean in zip(names.said, (difference.before, difference.after), strict=True)
        if not mean.firm
    ]
    return f"the rides {' and '.join(wide)} tell it too roughly to name one figure" if wide else ""


def _missing(first: tuple[Figure, ...], second: tuple[Figure, ...], names: SideNames) -> str:
    """Return why a side has no figure at all, or nothing."""
    for side, readings in zip(names.at_length, (first, second), strict=True):
        if all(reading.estimate is None for reading in readings):
            reasons = list(dict.fromkeys(r.reason for r in readings if r.reason))
            why = f" ({reasons[0].rstrip('.')})" if reasons else ""
            return f"no ride {side} holds this figure{why}"
    return ""


def _wind_parts(readings: Sequence[Figure]) -> list[float]:
    """Return what wind and favoured directions may add to every ride, nothing if one is open."""
    told = [
        (r.estimate, r.terms.both_ways, r.terms.wind_excess)
        for r in readings
        if r.estimate is not None
    ]
    parts = [one.value - both.value + excess for one, both, excess in told if both is not None]
    return parts if len(parts) == len(told) else []
