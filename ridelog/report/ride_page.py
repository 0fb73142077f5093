"""One ride as one self-contained HTML page: no script, no network, no coordinates unless asked."""

from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import Any

from matplotlib.figure import Figure

from ridelog import __version__
from ridelog.analysis.ride import NOT_MEASURED, SUBJECTS
from ridelog.analysis.signal.measure import rate_words
from ridelog.analysis.signal.plot import signal_figure
from ridelog.analysis.signal.subject import gap_sentence, signal_label, signal_summary
from ridelog.analysis.subject import Caution, MeasuredRide
from ridelog.analysis.top_speed.plot import speed_figure
from ridelog.analysis.top_speed.plot_path import path_figure
from ridelog.analysis.top_speed.subject import (
    beside_the_headline,
    directions,
    headline,
    highest_reading,
    meaning,
    path_label,
    speed_label,
)
from ridelog.core.flags import FLAG_SENTENCES, Flag
from ridelog.core.quantity import for_reader, rough_span, span, value
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape
from ridelog.present.html import laid_out
from ridelog.present.json import as_json
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import (
    BRACKETS,
    FLAG_WORDS,
    capital,
    clean,
    clock_words,
    count_words,
    duration_words,
    elapsed_words,
    joined,
)
from ridelog.report.ride_json import ride_json, to_bytes

CONDITIONS_SOURCE = (
    "eKFV (Elektrokleinstfahrzeuge-Verordnung), Annex, no. 1.1 to 1.7: conditions of a speed test"
)


# What one acts on stands open on the page; the rest says its sentence and is unfolded on demand.
ACTED_ON = ("braking",)


class Sources:
    """The sources of a page in the order in which its sentences name them, each once."""

    def __init__(self) -> None:
        self.listed: dict[str, int] = {}

    def mark(self, source: str) -> int | None:
        """Return the number of a source in the list, None without one."""
        return self.listed.setdefault(source, len(self.listed) + 1) if source else None

    def told(self, caution: Caution, reader: SpeedUnit) -> dict[str, Any]:
        """Return a caution with the number of its source."""
        words, source = for_reader(caution.text, reader), caution.source
        return {"text": words, "source": source, "mark": self.mark(source)}


def ride_page(
    ride: MeasuredRide,
    pictures: tuple[Picture, ...],
    unit: SpeedUnit,
    *,
    sections: tuple[Section, ...] = (),
    show_coordinates: bool = False,
) -> str:
    """Return the page about one ride as HTML.

    Pictures and sections come from ``ride_pictures`` and ``ride_sections`` in the same unit; only
    if ``show_coordinates`` may the page tell where on earth the ride took place.
    """
    return page_of(
        page_words(ride, pictures, unit, sections=sections, show_coordinates=show_coordinates)
    )


def page_of(words: dict[str, Any]) -> str:
    """Return the page laid out from the record that ``page_words`` made."""
    return laid_out("ride.html", **words)


def page_words(
    ride: MeasuredRide,
    pictures: tuple[Picture, ...],
    unit: SpeedUnit,
    *,
    sections: tuple[Section, ...] = (),
    show_coordinates: bool = False,
) -> dict[str, Any]:
    """Return all that the page says, as words and drawings that any template can lay out.

    Arguments as for ``ride_page``. The record holds nothing but what JSON can hold; its
    ``wide_svg`` and ``narrow_svg`` are markup, everything else is bare text to be escaped.
    """
    source, signal, first = ride.source, ride["signal"], headline(ride)
    best = first.estimate
    sources = Sources()
    said = {
        "particular": [
            sources.told(caution, unit)
            for caution in ride.cautions
            if not caution.general and caution.code != "weak_signal"
        ],
        "general": [sources.told(caution, unit) for caution in ride.cautions if caution.general],
        "conditions_mark": sources.mark(CONDITIONS_SOURCE),
    }
    return {
        **said,
        "sources": list(sources.listed),
        "title": f"Test ride {clean(source.file)}",
        "file": clean(source.file),
        "when": clock_words(source.start_utc, source.end_utc),
        "duration": duration_words(source.duration_s),
        "rate": rate_words(source.rate_hz),
        "value": value(best, first.quantity, unit) if best and not first.doubt else "",
        "bounds": (rough_span if first.weak else span)(best, first.quantity, unit) if best else "",
        "unit": unit.label,
        "brackets": BRACKETS if best else "",
        "meaning": meaning(ride, unit),
        "verdict": signal.verdict,
        "warnings": [clean(warning) for warning in ride.warnings],
        "rows": _rows(ride, unit),
        "pictures": [_section(picture, ride) for picture in pictures],
        "sections": [_added(section) for section in sections],
        "flags": [
            {"name": FLAG_WORDS[flag], "count": f"{count:,}", "words": FLAG_SENTENCES[flag]}
            for flag, count in ((Flag[name], count) for name, count in signal.counts.items())
        ],
        "cannot": list(signal.cannot_support),
        "not_measured": (
            f"{capital(joined(list(NOT_MEASURED)))}. The figures hold for this ride as it was "
            "ridden; another day, rider or charge can move them by more than the brackets say."
        ),
        "history": [clean(line) for line in ride.history],
        "version": __version__,
        "format": source.format,
        "fixes": count_words(source.fixes_read, "fix", "fixes"),
        "origin": [f"{value:.6f}" for value in ride.motion.origin_deg]
        if show_coordinates
        else None,
        "sha256": source.sha256,
    }


