"""The options and arguments that several commands share."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Units(StrEnum):
    """The units in which speeds are printed; files of results are in SI units always."""

    KMH = "km/h"
    MPH = "mph"


Ride = Annotated[
    Path,
    typer.Argument(
        metavar="RIDE",
        help="The log of one ride: GPX or NMEA, plain, gzip or zip.",
        show_default=False,
    ),
]
Force = Annotated[bool, typer.Option("--force", help="Replace files that are there already.")]
JsonFile = Annotated[
    Path | None,
    typer.Option("--json", metavar="FILE", help="Write the result as JSON; - for standard output."),
]
