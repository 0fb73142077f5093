"""A ride measured by every subject of the register."""

from collections.abc import Callable
from dataclasses import replace
from graphlib import TopologicalSorter

from ridelog.analysis.cautions import general_cautions
from ridelog.analysis.figure import Figures
from ridelog.analysis.register import SUBJECTS
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide, RideSource
from ridelog.filtering.motion import Motion

# What the eKFV Annex, no. 1.1-1.7, asks to hold during a speed test and a log cannot show.
NOT_MEASURED = ("wind", "slope", "rider mass", "battery charge", "tyre pressure")


def analyse(
    motion: Motion,
    settings: Settings | None = None,
    *,
    report_progress: Callable[[float], None] = lambda done: None,
) -> MeasuredRide:
    """Return everything that is measured on one ride, with the choices in ``settings``.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    settings : Settings, optional
        The usual ones if left out.
    report_progress : callable, optional
        Is told the share of the subjects that are measured.
    """
    ride = MeasuredRide(motion, RideSource.of(motion), settings or Settings())
    by_name = {subject.name: subject for subject in SUBJECTS}
    order = TopologicalSorter({subject.name: subject.needs for subject in SUBJECTS}).static_order()
    for done, name in enumerate(order):
        ride = ride.with_record(name, by_name[name].measure(ride))
        report_progress((done + 1) / len(by_name))
    return concluded(ride)


def concluded(ride: MeasuredRide) -> MeasuredRide:
    """Return a ride whose records all stand with its figures and cautions."""
    cautions = [caution for subject in SUBJECTS for caution in subject.cautions(ride)]
    weak = ride["signal"].too_weak
    figures = (figure.judged(weak) for subject in SUBJECTS for figure in subject.figures(ride))
    return replace(
        ride,
        figures=Figures(tuple(figures)),
        cautions=(*sorted(cautions, key=lambda one: -one.gravity), *general_cautions()),
    )
