"""A prediction as one self-contained HTML page: no script, no network."""

from typing import Any

from ridelog import __version__
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.machine.measured_after import Ridden
from ridelog.machine.predict import Measure, Prediction
from ridelog.present.html import laid_out
from ridelog.present.section import Picture
from ridelog.present.words import clean
from ridelog.report.predict_screen import sweep_pair
from ridelog.report.predict_words import (
    agreement_words,
    basis_words,
    change_asked,
    headline_words,
    held_by,
    interval_words,
    narrowing_words,
    shown_unit,
    title_words,
    untold_words,
    value_words,
    verdict_words,
)


def predict_page(
    prediction: Prediction,
    pictures: tuple[Picture, ...],
    unit: SpeedUnit,
    ridden: Ridden | None = None,
) -> str:
    """Return the page about a prediction as HTML.

    Parameters
    ----------
    prediction : Prediction
        What was predicted.
    pictures : tuple of Picture
        From ``predict_pictures`` in the same unit.
    unit : SpeedUnit
        In which speeds are given.
    ridden : Ridden, optional
        What rides after the change showed.
    """
    return laid_out(
        "prediction.html",
        pictures=pictures,
        **prediction_words(prediction, unit, ridden),
    )


def prediction_words(
    prediction: Prediction, unit: SpeedUnit, ridden: Ridden | None = None
) -> dict[str, Any]:
    """Return all that the page says, bare of markup, as any template can lay it out."""
    name = clean(prediction.setup.name or "The machine")
    notes = [untold_words(prediction), narrowing_words(prediction), *prediction.notes]
    return {
        "title": f"{name}: {change_asked(prediction)}",
        "basis": f"Predicted {basis_words(prediction)}.",
        "headline": headline_words(prediction, unit),
        "particular": _cautions(prediction, general=False),
        "general": _cautions(prediction, general=True),
        "tables": _tables(prediction, unit, ridden),
        "notes": [clean(note) for note in notes if note],
        "version": __version__,
    }


def _cautions(prediction: Prediction, *, general: bool) -> list[dict[str, str]]:
    return [
        {"text": caution.text, "source": caution.source}
        for caution in prediction.cautions
        if caution.general is general
    ]


def _tables(prediction: Prediction, unit: SpeedUnit, ridden: Ridden | None) -> list[dict[str, Any]]:
    tables: list[dict[str, Any]] = []
    if ridden is not None:
        tables.append(
            {
                "heading": "Predicted and ridden",
                "caption": verdict_words(prediction, ridden),
                "head": ["Measure", "Predicted", "Measured", "Verdict"],
                "rows": [
                    [one.title, one.predicted, one.measured, one.verdict]
                    for one in agreement_words(prediction, ridden, unit)
                ],
            }
        )
    tables.append(
        {
            "heading": "Now and after the change",
            "caption": "Bounds in brackets are meant to hold the truth in 9 cases of 10.",
            "head": ["Measure", "Now", "Changed", "Difference", "Held back by"],
            "rows": [_row(one, unit) for one in prediction.measures],
        }
    )
    if prediction.sweep:
        rows = []
        for point in prediction.sweep:
            top, pull = sweep_pair(point)
            if top is not None:
                rows.append(
                    [
                        f"{point.value:g}" + (" (now)" if point.present else ""),
                        _cell(top, unit),
                        "" if pull is None else _cell(pull, unit),
                        held_by(top),
                    ]
                )
        tables.append(
            {
                "heading": f"{prediction.sweep_key} swept",
                "caption": "The pull is that at 2 m/s; bounds in brackets.",
                "head": [prediction.sweep_key, "Top speed", "Pull", "Top speed held back by"],
                "rows": rows,
            }
        )
    tables.append(
        {
            "heading": "What is known of the machine",
            "caption": "Found from set-up and rides together, before the change.",
            "head": ["Quantity", "Value", "Told by the rides"],
            "rows": [
                [
                    words,
                    _with_bounds(found, unit_words),
                    "" if not prediction.rides else "no" if words in prediction.untold else "yes",
                ]
                for _, words, unit_words, found, _ in prediction.unknowns
            ],
        }
    )
    return tables


def _row(measure: Measure, unit: SpeedUnit) -> list[str]:
    factor, label = shown_unit(measure, unit)
    difference = ""
    if measure.difference is not None:
        difference = (
            f"{value_words(measure.difference, factor, signed=True)} {label} "
            f"({interval_words(measure.difference, factor, signed=True)})"
        )
    now = ""
    if measure.now is not None:
        now = f"{value_words(measure.now, factor)} ({interval_words(measure.now, factor)})"
    changed = _cell(measure, unit) if measure.changed is not None else measure.reason
    return [title_words(measure, unit), now, changed, difference, held_by(measure)]


def _cell(measure: Measure, unit: SpeedUnit) -> str:
    factor, label = shown_unit(measure, unit)
    if measure.changed is None:
        return "-"
    bounds = interval_words(measure.changed, factor)
    return f"{value_words(measure.changed, factor)} {label} ({bounds})"


def _with_bounds(found: Estimate, unit_words: str) -> str:
    return f"{_plain(found.value)} {unit_words} ({_plain(found.low)} to {_plain(found.high)})"


def _plain(value: float) -> str:
    """Return a number to three significant digits, never with an exponent."""
    rounded = float(f"{value:.3g}")
    return f"{rounded:,.0f}" if abs(rounded) >= 100.0 else f"{rounded:g}"
