"""The options about reverse travel that several commands share, and what they ask for."""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from ridelog.core.errors import RideLogError
from ridelog.core.units import SPEED_WORDS

if TYPE_CHECKING:
    from ridelog.analysis.reverse.marks import Mark
    from ridelog.analysis.settings import Settings
    from ridelog.core.track import Track

ReverseMarks = Annotated[
    list[str] | None,
    typer.Option(
        "--reverse",
        metavar="START/END",
        help="A stretch ridden backwards, by the clock in UTC (12:03:10/12:03:25) or in seconds "
        "since the first fix (83.5/98). May be given several times.",
        show_default=False,
    ),
]
NoReverse = Annotated[
    bool,
    typer.Option("--cannot-reverse", help="The machine has no reverse: everything is forward."),
]
ReverseCaution = Annotated[
    str,
    typer.Option(
        metavar="SPEED", help="Caution when it reverses faster than this, best second counted."
    ),
]
ReverseAlarm = Annotated[
    str, typer.Option(metavar="SPEED", help="Strong caution when it reverses faster than this.")
]
USUAL_CAUTION, USUAL_ALARM = "6 km/h", "10 km/h"
_SPEED = re.compile(r"(\d+(?:[.,]\d+)?)\s*([a-z/]+)", re.ASCII)


def reverse_settings(
    settings: "Settings",
    track: "Track",
    marks: Sequence[str] | None,
    cannot: bool,
    caution: str = USUAL_CAUTION,
    alarm: str = USUAL_ALARM,
) -> "Settings":
    """Return settings with what the options about reverse ask for.

    Raises
    ------
    typer.BadParameter
        If an option cannot be read, or they contradict each other.
    """
    from ridelog.analysis.reverse.marks import lay_marks

    caution_mps, alarm_mps = checked_limits(caution, alarm)
    return replace(
        settings,
        reverse_marks_s=lay_marks(track, checked_marks(marks, cannot)),
        has_reverse=False if cannot else settings.has_reverse,
        reverse_caution_mps=caution_mps,
        reverse_strong_mps=alarm_mps,
    )


def checked_marks(marks: Sequence[str] | None, cannot: bool) -> "list[Mark]":
    """Return the marks read from their words, before any work is done."""
    from ridelog.analysis.reverse.marks import read_mark

    if marks and cannot:
        raise typer.BadParameter(
            "a machine that cannot reverse has no reverse to mark: give one of the two.",
            param_hint="'--reverse' / '--cannot-reverse'",
        )
    try:
        return [read_mark(words) for words in marks or ()]
    except RideLogError as error:
        raise typer.BadParameter(str(error), param_hint="'--reverse'") from error


def checked_limits(caution: str, alarm: str) -> tuple[float, float]:
    """Return both limits. [m/s]"""
    limits = []
    for words, option in ((caution, "--reverse-caution"), (alarm, "--reverse-alarm")):
        found = _SPEED.fullmatch(words.strip().lower())
        if found is None or found[2] not in SPEED_WORDS or float(found[1].replace(",", ".")) <= 0:
            raise typer.BadParameter(
                f'"{words}" is no speed: write a number above 0 and one of '
                f'{", ".join(SPEED_WORDS)}, such as "{USUAL_CAUTION}".',
                param_hint=f"'{option}'",
            )
        limits.append(float(found[1].replace(",", ".")) * SPEED_WORDS[found[2]])
    if limits[1] < limits[0]:
        raise typer.BadParameter(
            f'the strong caution at "{alarm}" lies below the caution at "{caution}".',
            param_hint="'--reverse-alarm'",
        )
    return limits[0], limits[1]
