"""A prediction on one terminal screen: the sentence first, then every measure, then cautions."""

import textwrap

from ridelog.core.units import SpeedUnit
from ridelog.machine.measured_after import Ridden
from ridelog.machine.predict import Measure, Prediction, SweepPoint
from ridelog.present.words import clean
from ridelog.report.predict_words import (
    agreement_words,
    basis_words,
    change_asked,
    headline_words,
    interval_words,
    narrowing_words,
    shown_unit,
    title_words,
    untold_words,
    value_words,
    verdict_words,
)

WIDTH = 80
_ALWAYS = (
    "Always: protective gear, closed private ground, local law and codes. Wiring, battery and "
    "brakes belong in competent hands, licensed where codes ask."
)


def predict_lines(
    prediction: Prediction, unit: SpeedUnit, ridden: Ridden | None = None
) -> list[tuple[str, str]]:
    """Return the screen about a prediction, lines of at most 80 letters.

    Parameters
    ----------
    prediction : Prediction
        What was predicted.
    unit : SpeedUnit
        In which speeds are given.
    ridden : Ridden, optional
        What rides after the change showed.

    Returns
    -------
    list of (text, style)
        ``style`` is "headline", "caution", "quiet" or "" and only adds colour: the text says it.
    """
    name = clean(prediction.setup.name or "The machine")
    lines = _wrapped(f"{name}: {change_asked(prediction)}, {basis_words(prediction)}", "quiet")
    lines.append(("", ""))
    lines += _wrapped(headline_words(prediction, unit), "headline")
    lines.append(("", ""))
    lines.append((f"{'':<32}{'now':>7}{'changed':>9}        9 of 10 within   held by", "quiet"))
    lines += [(_row(one, unit), "") for one in prediction.measures]
    if prediction.sweep:
        lines += [("", ""), *_sweep(prediction, unit)]
    if ridden is not None:
        lines += [("", ""), *ridden_lines(prediction, unit, ridden)]
    lines.append(("", ""))
    for caution in prediction.cautions:
        if not caution.general:
            lines += _wrapped(f"Caution: {caution.text}", "caution")
    for words in (untold_words(prediction), narrowing_words(prediction), *prediction.notes):
        if words:
            lines += _wrapped(clean(words), "quiet")
    lines += _wrapped(_ALWAYS, "caution")
    return lines


def _row(measure: Measure, unit: SpeedUnit) -> str:
    factor, label = shown_unit(measure, unit)
    title = title_words(measure, unit)
    return (
        f"{title[:31]:<32}{value_words(measure.now, factor):>7}"
        f"{value_words(measure.changed, factor):>9} {label:<6} "
        f"{interval_words(measure.changed, factor):<15} {_short(measure)}"
    ).rstrip()


def _short(measure: Measure) -> str:
    """Return the limit in a word or two; a question mark where the machines do not agree."""
    if not measure.limited_by or measure.changed is None:
        return ""
    word = {"motor speed": "motor"}.get(measure.limited_by, measure.limited_by)
    return word if measure.share >= 0.8 else word + "?"


def _sweep(prediction: Prediction, unit: SpeedUnit) -> list[tuple[str, str]]:
    head = f"{prediction.sweep_key:<20}{'top speed':>12}{'9 of 10 within':>18}"
    lines = [(f"{head}{'pull, m/s²':>13}   held by", "quiet")]
    for point in prediction.sweep:
        top, pull = sweep_pair(point)
        if top is None:
            continue
        factor, label = shown_unit(top, unit)
        mark = "  (now)" if point.present else ""
        speed = f"{value_words(top.changed, factor)} {label}"
        strength = value_words(pull.changed if pull else None, 1.0)
        bounds = interval_words(top.changed, factor)
        words = f"{f'{point.value:g}{mark}':<20}{speed:>12}{bounds:>18}{strength:>13}"
        lines.append((f"{words}   {_short(top)}", ""))
    return lines


def ridden_lines(prediction: Prediction, unit: SpeedUnit, ridden: Ridden) -> list[tuple[str, str]]:
    """Return what was predicted beside what rides after the change showed, as on the screen."""
    lines = _wrapped(verdict_words(prediction, ridden), "headline")
    lines.append((f"{'':<18}{'predicted':<27}{'measured':<25}", "quiet"))
    for one in agreement_words(prediction, ridden, unit):
        verdict = "agrees" if one.verdict == "agrees" else "differs"
        lines.append((f"{one.title[:17]:<18}{one.predicted:<27}{one.measured:<25}{verdict}", ""))
    return lines


def sweep_pair(point: SweepPoint) -> tuple[Measure | None, Measure | None]:
    """Return top speed and pull at 2 m/s of one point of a sweep."""
    found = {one.name: one for one in point.measures}
    return found.get("top_speed_mps"), found.get("pull_at_2_mps")


def _wrapped(text: str, style: str) -> list[tuple[str, str]]:
    return [(line, style) for line in textwrap.wrap(text, WIDTH)]