def _rows(ride: MeasuredRide, unit: SpeedUnit) -> list[dict[str, Any]]:
    """Return the figures of speed that stand beside the headline, and the highest reading."""
    rows = []
    if ride["top_speed"].best_1s_mps is not None:
        for figure in beside_the_headline(ride):
            why = figure.reason or figure.doubt or figure.explained
            if figure.name == "two_way_mps" and figure.firm:
                why += f": {directions(ride, unit)}"
            rows.append(_row(capital(figure.title_in(unit)), figure.words_in(unit), why))
    if (reading := highest_reading(ride, unit)) is not None:
        rows.append(_row("Highest reading", *reading))
    return rows


def _row(name: str, value: str, why: str) -> dict[str, Any]:
    return {"name": name, "value": value, "words": f"{capital(why)}.", "short": len(value) < 32}


def _svgs(picture: Picture) -> dict[str, Any]:
    return {name: getattr(picture, name) for name in ("name", "wide_svg", "narrow_svg")}


def _added(section: Section) -> dict[str, Any]:
    bare = as_json(replace(section, pictures=()))
    return {
        **bare,
        "acted_on": section.name in ACTED_ON,
        "pictures": [_svgs(picture) for picture in section.pictures],
    }


def _section(picture: Picture, ride: MeasuredRide) -> dict[str, Any]:
    heading, words, caption = {
        "speed": (
            "Speed over time",
            "The line is the speed that fits all fixes together. Nothing is taken from shaded "
            "stretches for the reason named on them, except that a lone jump is bridged by its "
            "neighbours.",
            "The strip above a ride that is short enough tells how the machine moved; rolling "
            "freely looks like coasting, whatever the throttle did. The thick marks are the "
            "seconds behind the top speed, the diamond or triangle is the highest single reading.",
        ),
        "path": (
            "Where it was ridden",
            "Local metres only: the picture does not tell where on earth it lies.",
            "Arrows stand to the right of the path in the direction of travel.",
        ),
        "signal": (
            "The signal",
            f"{capital(signal_summary(ride['signal']))}." + f" {gap_sentence(ride['signal'])}",
            "Each bar is a stretch of fixes that carry the flag, with their number.",
        ),
    }[picture.name]
    return {**_svgs(picture), "heading": heading, "words": words, "caption": caption}


NAMES = ("speed", "path", "signal")


def ride_pictures(
    ride: MeasuredRide, unit: SpeedUnit, names: tuple[str, ...] = NAMES
) -> tuple[Picture, ...]:
    """Return speed, path and signal of a ride, or some of them; equal rides give equal bytes."""
    drawings: dict[str, tuple[str, Callable[[Shape], Figure]]] = {
        "speed": (speed_label(ride, unit), partial(speed_figure, ride, unit)),
        "path": (path_label(ride, unit), partial(path_figure, ride, unit)),
        "signal": (signal_label(ride["signal"]), partial(signal_figure, ride)),
    }
    return tuple(draw_picture(name, *drawings[name]) for name in NAMES if name in names)


def ride_sections(ride: MeasuredRide, unit: SpeedUnit) -> tuple[Section, ...]:
    """Return what every subject adds to the page of a ride."""
    sections = tuple(section for subject in SUBJECTS for section in subject.sections(ride, unit))
    return (*_modes(ride, unit), *sections)


def _modes(ride: MeasuredRide, unit: SpeedUnit) -> tuple[Section, ...]:
    """Return each drive mode's own figures beside each other, nothing where none was named."""
    if not ride.modes:
        return ()
    sides = [mode.ride.figures for mode in ride.modes]
    names = dict.fromkeys(
        name
        for side in sides
        for name, one in side.items()
        if one.comparable is not None and one.round_in in ("", unit.label)
    )
    rows = []
    for name in names:
        held = [side.get(name) for side in sides]
        title = next(one.short_in(unit) for one in held if one is not None)
        if any(one is not None and one.estimate is not None for one in held):
            cells = ["–" if one is None else one.words_in(unit) for one in held]
            rows.append((title, *cells))
    dashes = "A dash: that mode was measured at other speeds, which suit its own top speed."
    spans = joined(
        [
            f"{clean(mode.name)} {elapsed_words(a)} to {elapsed_words(b)}"
            for mode in ride.modes
            for a, b in mode.spans
        ]
    )
    return (
        Section(
            name="modes",
            heading="Drive modes",
            lead="Each mode's own figures, from its stretches alone.",
            table=Table(("Figure", *(clean(mode.name) for mode in ride.modes)), tuple(rows)),
            notes=(
                f"Stretches named: {spans}, minutes and seconds since the first fix.",
                *([dashes] if any("–" in row for row in rows) else []),
            ),
        ),
    )


def ride_files(
    ride: MeasuredRide, unit: SpeedUnit, *, show_coordinates: bool = False
) -> dict[str, bytes]:
    """Return every file about a ride.

    Only if ``show_coordinates`` may the page tell where on earth the ride took place.
    """
    pictures = ride_pictures(ride, unit)
    sections = ride_sections(ride, unit)
    page = ride_page(ride, pictures, unit, sections=sections, show_coordinates=show_coordinates)
    drawn = (*pictures, *(picture for section in sections for picture in section.pictures))
    return {
        "ride.html": page.encode("utf-8", errors="replace"),
        **{f"{picture.name}.png": picture.png for picture in drawn},
        "result.json": to_bytes(ride_json(ride)),
    }
