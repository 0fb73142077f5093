"""One ride as one self-contained HTML page: no script, no network, no coordinates unless asked."""

from typing import Any

from ridelog import __version__
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.flags import FLAG_SENTENCES, Flag
from ridelog.core.units import SpeedUnit
from ridelog.present.html import laid_out
from ridelog.present.section import Picture, Section
from ridelog.present.words import (
    FLAG_WORDS,
    bounds_words,
    capital,
    clean,
    clock_words,
    count_words,
    course_words,
    duration_words,
    joined,
    speed_words,
)
from ridelog.report.sentences import (
    gap_sentence,
    meaning,
    not_measured,
    rate_words,
    raw_peak_words,
    signal_summary,
    why_not_the_peak,
)

_HEADINGS = {"speed": "Speed over time", "path": "Where it was ridden", "signal": "The signal"}


def ride_page(
    ride: MeasuredRide,
    pictures: tuple[Picture, ...],
    unit: SpeedUnit,
    *,
    sections: tuple[Section, ...] = (),
    show_coordinates: bool = False,
) -> str:
    """Return the page about one ride as HTML.

    Parameters
    ----------
    motion : Motion
        The smoothed ride.
    ride : MeasuredRide
        Its figures.
    pictures : tuple of Picture
        From ``ride_pictures`` in the same unit.
    unit : SpeedUnit
        In which speeds and lengths are given.
    sections : tuple of Section
        What the analyses add, shown between the picture of speed and that of the path.
    show_coordinates : bool
        Whether the page may tell where on earth the ride took place.
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
    best, source, signal = ride["top_speed"].best_1s_mps, ride.source, ride["signal"]
    low, high = bounds_words(best, unit) if best else ("", "")
    return {
        "title": f"Test ride {clean(source.file)}",
        "file": clean(source.file),
        "when": clock_words(source.start_utc, source.end_utc),
        "duration": duration_words(source.duration_s),
        "rate": rate_words(source.rate_hz),
        "value": speed_words(best, unit) if best else "",
        "low": low,
        "high": high,
        "unit": unit.label,
        "meaning": meaning(ride),
        "verdict": signal.verdict,
        "particular": [
            {"text": caution.text, "source": caution.source}
            for caution in ride.cautions
            if not caution.general and caution.code != "weak_signal"
        ],
        "general": [
            {"text": caution.text, "source": caution.source}
            for caution in ride.cautions
            if caution.general
        ],
        "warnings": [clean(warning) for warning in ride.warnings],
        "rows": _rows(ride, unit),
        "pictures": [_section(picture, ride) for picture in pictures],
        "sections": [_added(section) for section in sections],
        "flags": [
            {"name": FLAG_WORDS[flag], "count": f"{count:,}", "words": FLAG_SENTENCES[flag]}
            for flag, count in ((Flag[name], count) for name, count in signal.counts.items())
        ],
        "cannot": list(signal.cannot_support),
        "not_measured": not_measured(),
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
    top = ride["top_speed"]
    rows = []
    if top.best_5s_mps is None:
        rows.append(_row("Best five seconds", "none", "No five seconds in a row carry a figure."))
    else:
        rows.append(
            _row(
                "Best five seconds",
                _with_bounds(top.best_5s_mps, unit),
                "What the machine holds, not only touches: the highest mean over five seconds.",
            )
        )
    if top.two_way_mps is None:
        why = f"{capital(top.reason or 'no two opposite runs were found')}."
        rows.append(_row("Both directions", "none", why))
    else:
        runs = joined(
            [f"{speed_words(run.speed, unit)} {course_words(run.course_deg)}" for run in top.runs]
        )
        rows.append(
            _row(
                "Both directions",
                _with_bounds(top.two_way_mps, unit),
                f"Mean of the best second each way ({runs}): wind and slope cancel in part.",
            )
        )
    if top.raw_peak_mps == top.raw_peak_mps:
        rows.append(
            _row(
                "Highest reading",
                raw_peak_words(ride, unit),
                f"Not the figure: {why_not_the_peak(ride, unit)}",
            )
        )
    return rows


def _row(name: str, value: str, words: str) -> dict[str, Any]:
    return {"name": name, "value": value, "words": words, "short": len(value) < 32}


def _with_bounds(estimate: Any, unit: SpeedUnit) -> str:
    low, high = bounds_words(estimate, unit)
    return f"{speed_words(estimate, unit)} ({low} to {high})"


def _added(section: Section) -> dict[str, Any]:
    return {
        "name": section.name,
        "heading": section.heading,
        "lead": section.lead,
        "pictures": [
            {
                "name": picture.name,
                "wide_svg": picture.wide_svg,
                "narrow_svg": picture.narrow_svg,
            }
            for picture in section.pictures
        ],
        "table": None
        if section.table is None
        else {"head": list(section.table.head), "rows": [list(row) for row in section.table.rows]},
        "notes": list(section.notes),
    }


def _section(picture: Picture, ride: MeasuredRide) -> dict[str, Any]:
    words, caption = {
        "speed": (
            "The line is the speed that fits all fixes together. Nothing is taken from shaded "
            "stretches for the reason named on them, except that a lone jump is bridged by its "
            "neighbours.",
            "The strip tells how the machine moved: rolling free looks like coasting, whatever the "
            "throttle did. The diamond or triangle is the highest single reading, the thick mark "
            "the best second.",
        ),
        "path": (
            "Local metres only: the picture does not tell where on earth it lies.",
            "Arrows stand to the right of the path in the direction of travel.",
        ),
        "signal": (
            f"{capital(signal_summary(ride['signal']))}."
            + (f" {gap_sentence(ride['signal'])}" if ride["signal"].gaps else ""),
            "Each bar is a stretch of fixes that carry the flag, with their number.",
        ),
    }[picture.name]
    return {
        "name": picture.name,
        "heading": _HEADINGS[picture.name],
        "words": words,
        "caption": caption,
        "wide_svg": picture.wide_svg,
        "narrow_svg": picture.narrow_svg,
    }
