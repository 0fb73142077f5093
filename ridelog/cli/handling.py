"""The options about tipping over, and what they ask for."""

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from ridelog.core.errors import RideLogError

if TYPE_CHECKING:
    from ridelog.analysis.settings import Settings

TrackWidth = Annotated[
    float | None,
    typer.Option(
        metavar="METRES",
        help="Between the middles of left and right tyres; with --cg-height, for the tip-over "
        "margin of turns.",
        show_default=False,
    ),
]
CgHeight = Annotated[
    float | None,
    typer.Option(
        metavar="METRES",
        help="Height of the centre of gravity of machine and rider; with --track-width.",
        show_default=False,
    ),
]


def checked_dimensions(track_width: float | None, cg_height: float | None) -> None:
    """Fail before the work if the dimensions are not those of a machine, or only one is given.

    Raises
    ------
    typer.BadParameter
        With what is wrong.
    """
    from ridelog.analysis.handling.tip_over import checked_dimensions as check

    try:
        check(track_width, cg_height)
    except RideLogError as error:
        raise typer.BadParameter(
            str(error), param_hint="'--track-width' / '--cg-height'"
        ) from error


def handling_settings(
    settings: "Settings", track_width: float | None, cg_height: float | None
) -> "Settings":
    """Return settings with these dimensions."""
    return replace(settings, track_width_m=track_width, cg_height_m=cg_height)
