"""The register of what is measured on a ride, and a ride measured by all of it."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from graphlib import TopologicalSorter

from ridelog.analysis.acceleration.subject import Acceleration
from ridelog.analysis.braking.subject import BrakingOfRide
from ridelog.analysis.coasting.subject import CoastDownOfRide
from ridelog.analysis.energy.subject import EnergyOfRide
from ridelog.analysis.figure import Figures
from ridelog.analysis.handling.subject import HandlingOfRide
from ridelog.analysis.launches.subject import StandingStarts
from ridelog.analysis.phases.subject import PhasesOfRide
from ridelog.analysis.reverse.subject import ReverseTravel
from ridelog.analysis.settings import Settings
from ridelog.analysis.signal.subject import Signal
from ridelog.analysis.subject import (
    MeasuredRide,
    ModeOfRide,
    RideSource,
    Subject,
    general_cautions,
)
from ridelog.analysis.top_speed.subject import TopSpeedOfRide
from ridelog.core.errors import RideLogError, calculating
from ridelog.core.spans import Span, joined_spans
from ridelog.core.text import clean
from ridelog.filtering.motion import Motion

# In the order of reading. Whoever adds a subject adds its folder and its entry here; every surface
# iterates this register.
SUBJECTS: tuple[Subject, ...] = (
    TopSpeedOfRide(),
    StandingStarts(),
    Acceleration(),
    BrakingOfRide(),
    CoastDownOfRide(),
    EnergyOfRide(),
    ReverseTravel(),
    HandlingOfRide(),
    PhasesOfRide(),
    Signal(),
)
# What the eKFV Annex, no. 1.1-1.7, asks to hold during a speed test and a log cannot show.
NOT_MEASURED = ("wind", "slope", "rider mass", "battery charge", "tyre pressure")


def analyse(
    motion: Motion,
    settings: Settings | None = None,
    *,
    report_progress: Callable[[float], None] = lambda done: None,
) -> MeasuredRide:
    """Return everything that is measured on one ride, with the choices in ``settings``.

    ``report_progress`` is told the share of the subjects that are measured.
    """
    ride = MeasuredRide(motion, RideSource.of(motion), settings or Settings())
    by_name = {subject.name: subject for subject in SUBJECTS}
    order = TopologicalSorter({subject.name: subject.needs for subject in SUBJECTS}).static_order()
    with calculating(motion.track.source.file):
        for done, name in enumerate(order):
            ride = ride.with_record(name, by_name[name].measure(ride))
            report_progress((done + 1) / len(by_name))
        ride = concluded(ride)
    return replace(ride, modes=tuple(_modes(ride)))


def _modes(ride: MeasuredRide) -> Iterator[ModeOfRide]:
    """Yield what was ridden in each drive mode: the same motion, all else left out."""
    for name in dict.fromkeys(name for name, _, _ in ride.settings.modes_s):
        spans = joined_spans([(a, b) for said, a, b in ride.settings.modes_s if said == name])
        settings = settings_of_mode(ride, spans)
        yield ModeOfRide(name, tuple(spans), analyse(ride.motion, settings))


def in_drive_mode(rides: Sequence[MeasuredRide], mode: str | None) -> tuple[MeasuredRide, ...]:
    """Return what rides tell of a machine in one drive mode: the stretches in it, where named.

    Rides without named stretches were ridden in that mode as a whole. RideLogError if stretches
    are named and none of them, or no mode, is asked for.
    """
    named = list(dict.fromkeys(each.name for ride in rides for each in ride.modes))
    if not named:
        return tuple(rides)
    found = [each.ride for ride in rides for each in ride.modes if each.name == mode]
    if found:
        return tuple(found)
    known = ", ".join(named)
    if mode is None:
        raise RideLogError(
            f"the rides have stretches in {known}, but the set-up says no drive mode.",
            f'write mode = "{named[0]}" into the set-up whose stretches are to be learnt from.',
        )
    raise RideLogError(
        f"the set-up is in the drive mode {mode!r}, but the rides have stretches in {known} only.",
        "name a stretch in that mode with --mode, or correct the set-up.",
    )


def sides_of_modes(
    rides: Sequence[MeasuredRide], names: tuple[str, str]
) -> tuple[tuple[MeasuredRide, ...], tuple[MeasuredRide, ...]]:
    """Return what rides tell of two drive modes, each ride's stretches in them by themselves.

    RideLogError if no ride holds one of them.
    """
    first, second = (
        tuple(each.ride for ride in rides for each in ride.modes if each.name == name)
        for name in names
    )
    for name, side in zip(names, (first, second), strict=True):
        if not side:
            every = dict.fromkeys(clean(each.name) for ride in rides for each in ride.modes)
            raise RideLogError(
                f"no log holds the drive mode {clean(name)!r}; named are "
                f"{', '.join(every) or 'none'}.",
                f'name its stretch: --mode "{clean(name)}=83.5/120".',
            )
    return first, second


def settings_of_mode(ride: MeasuredRide, spans: Sequence[Span]) -> Settings:
    """Return the settings of a ride with everything but some spans, in order, left out."""
    edges = [ride.source.start_s - 1.0, *(end for span in spans for end in span)]
    edges.append(max(ride.source.end_s, edges[-1]) + 1.0)
    between = zip(edges[::2], edges[1::2], strict=True)
    left_out = joined_spans([*ride.settings.left_out_s, *(s for s in between if s[1] > s[0])])
    return replace(ride.settings, modes_s=(), left_out_s=tuple(left_out))


def concluded(ride: MeasuredRide) -> MeasuredRide:
    """Return a ride whose records all stand with its figures and cautions."""
    cautions = [caution for subject in SUBJECTS for caution in subject.cautions(ride)]
    weak = ride["signal"].too_weak
    figures = (
        replace(figure, weak=weak) for subject in SUBJECTS for figure in subject.figures(ride)
    )
    return replace(
        ride,
        figures=Figures(tuple(figures)),
        cautions=(*sorted(cautions, key=lambda one: -one.gravity), *general_cautions()),
    )
