"""Braking in words: the line on the terminal and the section on the page."""

from functools import partial

from ridelog.analysis.braking.measure import Braking, Brakings
from ridelog.analysis.braking.stopping import StoppingDistance
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.quantity import ACCELERATION, LENGTH, SPEED, plain, text_or_span, value
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import count_words, elapsed_words

# More brakings than this fill a page and tell nothing new.
_MOST_ROWS = 8
# A stop counts as one from full speed if it begins at this share of it or above, as the eKFV Annex
# allows values of one test to differ by a tenth.
_FULL_SPEED = 0.9
_WHAT_IT_IS = (
    "Mean deceleration counts from the first touch of the brake to rest or release: (v1² - v2²) / "
    "(2 s) over the distance s, as the eKFV Annex (no. 2.2.4) takes it. With the brake fully "
    "applied is the same from 0.8 down to 0.1 of the speed at which braking began. A slope or the "
    "wind is part of every figure."
)


def braking_line(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return the line for the terminal: how hard, and how far to rest; empty without a braking."""
    brakings: Brakings = ride["braking"]
    mean, stop, hardest = brakings.mean_mps2, brakings.stopping, brakings.hardest
    told = partial(text_or_span, reader=reader, weak=ride["signal"].too_weak)
    words = []
    if mean is not None:
        count = len(brakings.stops_from_speed)
        stops = f"mean of {count} stops" if count > 1 else "one stop"
        words.append(f"{told(mean, ACCELERATION)}, {stops} from speed")
    elif hardest is not None:
        words.append(f"hardest {told(hardest.mean_decel_mps2, ACCELERATION)}")
    if stop is not None:
        far, speed = told(stop.stopping_distance_m, LENGTH), plain(stop.from_mps, SPEED, reader, 0)
        words.append(f"{far} from {speed} to rest with {stop.reaction_s:.2g} s reaction")
    return "; ".join(words)


def braking_section(ride: MeasuredRide, reader: SpeedUnit) -> Section:
    """Return what the page says of braking; without any, one sentence that says why."""
    brakings: Brakings = ride["braking"]
    stop, hardest = brakings.stopping, brakings.hardest
    notes = []
    if stop is not None and hardest is not None:
        notes += [_doubled(stop, reader), _compared(brakings, stop, hardest, reader)]
    if brakings.each:
        notes.append(_WHAT_IT_IS)
    if len(brakings.each) > _MOST_ROWS:
        gentler = len(brakings.each) - _MOST_ROWS
        notes.append(f"The table holds the {_MOST_ROWS} hardest; {gentler} more were gentler.")
    return Section(
        name="braking",
        heading="Braking",
        lead=_lead(ride, reader),
        pictures=_pictures(ride, reader),
        table=_table(brakings, reader, ride["signal"].too_weak),
        notes=tuple(notes),
    )


def _lead(ride: MeasuredRide, reader: SpeedUnit) -> str:
    brakings: Brakings = ride["braking"]
    stop, hardest = brakings.stopping, brakings.hardest
    if hardest is None:
        return f"No braking was measured: {brakings.reason}."
    count = count_words(len(brakings.each), "braking", "brakings")
    told = partial(text_or_span, reader=reader, weak=ride["signal"].too_weak)
    hard = told(hardest.mean_decel_mps2, ACCELERATION)
    held = f"The ride holds {count}; the hardest reached {hard}."
    if stop is None:
        return f"{held} None of them takes off enough speed to tell a stopping distance."
    return (
        f"From {plain(stop.from_mps, SPEED, reader)}, its fastest second, the machine needs "
        f"{told(stop.stopping_distance_m, LENGTH)} to stand, "
        f"{plain(stop.reaction_m, LENGTH, reader, 0)} of it while the rider reacts "
        f"({stop.reaction_s:.2g} s). {held}"
    )


def _doubled(stop: StoppingDistance, reader: SpeedUnit) -> str:
    """Return with numbers that twice the speed takes four times the distance under the brake."""
    half, full, double = (
        (plain(stop.under_brake_m(speed), LENGTH, reader), plain(speed, SPEED, reader))
        for speed in (share * stop.from_mps for share in (0.5, 1.0, 2.0))
    )
    return (
        f"Doubling the speed takes four times the distance under the brake: {half[0]} from "
        f"{half[1]}, {full[0]} from {full[1]}, and {double[0]} if it went {double[1]} with the "
        "same brakes."
    )


def _compared(
    brakings: Brakings, stop: StoppingDistance, hardest: Braking, reader: SpeedUnit
) -> str:
    """Return how the hardest braking compares with what road rules ask, and how they test it."""
    required, hard = stop.required, hardest.mean_decel_mps2.value
    least = (
        f"the {plain(required.least_mps2, ACCELERATION, reader, 1)} that road vehicles this fast "
        f"must reach ({required.source})"
    )
    if hard >= required.least_mps2:
        words = f"reached {least}"
    elif hard >= required.one_brake_mps2:
        words = f"stayed below {least}"
    else:
        alone = plain(required.one_brake_mps2, ACCELERATION, reader, 1)
        words = f"stayed below even the {alone} asked of one brake alone, far from {least}"
    fast = [one for one in brakings.stops if one.from_mps >= _FULL_SPEED * stop.from_mps]
    return (
        f"The hardest braking {words}. The eKFV Annex (no. 2.2) tests it with "
        f"{required.stops_asked} stops in a row from full speed, as hard as is safe; this ride "
        f"holds {count_words(len(fast), 'such stop', 'such stops')}. It is a comparison, no "
        "approval, and the log shows how hard the rider braked, not how hard the brakes could."
    )


def _pictures(ride: MeasuredRide, reader: SpeedUnit) -> tuple[Picture, ...]:
    from ridelog.analysis.braking.plot import stopping_figure

    stop: StoppingDistance | None = ride["braking"].stopping
    if stop is None:
        return ()
    label = (
        f"Stopping distance against speed: {value(stop.stopping_distance_m, LENGTH, reader)} from "
        f"{plain(stop.from_mps, SPEED, reader)}, with the stops of the ride as points."
    )
    return (draw_picture("braking", label, partial(stopping_figure, ride, reader)),)


def _table(brakings: Brakings, reader: SpeedUnit, weak: str) -> Table | None:
    if not brakings.each:
        return None
    hardest = sorted(brakings.each, key=lambda one: -one.mean_decel_mps2.value)[:_MOST_ROWS]
    rows = tuple(_row(one, reader, weak) for one in sorted(hardest, key=lambda one: one.start_s))
    return Table(("At", "Speed", "Distance", "Mean", "Brake fully applied"), rows)


def _row(one: Braking, reader: SpeedUnit, weak: str) -> tuple[str, ...]:
    rest = "rest" if one.is_stop else plain(one.to_mps, SPEED, reader)
    applied = one.developed_decel_mps2
    return (
        elapsed_words(one.start_s),
        f"{value(one.initial_speed_mps, SPEED, reader)} to {rest}",
        text_or_span(one.distance_m, LENGTH, reader, weak),
        text_or_span(one.mean_decel_mps2, ACCELERATION, reader, weak),
        text_or_span(applied, ACCELERATION, reader, weak) if applied else "not braked to rest",
    )
