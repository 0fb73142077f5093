"""The one sentence that a comparison comes down to."""

from ridelog.analysis.figure import HEADLINE_WEIGHT
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.verdict import BETTER, NOT_SHOWN, WORSE
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.present.measure_words import amount_words, factor_and_label, number_words, places
from ridelog.present.words import joined


def headline(comparison: Comparison, unit: SpeedUnit) -> str:
    """Return what the change did, gains first, then what they cost."""
    chosen = headline_measures(comparison)
    gains, losses = _of(chosen, BETTER), _of(chosen, WORSE)
    if not gains and not losses:
        gains, losses = _of(comparison.figures, BETTER)[:3], _of(comparison.figures, WORSE)[:3]
    if gains and losses:
        return f"After the change {_list(gains, unit)}; in return {_list(losses, unit)}."
    if gains:
        cost = _of(comparison.figures, WORSE)
        rest = "" if cost else "; no figure was shown to be worse"
        return f"After the change {_list(gains, unit)}{rest}."
    if losses:
        gained = _of(comparison.figures, BETTER)
        rest = "" if gained else "; no figure was shown to be better"
        return f"After the change {_list(losses, unit)}{rest}."
    if any(each.verdict.word == NOT_SHOWN for each in comparison.figures):
        return f"These rides show no difference. {_could_have(chosen, unit)}".strip()
    if any(each.difference is not None for each in comparison.figures):
        return (
            "These rides cannot say whether the change helped: with one ride a side nobody knows "
            "how far two rides differ by themselves."
        )
    return "These rides cannot say whether the change helped: no figure is held by both sides."


def headline_measures(comparison: Comparison) -> list[Compared]:
    """Return the few figures that are named first: at most three, top speed once."""
    found = [
        each
        for each in comparison.figures
        if each.terms.weight == HEADLINE_WEIGHT and each.difference is not None
    ]
    names = {each.figure.name for each in found}
    # The mean of both directions speaks for the machine, a best second for the day as well.
    if "two_way_mps" in names:
        found = [each for each in found if each.figure.name != "best_1s_mps"]
    return found[:3]


def moved_words(compared: Compared, unit: SpeedUnit) -> str:
    """Return how a figure moved: "top speed fell by 2.6 km/h (2.1 to 3.1)"."""
    title = compared.figure.spoken_in(unit)
    if compared.difference is None:
        return title
    estimate = compared.difference.difference
    verb = "rose by" if estimate.value > 0.0 else "fell by"
    return f"the {title} {verb} {_amount(estimate, compared.figure.quantity.si, unit)}"


def _amount(estimate: Estimate, si: str, unit: SpeedUnit) -> str:
    factor, label = factor_and_label(si, unit)
    count = places(estimate, factor)
    sign = 1.0 if estimate.value > 0.0 else -1.0
    ends = sorted((sign * factor * estimate.low, sign * factor * estimate.high))
    low, high = (number_words(end, count) for end in ends)
    return f"{number_words(abs(factor * estimate.value), count)} {label} ({low} to {high})"


def _could_have(chosen: list[Compared], unit: SpeedUnit) -> str:
    for each in chosen:
        if each.verdict.smallest_shown is not None:
            smallest = amount_words(each.verdict.smallest_shown, each.figure.quantity.si, unit)
            title = each.figure.spoken_in(unit)
            return f"A difference of {smallest} in {title} they would have shown nine times in ten."
    return ""


def _of(measures: list[Compared] | tuple[Compared, ...], word: str) -> list[Compared]:
    return [each for each in measures if each.verdict.word == word]


def _list(measures: list[Compared], unit: SpeedUnit) -> str:
    return joined([moved_words(each, unit) for each in measures])
