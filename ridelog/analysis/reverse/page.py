"""The section about reverse travel on the page of a ride."""

from functools import partial

from ridelog.analysis.reverse import Reverse, Segment
from ridelog.analysis.reverse.plot import reverse_figure
from ridelog.analysis.reverse.words import reverse_lines, reverse_way
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import (
    bounds_words,
    capital,
    count_words,
    duration_words,
    elapsed_words,
    plain_speed,
    speed_words,
)

# More stretches than this fill a page and tell nothing new.
_MOST_ROWS = 8
_STATE_WORDS = {
    "found": "backwards",
    "marked": "backwards, by your mark",
    "uncertain": "perhaps backwards",
}
_HOW_IT_IS_TOLD = (
    "Satellites tell how fast and which way a machine moves, not where its nose points. Reverse is "
    "told by the course: after a stop it leads back the way the machine came, and no turn lies "
    "between. A machine turned round by hand looks the same."
)
_HOW_TO_MARK = (
    "If you know when it went backwards, mark it and measure again; if it cannot go backwards, say "
    "so."
)


def reverse_section(ride: MeasuredRide, unit: SpeedUnit) -> Section:
    """Return what the page says of reverse travel; without any, one sentence and no picture."""
    reverse = ride["reverse"]
    notes: tuple[str, ...] = ()
    if reverse.state == "none":
        notes = () if ride.settings.has_reverse is False else (_HOW_IT_IS_TOLD, _HOW_TO_MARK)
    else:
        notes = (
            *(_evidence(segment) for segment in reverse.segments[:_MOST_ROWS]),
            _HOW_IT_IS_TOLD,
            _HOW_TO_MARK,
        )
    return Section(
        name="reverse",
        heading="Reverse",
        lead=_lead(ride, unit),
        pictures=_pictures(ride, unit),
        table=_table(reverse, unit),
        notes=notes,
        lines=reverse_lines(reverse, unit),
    )


def _lead(ride: MeasuredRide, unit: SpeedUnit) -> str:
    reverse = ride["reverse"]
    if reverse.state == "none":
        return f"No reverse: {reverse.reason}"
    possible = len(reverse.possible_spans)
    more = (
        f" {capital(count_words(possible, 'more stretch', 'more stretches'))} may have been "
        "backwards too; the log cannot settle it."
        if possible
        else ""
    )
    if reverse.state == "uncertain":
        return (
            f"{count_words(possible, 'stretch looks', 'stretches look')} like reverse, but the log "
            "cannot settle it, so no figure is given and the forward figures may hold some of it."
        )
    stretches = count_words(len(reverse.spans), "stretch", "stretches")
    seconds = sum(end - start for start, end in reverse.spans)
    where = f"{reverse_way(reverse, unit)} in {stretches}, {duration_words(seconds)} in all"
    if reverse.top_speed is None:
        return f"It went backwards, {where}; how fast cannot be told.{more}"
    low, high = bounds_words(reverse.top_speed, unit)
    return (
        f"Backwards it reached {speed_words(reverse.top_speed, unit)} (best second; between {low} "
        f"and {high} {unit.label} in 9 rides of 10), {where}.{more}"
    )


def _pictures(ride: MeasuredRide, unit: SpeedUnit) -> tuple[Picture, ...]:
    shown = _shown(ride["reverse"])
    if shown is None:
        return ()
    fast = f" up to {plain_speed(shown.top_speed.value, unit)}" if shown.top_speed else ""
    label = (
        f"Speed over time from {shown.start_s:.0f} to {shown.end_s:.0f} s: "
        f"{'perhaps ' if shown.state == 'uncertain' else ''}backwards{fast}, drawn below the line."
    )
    figure_of = partial(reverse_figure, ride, unit, shown=shown)
    return (draw_picture("reverse", label, figure_of),)


def _shown(reverse: Reverse) -> Segment | None:
    """Return the stretch worth a picture: the fastest one, sure ones first."""
    if not reverse.segments:
        return None
    return max(
        reverse.segments,
        key=lambda s: (s.state != "uncertain", s.top_speed.value if s.top_speed else 0.0),
    )


def _table(reverse: Reverse, unit: SpeedUnit) -> Table | None:
    if not reverse.segments:
        return None
    rows = tuple(
        (
            f"{elapsed_words(segment.start_s)} to {elapsed_words(segment.end_s)}",
            _STATE_WORDS[segment.state],
            f"{unit.from_metres(segment.distance_m):.1f} {unit.distance_label}",
            _with_bounds(segment, unit),
        )
        for segment in reverse.segments[:_MOST_ROWS]
    )
    return Table(("When", "What", "Way", "Best second"), rows)


def _with_bounds(segment: Segment, unit: SpeedUnit) -> str:
    if segment.top_speed is None:
        return "cannot be told"
    low, high = bounds_words(segment.top_speed, unit)
    return f"{speed_words(segment.top_speed, unit)} ({low} to {high})"


def _evidence(segment: Segment) -> str:
    return f"At {elapsed_words(segment.start_s)}: {segment.evidence}"
