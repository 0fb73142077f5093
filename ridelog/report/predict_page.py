"""A prediction as one self-contained HTML page: no script, no network."""

import re
from collections.abc import Sequence
from typing import Any

from ridelog import __version__
from ridelog.compare.predicted import MeasuredAfter
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import SPEED, as_printed, plain, signed, text_or_span
from ridelog.core.units import SpeedUnit
from ridelog.machine.possible import PredictedFigure
from ridelog.machine.predict import KnownOfMachine, Prediction
from ridelog.present.html import laid_out
from ridelog.present.section import Picture
from ridelog.present.words import clean
from ridelog.report.foremost import foremost_words
from ridelog.report.job import CHOICES_AFTER, unpriced
from ridelog.report.letterhead import Letterhead
from ridelog.report.predict_words import (
    SWEPT_PULL_MPS,
    agreement_words,
    basis_words,
    change_asked,
    headline_words,
    held_by,
    note_words,
    price_words,
    range_words,
    swept,
    swept_words,
    verdict_words,
)
from ridelog.report.ride_page import Sources

# What the owner may decide before a change is made; a colon asks for words.
_CHOICES = ("make this change", "leave it as it is", "something else:")


def predict_page(
    prediction: Prediction,
    pictures: tuple[Picture, ...],
    unit: SpeedUnit,
    after: MeasuredAfter | None = None,
    letterhead: Letterhead | None = None,
    note: str = "",
) -> str:
    """Return the page about a prediction as HTML.

    The pictures come from ``predict_pictures`` in the same unit.
    """
    head = letterhead or Letterhead()
    words = prediction_words(prediction, unit, after, head, note)
    return laid_out("prediction.html", pictures=pictures, words=words, logo=head.logo_url)


def prediction_words(
    prediction: Prediction,
    unit: SpeedUnit,
    after: MeasuredAfter | None = None,
    letterhead: Letterhead | None = None,
    note: str = "",
) -> dict[str, Any]:
    """Return all that the page says, bare of markup, as any template can lay it out."""
    head = letterhead or Letterhead()
    name = clean(prediction.setup.name or "The machine")
    tables = [now_and_after(prediction, unit, prediction.figures)]
    if after is not None:
        tables.insert(0, predicted_and_measured(prediction, unit, after))
    if prediction.sweep:
        tables.append(_sweep(prediction, unit))
    sources = Sources()
    particular, general = (
        [sources.told(one, unit) for one in prediction.cautions if one.general is always]
        for always in (False, True)
    )
    return {
        "title": f"{name}: {change_asked(prediction)}",
        "workshop": head.workshop,
        "contact": head.contact,
        "note": clean(note.strip()),
        "basis": f"Predicted {basis_words(prediction)}.",
        "headline": headline_words(prediction, unit),
        "foremost": foremost_words(prediction.cautions, unit),
        "ranges": range_words(prediction, unit),
        "price": price_words(prediction),
        "unpriced": unpriced(prediction.cost.price, prediction.cost.hours),
        "choices": _CHOICES if after is None else CHOICES_AFTER,
        "particular": particular,
        "general": general,
        "sources": list(sources.listed),
        # What the workshop wants to know of the machine is unfolded where a page folds.
        "tables": [
            *({**one, "folded": False} for one in tables),
            {**_machine(prediction, unit), "folded": True},
        ],
        "notes": note_words(prediction, unit, prediction.figures),
        "version": __version__,
    }


def predicted_and_measured(
    prediction: Prediction, unit: SpeedUnit, after: MeasuredAfter
) -> dict[str, Any]:
    """Return the table of what was predicted beside what rides after the change showed."""
    return {
        "heading": "Predicted and measured",
        "caption": verdict_words(prediction, after),
        "head": ["Figure", "Predicted", "Measured after", "Verdict"],
        "rows": [
            [one.title, one.predicted, one.measured, one.verdict]
            for one in agreement_words(prediction, after, unit)
        ],
    }


def now_and_after(
    prediction: Prediction, unit: SpeedUnit, figures: Sequence[PredictedFigure]
) -> dict[str, Any]:
    """Return the table of some figures of a prediction, as they are and would be."""
    rows = []
    for one in figures:
        difference = ""
        if one.difference is not None:
            sides = [each for each in (one.now, one.changed) if each is not None]
            quantity = one.figure.quantity
            told = as_printed(one.difference, sides, quantity, unit)
            difference = signed(told, quantity, unit, sides)
            if not re.search("[1-9]", difference):
                difference = "none"
        changed = _cell(one, one.changed, unit) or one.figure.reason
        now = _cell(one, one.now, unit)
        held = held_by(one) if one.limited_by else ""
        rows.append([one.figure.short_in(unit), now, changed, difference, held])
    return {
        "heading": "Now and after the change",
        "caption": "In brackets: bounds that are meant to hold the truth in 9 cases of 10. Where "
        "no figure can be told, they stand without one.",
        "head": ["Figure", "Now", "Changed", "Difference", "Held back by"],
        "rows": rows,
    }


def _sweep(prediction: Prediction, unit: SpeedUnit) -> dict[str, Any]:
    rows = []
    for point in prediction.sweep:
        top, pull = swept(point)
        if top is not None:
            cells = ["" if one is None else _cell(one, one.changed, unit) for one in (top, pull)]
            rows.append([swept_words(point), *cells, held_by(top)])
    key = prediction.sweep_key.replace("_", " ")
    at = plain(SWEPT_PULL_MPS, SPEED, unit, 0)
    return {
        "heading": f"Several values of {key}",
        "caption": "More of the one costs some of the other.",
        "head": [key.capitalize(), "Top speed", f"Pull at {at}", "Top speed held back by"],
        "rows": rows,
    }


def _machine(prediction: Prediction, unit: SpeedUnit) -> dict[str, Any]:
    told = {None: "", True: "yes", False: "no"}
    return {
        "heading": "What is known of the machine",
        "caption": "Found from set-up and rides together, before the change.",
        "head": ["Quantity", "Value", "Told by the rides"],
        "rows": [
            [one.unknown.words, _known(one, unit), told[one.told]] for one in prediction.known
        ],
    }


def _known(one: KnownOfMachine, unit: SpeedUnit) -> str:
    # A quantity without a unit leaves a space where it would stand.
    return " ".join(text_or_span(one.estimate, one.unknown.quantity, unit).split())


def _cell(one: PredictedFigure, estimate: Estimate | None, unit: SpeedUnit) -> str:
    return "" if estimate is None else text_or_span(estimate, one.figure.quantity, unit)
