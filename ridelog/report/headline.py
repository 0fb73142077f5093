"""The one sentence that a comparison comes down to."""

from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.false_alarms import HEADLINE_WEIGHT
from ridelog.compare.verdict import BETTER, CANNOT_SAY, NOT_SHOWN, WORSE
from ridelog.report.measure_words import bounds_of, change_words
from ridelog.report.wording import joined
from ridelog.units import SpeedUnit


def headline(comparison: Comparison, unit: SpeedUnit) -> str:
    """Return what the change did, gains first, then what they cost."""
    chosen = headline_measures(comparison)
    gains = [each for each in chosen if each.verdict.word == BETTER]
    losses = [each for each in chosen if each.verdict.word == WORSE]
    if not gains and not losses:
        gains = [each for each in comparison.measures if each.verdict.word == BETTER]
        losses = [each for each in comparison.measures if each.verdict.word == WORSE]
    if gains and losses:
        return f"The change brought {_list(gains, unit)}, and cost {_list(losses, unit)}."
    if gains:
        return f"The change brought {_list(gains, unit)}; no figure was shown to be worse."
    if losses:
        return f"The change cost {_list(losses, unit)}; no figure was shown to be better."
    if any(each.verdict.word == NOT_SHOWN for each in comparison.measures):
        return "These rides show no difference: what was seen may be chance."
    if any(each.difference is not None for each in comparison.measures):
        return (
            "These rides cannot say whether the change helped: with one ride a side nobody knows "
            "how far two rides differ by themselves."
        )
    return "These rides cannot say whether the change helped: no figure is held by both sides."


def headline_measures(comparison: Comparison) -> list[Compared]:
    """Return the few figures that are named first: at most three, top speed once."""
    found = [
        each
        for each in comparison.measures
        if each.measure.weight == HEADLINE_WEIGHT and each.difference is not None
    ]
    names = {each.measure.name for each in found}
    # The mean of both directions speaks for the machine, a best second for the day as well.
    if "two_way_mps" in names:
        found = [each for each in found if each.measure.name != "best_1s_mps"]
    return found[:3]


def _list(measures: list[Compared], unit: SpeedUnit) -> str:
    return joined([_one(each, unit) for each in measures])


def _one(compared: Compared, unit: SpeedUnit) -> str:
    difference = compared.difference
    if difference is None or compared.verdict.word == CANNOT_SAY:
        return compared.measure.title
    change = change_words(difference.difference, compared.measure.unit, unit)
    bounds = bounds_of(difference.difference, compared.measure.unit, unit, signed=True)
    return f"{compared.measure.title} {change} ({bounds})"
