"""What the terminal and the page say and show of handling; what is missing is said with its reason.

Two pictures: weave by speed, and the sideways acceleration of turns.
"""

import math
from functools import partial

from ridelog.analysis.handling.band import LOW_HZ, top_of_band_hz
from ridelog.analysis.handling.measure import Handling, TipOver
from ridelog.analysis.handling.subject import best_seconds
from ridelog.analysis.handling.turns import Turn
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import (
    LENGTH,
    SPEED,
    TURN_LOAD,
    YAW_RATE,
    Quantity,
    number,
    plain,
    text_or_span,
)
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import capital, count_words, elapsed_words

# More turns than this fill a page and tell nothing new; fewer than this make no picture.
_MOST_ROWS, _LEAST_DRAWN = 5, 3
_SHARE = Quantity("share", "1", 0, lambda reader: ("%", 0.01))
_CORRECTIONS = Quantity(
    "steering corrections", "1/100 m", 1,
    lambda reader: (f"times every 100 {reader.distance_label}", 1.0 / reader.metres_per_distance),
)  # fmt: skip
_NO_DIMENSIONS = (
    "Say the track width and the height of the centre of gravity, and turns are held against the "
    "tip-over threshold."
)


def handling_lines(ride: MeasuredRide, reader: SpeedUnit) -> tuple[tuple[str, str], ...]:
    """Return at most one line for the terminal: where it weaves, and the hardest turn."""
    handling: Handling = ride["handling"]
    words = []
    if handling.weave_onset_mps is not None:
        words.append(f"weaves {_from_where(ride, reader)}")
    if handling.max_lateral_accel_mps2 is not None:
        hardest = text_or_span(
            handling.max_lateral_accel_mps2, TURN_LOAD, reader, ride["signal"].too_weak
        )
        words.append(f"hardest turn {hardest} sideways")
    return (("Handling", "; ".join(words)),) if words else ()


def handling_section(ride: MeasuredRide, reader: SpeedUnit) -> Section:
    """Return what the page says of handling."""
    handling: Handling = ride["handling"]
    notes = []
    if handling.turns:
        notes += [
            _NO_DIMENSIONS if handling.tip_over is None else _margin(handling.tip_over, reader),
            "Sideways acceleration is speed times the rate at which the course swings, over "
            f"ground, as the mean of the turn's best {best_seconds(handling)}; single readings "
            "scatter above it and are not used.",
        ]
        if handling.radius_reason and handling.max_lateral_accel_mps2 is not None:
            notes.append(f"Tightest turn: {handling.radius_reason}.")
    corrections = handling.steering_corrections_per_100m
    if corrections is not None:
        often = text_or_span(corrections, _CORRECTIONS, reader)
        notes.append(
            f"On straights the course was corrected {often}, swings of 2 degrees and more counted."
        )
    elif handling.weave:
        notes.append(f"{capital(handling.steering_reason)}.")
    if handling.weave:
        notes.append(
            f"Weave is looked for between {LOW_HZ:g} and "
            f"{top_of_band_hz(ride.motion.rate_hz):.2g} swings a second on straights, in the "
            "velocities that the log itself holds; slower swings are steering. A receiver that "
            "smooths shows less than there is, and an antenna on the rider shows the rider. Ruts "
            "repeat by place: ride both ways before blaming the machine."
        )
    return Section(
        name="handling",
        heading="Turns and straight running",
        lead=f"{_weave(ride, reader)} {_hardest(ride, reader)}",
        pictures=_pictures(handling, reader),
        table=_table(handling, reader),
        notes=tuple(notes),
    )


def _from_where(ride: MeasuredRide, reader: SpeedUnit) -> str:
    handling: Handling = ride["handling"]
    onset = handling.weave_onset_mps
    assert onset is not None  # asked for only where it weaves
    if handling.weave_or_below:
        return f"at {plain(onset.high, SPEED, reader)} or below already"
    return f"from {text_or_span(onset, SPEED, reader, ride['signal'].too_weak)} on"


