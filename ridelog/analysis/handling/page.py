"""The section about handling on the page of a ride."""

import math
from functools import partial

from ridelog.analysis.handling import Turn
from ridelog.analysis.handling.plot import loads_figure, weave_figure
from ridelog.analysis.handling.words import (
    handling_lead,
    lateral_words,
    margin_words,
    radius_words,
)
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import capital, count_words, elapsed_words, plain_speed

# More turns than this fill a page and tell nothing new.
_MOST_ROWS = 5
_WHAT_LATERAL_IS = (
    "Sideways acceleration is speed times the rate at which the course swings, over ground; its "
    "highest single reading would be too high by a fifth to a half and is not used."
)
_WHAT_WEAVE_IS = (
    "Weave is looked for between 0.8 and 3 swings a second on straights, in the velocities that "
    "the log itself holds; slower swings are steering. A receiver that smooths shows less than "
    "there is, and an antenna on the rider shows the rider. Ruts repeat by place: ride both ways "
    "before blaming the machine."
)


def handling_section(ride: MeasuredRide, unit: SpeedUnit) -> Section:
    """Return what the page says of handling; what is missing is said with its reason."""
    handling = ride["handling"]
    notes = []
    if handling.turns.turns:
        notes += [margin_words(handling, unit), _WHAT_LATERAL_IS]
        if handling.turns.radius_reason and handling.turns.max_lateral is not None:
            notes.append(f"Tightest turn: {handling.turns.radius_reason}.")
    corrections = handling.corrections
    if corrections.per_100m is not None:
        value = corrections.per_100m
        notes.append(
            f"On straights the course was corrected {value.value:.1f} times every 100 m "
            f"({value.low:.1f} to {value.high:.1f}), swings of 2 degrees and more counted."
        )
    elif handling.weave.classes:
        notes.append(f"{capital(corrections.reason)}.")
    if handling.weave.classes:
        notes.append(_WHAT_WEAVE_IS)
    return Section(
        name="handling",
        heading="Turns and straight running",
        lead=handling_lead(handling, unit),
        pictures=_pictures(ride, unit),
        table=_table(ride, unit),
        notes=tuple(notes),
    )


def _pictures(ride: MeasuredRide, unit: SpeedUnit) -> tuple[Picture, ...]:
    handling = ride["handling"]
    pictures = []
    if any(part.yaw_rate_rms for part in handling.weave.classes):
        onset = handling.weave.twitchy_from
        seen = "no onset" if onset is None else f"an onset at {plain_speed(onset.value, unit)}"
        label = f"Swinging from side to side (yaw rate, RMS) for each class of speed, with {seen}."
        pictures.append(draw_picture("weave", label, partial(weave_figure, handling.weave, unit)))
    measured = [turn for turn in handling.turns.turns if turn.lateral is not None]
    if measured:
        label = (
            f"Sideways acceleration of {count_words(len(measured), 'turn', 'turns')} against the "
            "speed in the turn, left and right."
        )
        pictures.append(draw_picture("turns", label, partial(loads_figure, handling, unit)))
    return tuple(pictures)


def _table(ride: MeasuredRide, unit: SpeedUnit) -> Table | None:
    turns = [turn for turn in ride["handling"].turns.turns if turn.lateral is not None]
    if not turns:
        return None
    hardest = sorted(turns, key=lambda turn: -turn.lateral.value if turn.lateral else 0.0)
    rows = tuple(
        _row(turn, unit) for turn in sorted(hardest[:_MOST_ROWS], key=lambda turn: turn.start_s)
    )
    return Table(("Hardest turns at", "Angle", "Speed", "Sideways", "Radius"), rows)


def _row(turn: Turn, unit: SpeedUnit) -> tuple[str, ...]:
    side = "right" if turn.angle_rad > 0 else "left"
    degrees = math.degrees(abs(turn.angle_rad))
    return (
        elapsed_words(turn.start_s),
        f"{degrees:.0f}° to the {side}",
        plain_speed(turn.speed_mps, unit),
        lateral_words(turn.lateral) if turn.lateral else "cannot be told",
        radius_words(turn.radius, unit) if turn.radius else "cannot be told",
    )
