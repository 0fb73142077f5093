"""The section about braking on the page of a ride."""

from functools import partial

from ridelog.analysis.braking.measure import Braking
from ridelog.analysis.braking.plot import stopping_figure
from ridelog.analysis.braking.words import (
    braking_lead,
    braking_lines,
    decel_words,
    quadruple_words,
    way_words,
    yardstick_words,
)
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import elapsed_words, plain_speed, speed_words

# More brakings than this fill a page and tell nothing new.
_MOST_ROWS = 8
_WHAT_IT_IS = (
    "Mean deceleration is v² / (2 s), from the first touch of the brake to rest (eKFV Annex, "
    "no. 2.2.4); what rolls on counts (v1² - v2²) / (2 s). Fully developed is the same between 0.8 "
    "and 0.1 of the initial speed, when the brake has built up (the shares are from memory). A "
    "slope or the wind is part of every figure."
)


def braking_section(ride: MeasuredRide, unit: SpeedUnit) -> Section:
    """Return what the page says of braking; without any, one sentence that says why."""
    brakings, stop = ride["braking"], ride["braking"].stopping
    notes: list[str] = []
    if stop is not None:
        notes += [quadruple_words(stop, unit), yardstick_words(brakings, stop)]
    if brakings.each:
        notes.append(_WHAT_IT_IS)
        left_out = len(brakings.each) - _MOST_ROWS
        if left_out > 0:
            notes.append(f"The table holds the {_MOST_ROWS} hardest; {left_out} more were gentler.")
    return Section(
        name="braking",
        heading="Braking",
        lead=braking_lead(brakings, stop, unit),
        pictures=_pictures(ride, unit),
        table=_table(ride, unit),
        notes=tuple(notes),
        lines=braking_lines(brakings, stop, unit),
    )


def _pictures(ride: MeasuredRide, unit: SpeedUnit) -> tuple[Picture, ...]:
    stop = ride["braking"].stopping
    if stop is None:
        return ()
    whole = unit.from_metres(stop.whole.value)
    label = (
        f"Stopping distance against speed: {whole:.0f} {unit.distance_label} from "
        f"{plain_speed(stop.from_mps, unit)}, with the brakings of the ride as points."
    )
    figure_of = partial(stopping_figure, ride, unit)
    return (draw_picture("braking", label, figure_of),)


def _table(ride: MeasuredRide, unit: SpeedUnit) -> Table | None:
    each = ride["braking"].each
    if not each:
        return None
    hardest = sorted(each, key=lambda one: -one.mean_decel.value)[:_MOST_ROWS]
    rows = tuple(_row(one, unit) for one in sorted(hardest, key=lambda one: one.start_s))
    return Table(("At", "Speed", "Way", "Mean", "Fully developed"), rows)


def _row(one: Braking, unit: SpeedUnit) -> tuple[str, ...]:
    rest = "rest" if one.is_stop else plain_speed(one.to_mps, unit)
    developed = one.developed_decel
    return (
        elapsed_words(one.start_s),
        f"{speed_words(one.initial_speed, unit)} to {rest}",
        way_words(one.distance, unit),
        decel_words(one.mean_decel),
        decel_words(developed) if developed else "not braked to rest",
    )
