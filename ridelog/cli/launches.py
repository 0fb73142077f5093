"""The options about launches, and what they ask for."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from ridelog.core.errors import RideLogError

if TYPE_CHECKING:
    from ridelog.analysis.settings import Settings

LaunchWindows = Annotated[
    list[str] | None,
    typer.Option(
        "--window",
        metavar="WINDOW",
        help="A launch window in words: 0-20 km/h, 10-20 mph (rolling), 0-30 m, 0-60 ft. May be "
        "given several times; without it, windows that suit the speed reached.",
        show_default=False,
    ),
]
Rollout = Annotated[
    str | None,
    typer.Option(
        "--rollout",
        metavar="LENGTH",
        help="Start the clock of standing windows only after this way, such as 1 ft. Off by "
        "default: on a slow machine it hides half a second.",
        show_default=False,
    ),
]


def launch_settings(
    settings: "Settings", windows: Sequence[str] | None, rollout: str | None
) -> "Settings":
    """Return settings with what the options about launches ask for.

    Raises
    ------
    typer.BadParameter
        If an option cannot be read.
    """
    from ridelog.analysis.launches.windows import parse_rollout, parse_window

    try:
        labels = tuple(dict.fromkeys(parse_window(words).label for words in windows or ()))
    except RideLogError as error:
        raise typer.BadParameter(str(error), param_hint="'--window'") from error
    try:
        rollout_m = parse_rollout(rollout) if rollout is not None else 0.0
    except RideLogError as error:
        raise typer.BadParameter(str(error), param_hint="'--rollout'") from error
    return replace(settings, windows=labels, rollout_m=rollout_m)