def _weave(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return in a sentence whether and from where the machine weaves."""
    handling: Handling = ride["handling"]
    if handling.weave_rms_radps is None or handling.weave_frequency_hz is None:
        return f"Weave: {handling.weave_reason}."
    return (
        f"It swings from side to side {_from_where(ride, reader)}, about "
        f"{number(handling.weave_frequency_hz, 1)} times a second; at its fastest by "
        f"{text_or_span(handling.weave_rms_radps, YAW_RATE, reader)}, RMS of yaw rate."
    )


def _hardest(ride: MeasuredRide, reader: SpeedUnit) -> str:
    handling: Handling = ride["handling"]
    lateral = handling.max_lateral_accel_mps2
    if lateral is None:
        return f"The hardest turn cannot be told: {handling.lateral_reason}."
    weak = ride["signal"].too_weak
    return (
        f"The hardest turn reached {text_or_span(lateral, TURN_LOAD, reader, weak)} sideways, "
        f"as the mean of its best {best_seconds(handling)}."
    )


def _margin(margin: TipOver, reader: SpeedUnit) -> str:
    """Return what a turn used of the tip-over threshold."""
    rigid, safer = (
        plain(limit, TURN_LOAD, reader, 2)
        for limit in (margin.rigid_threshold_mps2, margin.tilt_threshold_mps2)
    )
    words = (
        f"Width and height give a stability factor of {number(margin.stability_factor, 2)}: rigid, "
        f"it tips at {rigid} sideways; {safer} is "
        "the safer figure (15 % less, as tilt tables show)."
    )
    if margin.share_used is not None:
        share = text_or_span(margin.share_used, _SHARE, reader)
        words += f" The hardest turn reached {share} of it."
    if margin.tipping_speed_mps is not None:
        speed = plain(margin.tipping_speed_mps, SPEED, reader, 0)
        words += f" The tightest turn would reach it at {speed}."
    return words + " Advisory only: lean, suspension, tyres, slope and ruts move it."


def _measured(handling: Handling) -> list[tuple[Turn, Estimate]]:
    """Return the turns that have a figure, with it."""
    return [(turn, turn.lateral_accel_mps2) for turn in handling.turns if turn.lateral_accel_mps2]


def _pictures(handling: Handling, reader: SpeedUnit) -> tuple[Picture, ...]:
    from ridelog.analysis.handling.plot import turns_figure, weave_figure

    pictures = []
    if any(part.yaw_rate_rms_radps for part in handling.weave):
        onset = handling.weave_onset_mps
        seen = f"an onset at {plain(onset.value, SPEED, reader)}" if onset else "no onset"
        label = f"Swinging from side to side (yaw rate, RMS) for each class of speed, with {seen}."
        pictures.append(draw_picture("weave", label, partial(weave_figure, handling, reader)))
    turns = _measured(handling)
    if len(turns) >= _LEAST_DRAWN:
        counted = count_words(len(turns), "turn", "turns")
        label = f"Sideways acceleration of {counted} in the order of the ride, left and right."
        drawn = partial(turns_figure, turns, handling, reader)
        pictures.append(draw_picture("turns", label, drawn))
    return tuple(pictures)


def _table(handling: Handling, reader: SpeedUnit) -> Table | None:
    hardest = sorted(_measured(handling), key=lambda pair: -pair[1].value)[:_MOST_ROWS]
    if not hardest:
        return None
    rows = tuple(
        (
            elapsed_words(turn.start_s),
            f"{number(math.degrees(abs(turn.angle_rad)), 0)}° to the "
            f"{'right' if turn.angle_rad > 0 else 'left'}",
            plain(turn.speed_mps, SPEED, reader),
            text_or_span(lateral, TURN_LOAD, reader),
            text_or_span(turn.radius_m, LENGTH, reader) if turn.radius_m else "cannot be told",
        )
        for turn, lateral in sorted(hardest, key=lambda pair: pair[0].start_s)
    )
    return Table(("Hardest turns at", "Angle", "Speed", "Sideways", "Radius"), rows)
