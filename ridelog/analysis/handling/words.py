"""Handling in words: for the page, the terminal and the labels of pictures."""

import math

from ridelog.analysis.handling import Handling
from ridelog.analysis.handling.weave import Weave
from ridelog.core.estimate import Estimate
from ridelog.core.units import STANDARD_GRAVITY_MPS2, SpeedUnit
from ridelog.present.words import bounds_words, plain_speed, speed_words


def lateral_words(lateral: Estimate) -> str:
    """Return a lateral acceleration with its bounds, such as "4.4 m/s² (4.3 to 4.5)"."""
    places = 2 if lateral.high - lateral.low < 0.15 else 1
    value, low, high = (f"{x:.{places}f}" for x in (lateral.value, lateral.low, lateral.high))
    return f"{value} m/s² ({low} to {high})"


def radius_words(radius: Estimate, unit: SpeedUnit) -> str:
    """Return a radius with its bounds in metres or feet, such as "3.1 m (3.0 to 3.3)"."""
    value, low, high = (unit.from_metres(x) for x in (radius.value, radius.low, radius.high))
    places = 1 if high < 100.0 else 0
    return f"{value:.{places}f} {unit.distance_label} ({low:.{places}f} to {high:.{places}f})"


def rate_words(rate: Estimate) -> str:
    """Return a yaw-rate RMS with its bounds in degrees a second, which hands and eyes know."""
    value, low, high = (math.degrees(x) for x in (rate.value, rate.low, rate.high))
    return f"{value:.1f} °/s ({low:.1f} to {high:.1f})"


def weave_lead(weave: Weave, unit: SpeedUnit) -> str:
    """Return in a sentence whether and from where the machine weaves."""
    onset = weave.twitchy_from
    if onset is None or weave.rms is None or weave.frequency_hz is None:
        return f"Weave: {weave.reason}."
    low, high = bounds_words(onset, unit)
    if weave.or_below:
        where = f"at {plain_speed(onset.high, unit)} or below already"
    else:
        where = (
            f"from {speed_words(onset, unit)} on (between {low} and {high} {unit.label} in 9 rides "
            "of 10)"
        )
    return (
        f"It swings from side to side {where}, about {weave.frequency_hz:.1f} times a second; at "
        f"its fastest by {math.degrees(weave.rms.value):.0f} degrees a second (RMS of yaw rate)."
    )


def handling_lead(handling: Handling, unit: SpeedUnit) -> str:
    """Return the answer first: weave, then the hardest turn."""
    turns = handling.turns
    if turns.max_lateral is None:
        hardest = f"The hardest turn cannot be told: {turns.reason}."
    else:
        share = turns.max_lateral.value / STANDARD_GRAVITY_MPS2
        seconds = "second" if turns.window_s == 1.0 else f"{turns.window_s:.0f} seconds"
        hardest = (
            f"The hardest turn reached {lateral_words(turns.max_lateral)} sideways, {share:.2f} g, "
            f"as the mean of its best {seconds}."
        )
    return f"{weave_lead(handling.weave, unit)} {hardest}"


def margin_words(handling: Handling, unit: SpeedUnit) -> str:
    """Return what a turn used of the tip-over threshold, or how to get to know it."""
    margin = handling.tip_over
    if margin is None:
        return (
            "Say the track width and the height of the centre of gravity, and turns are held "
            "against the tip-over threshold."
        )
    words = (
        f"Width and height give a stability factor of {margin.stability_factor:.2f}: rigid, it "
        f"tips at {margin.rigid_mps2:.1f} m/s²; {margin.tilt_mps2:.1f} m/s² is the safer figure "
        "(15 % less, as tilt tables show)."
    )
    if margin.used is not None:
        words += f" The hardest turn used {100.0 * margin.used.value:.0f} % of that."
    if margin.speed_mps is not None:
        words += f" The tightest turn would reach it at {plain_speed(margin.speed_mps, unit)}."
    return words + " Advisory only: lean, suspension, tyres, slope and ruts move it."


def handling_lines(handling: Handling, unit: SpeedUnit) -> tuple[tuple[str, str], ...]:
    """Return at most one line for the terminal: where it weaves, and the hardest turn."""
    words = []
    weave = handling.weave
    if weave.twitchy_from is not None:
        if weave.or_below:
            words.append(f"weaves at {plain_speed(weave.twitchy_from.high, unit, 0)} or below")
        else:
            words.append(f"weaves from {plain_speed(weave.twitchy_from.value, unit)} on")
    if handling.turns.max_lateral is not None:
        words.append(f"hardest turn {handling.turns.max_lateral.value:.1f} m/s² sideways")
    return (("Handling", "; ".join(words)),) if words else ()
