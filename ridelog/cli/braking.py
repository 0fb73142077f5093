"""The options about stopping and about an advised speed, and what they ask for."""

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from ridelog.core.units import SPEED_WORDS

if TYPE_CHECKING:
    from ridelog.analysis.settings import Settings

# Longer than this nobody takes to touch a brake; sources give 0.67 to 2.5 s.
_LONGEST_S = 5.0
USUAL_REACTION_S = 1.0
Reaction = Annotated[
    float,
    typer.Option(
        "--reaction",
        metavar="SECONDS",
        help="Time until the rider touches the brake, for the stopping distance.",
    ),
]
AdvisedSpeed = Annotated[
    str | None,
    typer.Option(
        metavar="SPEED",
        help='Caution when the top speed is above this, such as "24 km/h" for a young rider.',
        show_default=False,
    ),
]
_SPEED = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z/]+)", re.ASCII)


def checked_reaction(seconds: float) -> float:
    """Return a reaction time that can be. [s]

    Raises
    ------
    typer.BadParameter
        If it is negative or longer than anybody takes.
    """
    if not 0.0 <= seconds <= _LONGEST_S:
        raise typer.BadParameter(
            f"{seconds:g} s is no reaction time: give 0 to {_LONGEST_S:g} seconds.",
            param_hint="'--reaction'",
        )
    return seconds


def checked_advised(words: str | None) -> float | None:
    """Return an advised speed read from its words, None if none was given. [m/s]

    Raises
    ------
    typer.BadParameter
        If they are no speed.
    """
    if words is None:
        return None
    found = _SPEED.fullmatch(words.strip().lower())
    if found is None or found[2] not in SPEED_WORDS or float(found[1].replace(",", ".")) <= 0:
        raise typer.BadParameter(
            f'"{words}" is no speed: write a number above 0 and one of '
            f'{", ".join(SPEED_WORDS)}, such as "24 km/h".',
            param_hint="'--advised-speed'",
        )
    return float(found[1].replace(",", ".")) * SPEED_WORDS[found[2]]


def braking_settings(settings: "Settings", reaction: float, advised: str | None) -> "Settings":
    """Return settings with what these options ask for."""
    return replace(
        settings, reaction_s=checked_reaction(reaction), advised_mps=checked_advised(advised)
    )
