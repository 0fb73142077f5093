"""What every prediction is asked for on the command line: conditions, windows, its rides."""

from collections.abc import Sequence
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from ridelog.cli.options import takes, words_of
from ridelog.cli.terminal import motion_of, warn
from ridelog.core.errors import RideLogError, UnreadableLogError
from ridelog.core.text import shown_name

if TYPE_CHECKING:
    from ridelog.analysis.launches.windows import Window
    from ridelog.analysis.settings import Settings
    from ridelog.analysis.subject import MeasuredRide
    from ridelog.cli.options import Asked
    from ridelog.machine.conditions import Conditions
    from ridelog.machine.setup import MachineSetup

WindowOption = Annotated[
    list[str] | None, takes("WINDOW...", 'Launch windows, such as "0-20 km/h" or "0-30 m".')
]
SlopeOption = Annotated[str | None, takes("RISE", "On a slope, such as 4%; -4% is downhill.")]
SurfaceOption = Annotated[
    str | None, takes("GROUND", "On another ground: asphalt, gravel or grass.")
]
ChargeOption = Annotated[
    str | None,
    takes("CHARGE", 'With the battery at 25%, or at so many volts at rest: "48.2 V".'),
]
VoltsOption = Annotated[
    str | None, takes("V/V", "Volts at rest before and after the rides, such as 53.1/50.8.")
]
NotedOption = Annotated[
    Path | None, takes("DIR", "The ride book that notes how full the battery was on the rides.")
]
AtOption = Annotated[
    list[str] | None, takes("SPEED...", 'Speeds for energy and range, such as "20 km/h".')
]
BelieveOption = Annotated[
    list[str] | None, takes("KEY...", "Keys of the set-up that rides seem to contradict.")
]


def asked_windows(window: list[str] | None) -> "tuple[Window, ...]":
    """Return the launch windows that were written; BadParameter if one cannot be read."""
    from ridelog.analysis.launches.windows import parse_window

    with words_of("--window"):
        return tuple(parse_window(text) for text in window or [])


def asked_conditions(slope: str | None, surface: str | None, at: list[str] | None) -> "Conditions":
    """Return conditions that no set-up is needed for; BadParameter if one cannot be read."""
    from ridelog.machine.conditions import Conditions, parse_at, parse_slope, parse_surface

    with words_of("--slope"):
        rise = None if slope is None else parse_slope(slope)
    with words_of("--surface"):
        ground = None if surface is None else parse_surface(surface)
    with words_of("--at"):
        return Conditions(slope=rise, surface=ground, at=parse_at(at or []))


def conditions_of_pack(
    conditions: "Conditions",
    setup: "MachineSetup",
    charge: str | None,
    volts: str | None,
    believe: list[str] | None,
) -> "Conditions":
    """Return conditions with what depends on the set-up's own pack and keys.

    SetupError if that cannot be.
    """
    from dataclasses import replace

    from ridelog.machine.conditions import parse_believed, parse_charge, parse_volts

    return replace(
        conditions,
        charge=None if charge is None else parse_charge(charge, setup),
        rides_charge=None if volts is None else parse_volts(volts, setup),
        believed=parse_believed(believe or [], setup),
    )


def noted_in_book(
    conditions: "Conditions", setup: "MachineSetup", book: Path | None, logs: Sequence[Path]
) -> "Conditions":
    """Return conditions with the charge that a book notes of some rides; warn where it does not.

    BookError if one of them is not in the book, RideLogError if the charge is said twice.
    """
    if book is None:
        return conditions
    from dataclasses import replace

    from ridelog.book.book import Book
    from ridelog.workflow.book_ride import noted_charge, ride_of_log

    with words_of("--book"):
        if not logs:
            raise RideLogError("no ride is given that a book could tell of.", "add --ride RIDE.")
        if conditions.rides_charge is not None:
            raise RideLogError(
                "both --volts and --book say how full the battery was.", "leave one of them out."
            )
    for log in logs:
        if not log.is_file():
            raise UnreadableLogError(
                f"{shown_name(str(log))}: there is no such file.", "check the name and the folder."
            )
    with Book(book, make=False) as opened:
        rides = [ride_of_log(opened, log) for log in logs]
        charge = noted_charge(opened, rides, setup)
        silent = [ride.file for ride in rides if noted_charge(opened, [ride], setup) is None]
    if silent:
        # Words of figures load numpy.
        from ridelog.present.words import joined

        warn((f"The book tells no charge of {joined(silent)}: it is taken as unknown.",))
    return replace(conditions, rides_charge=charge)


def rides_measured(
    sides: list[list[Path]], settings: "Settings", asked: "Asked", mode: str | None
) -> "list[tuple[MeasuredRide, ...]]":
    """Return what the logs of each side tell of a machine in a drive mode; warn of what to doubt.

    ``asked`` says which stretches of all of them were ridden in which mode.
    """
    from dataclasses import replace

    from ridelog.analysis.ride import analyse, in_drive_mode

    motions = [[motion_of(log, settings.columns) for log in logs] for logs in sides]
    for log, motion in zip(chain(*sides), chain(*motions), strict=True):
        warn(f"{log.name}: {warning}" for warning in motion.warnings)
    every = replace(asked, settings=settings).on_each([each.track for each in chain(*motions)])
    of_each = iter(every)
    rides = [[analyse(motion, next(of_each)) for motion in side] for side in motions]
    return [in_drive_mode(side, mode) for side in rides]
