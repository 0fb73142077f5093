"""What the terminal and the page say and show of reverse travel; without any, one sentence."""

from functools import partial

from ridelog.analysis.reverse.measure import Reverse, Segment
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.quantity import LENGTH, SPEED, plain, text_or_span
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import capital, count_words, duration_words, elapsed_words
from ridelog.present.words import joined as listed

# More stretches than this fill a page and tell nothing new.
_MOST_ROWS = 8
_STATE_WORDS = {
    "found": "backwards",
    "marked": "backwards, by your mark",
    "uncertain": "perhaps backwards",
}
_HOW = (
    "Satellites tell how fast and which way a machine moves, not where its nose points. Reverse is "
    "told by the course: after a stop it leads back the way the machine came, and no turn lies "
    "between. A machine turned round by hand looks the same.",
    "If you know when it went backwards, mark it and measure again; if it cannot go backwards, say "
    "so.",
)


def reverse_lines(ride: MeasuredRide, reader: SpeedUnit) -> tuple[tuple[str, str], ...]:
    """Return the line for the terminal, none if nothing went backwards."""
    reverse: Reverse = ride["reverse"]
    if reverse.top_speed_mps is not None:
        speed = text_or_span(reverse.top_speed_mps, SPEED, reader, ride["signal"].too_weak)
        return (("Reverse", f"{speed}, {_how_far(reverse, reader)}"),)
    if reverse.possible_spans:
        at = listed([elapsed_words(start) for start, _ in reverse.possible_spans[:3]])
        return (("Reverse", f"perhaps, at {at}: the log cannot settle it"),)
    return ()


def reverse_section(ride: MeasuredRide, reader: SpeedUnit) -> Section:
    """Return what the page says of reverse travel."""
    reverse: Reverse = ride["reverse"]
    notes = [f"At {elapsed_words(s.start_s)}: {s.evidence}" for s in reverse.segments[:_MOST_ROWS]]
    return Section(
        name="reverse",
        heading="Reverse",
        lead=_lead(ride, reader),
        pictures=_pictures(ride, reader),
        table=_table(reverse, reader),
        notes=() if ride.settings.has_reverse is False else (*notes, *_HOW),
    )


def _how_far(reverse: Reverse, reader: SpeedUnit) -> str:
    stretches = count_words(len(reverse.spans), "stretch", "stretches")
    return f"{plain(reverse.distance_m, LENGTH, reader, 0)} in {stretches}"


def _lead(ride: MeasuredRide, reader: SpeedUnit) -> str:
    reverse: Reverse = ride["reverse"]
    if reverse.state == "none":
        return f"No reverse: {reverse.reason}"
    possible = len(reverse.possible_spans)
    if reverse.state == "uncertain":
        return (
            f"{count_words(possible, 'stretch looks', 'stretches look')} like reverse, but the log "
            "cannot settle it, so no figure is given and the forward figures may hold some of it."
        )
    seconds = sum(end - start for start, end in reverse.spans)
    where = f"{_how_far(reverse, reader)}, {duration_words(seconds)} in all"
    words = f"It went backwards, {where}; how fast cannot be told."
    if reverse.top_speed_mps is not None:
        speed = text_or_span(reverse.top_speed_mps, SPEED, reader, ride["signal"].too_weak)
        words = f"Backwards it reached {speed} in its fastest second; {where}."
    if possible:
        more = capital(count_words(possible, "more stretch", "more stretches"))
        words += f" {more} may have been backwards too; the log cannot settle it."
    return words


def _pictures(ride: MeasuredRide, reader: SpeedUnit) -> tuple[Picture, ...]:
    segments: tuple[Segment, ...] = ride["reverse"].segments
    if not segments:
        return ()
    from ridelog.analysis.reverse.plot import reverse_figure

    # The fastest stretch, sure ones first.
    shown = max(
        segments,
        key=lambda s: (s.state != "uncertain", s.top_speed_mps.value if s.top_speed_mps else 0.0),
    )
    top = shown.top_speed_mps
    label = (
        f"Speed over time from {elapsed_words(shown.start_s)} to {elapsed_words(shown.end_s)}: "
        f"{'perhaps ' if shown.state == 'uncertain' else ''}backwards"
        f"{f' up to {plain(top.value, SPEED, reader)}' if top else ''}, drawn below the line."
    )
    return (draw_picture("reverse", label, partial(reverse_figure, ride, reader, shown=shown)),)


def _table(reverse: Reverse, reader: SpeedUnit) -> Table | None:
    if not reverse.segments:
        return None
    rows = tuple(
        (
            f"{elapsed_words(segment.start_s)} to {elapsed_words(segment.end_s)}",
            _STATE_WORDS[segment.state],
            plain(segment.distance_m, LENGTH, reader, 1),
            text_or_span(segment.top_speed_mps, SPEED, reader)
            if segment.top_speed_mps
            else "cannot be told",
        )
        for segment in reverse.segments[:_MOST_ROWS]
    )
    return Table(("When", "What", "Distance", "Fastest second"), rows)
