"""The command that holds a speed display, or a second receiver, against a log."""

from pathlib import Path
from typing import Annotated

import typer

from ridelog.cli.options import Columns, Force, JsonFile, Ride, Units, UnitsOption, read_columns
from ridelog.cli.terminal import check_places, deliver, motion_of, warn


def display(
    ride: Ride,
    readings: Annotated[
        Path | None,
        typer.Argument(
            metavar="[READINGS.csv]",
            help="Columns time (UTC, or seconds since the first fix) and shown.",
        ),
    ] = None,
    second: Annotated[
        Path | None,
        typer.Option(metavar="RIDE", help="The log of a second receiver, in place of readings."),
    ] = None,
    circumference: Annotated[
        float | None,
        typer.Option(
            metavar="M", min=0.1, max=4.0, help="Wheel circumference set in the display, in metres."
        ),
    ] = None,
    units: UnitsOption = Units.KMH,
    columns: Columns = None,
    json: JsonFile = None,
    force: Force = False,
) -> None:
    """Check a speed display against the log: factor, offset, delay, and the rules it must meet."""
    if (readings is None) == (second is None):
        raise typer.BadParameter(
            "give either a table of readings or the log of a second receiver.",
            param_hint="'READINGS.csv' / '--second'",
        )
    check_places([json], ride, force)
    told = read_columns(columns)
    motion = motion_of(ride, told)

    from ridelog.analysis.subject import RideSource
    from ridelog.compare.display.measure import check_display, readings_of, right_circumference
    from ridelog.core.units import SPEED_UNITS
    from ridelog.importer.display_readings import read_display_readings
    from ridelog.report.display import display_json, display_lines
    from ridelog.report.ride_json import to_bytes

    unit = SPEED_UNITS[units.value]
    if readings is not None:
        noted = read_display_readings(readings, motion.track, unit)
    else:
        assert second is not None
        noted = readings_of(motion_of(second, told), motion.track)
    found = check_display(motion, noted.time_s, noted.shown_mps, noted.step_mps)
    should_be_m = None if circumference is None else right_circumference(circumference, found)
    warn(motion.warnings)
    document = display_json(RideSource.of(motion), found, circumference, should_be_m, told)
    lines = display_lines(found, unit, should_be_m)
    deliver(json, to_bytes(document), {}, ride, force, lines=lines)
