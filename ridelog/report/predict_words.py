"""Predicted figures in words, in the units in which a workshop reads them."""

from dataclasses import dataclass

from ridelog.core.estimate import Estimate
from ridelog.core.units import JOULES_PER_WH, METRES_PER_MILE, SpeedUnit
from ridelog.machine.loop import COUNTERPARTS, agreements
from ridelog.machine.measured_after import Ridden
from ridelog.machine.predict import Measure, Prediction
from ridelog.machine.setup import KEYS
from ridelog.present.measure_words import number_words
from ridelog.present.words import clean, joined

_FAR_M = 2000.0


def shown_unit(measure: Measure, reader: SpeedUnit) -> tuple[float, str]:
    """Return by what a measure's SI figures are multiplied for the reader, and the unit's label."""
    if measure.unit == "m/s":
        return 1.0 / reader.mps_per_unit, reader.label
    if measure.unit == "m/s2":
        return 1.0, "m/s²"
    far_m, far = (METRES_PER_MILE, "mi") if reader.label == "mph" else (1000.0, "km")
    if measure.unit == "J/m":
        return far_m / JOULES_PER_WH, f"Wh/{far}"
    if measure.unit == "m":
        largest = max((e.value for e in (measure.now, measure.changed) if e), default=0.0)
        if largest > _FAR_M:
            return 1.0 / far_m, far
        return 1.0 / reader.metres_per_distance, reader.distance_label
    return 1.0, measure.unit


def title_words(measure: Measure, reader: SpeedUnit) -> str:
    """Return what a measure is called, such as "Pull at 14 km/h"."""
    if measure.name.startswith("pull_at_") and measure.name.endswith("_mps"):
        speed = float(measure.name[len("pull_at_") : -len("_mps")])
        return f"Pull at {reader.from_mps(speed):.0f} {reader.label}"
    return measure.words


def value_words(estimate: Estimate | None, factor: float, *, signed: bool = False) -> str:
    """Return a figure without unit to the decimals its interval deserves, "-" for none."""
    if estimate is None:
        return "-"
    return number_words(factor * estimate.value, _places(estimate, factor), signed=signed)


def interval_words(estimate: Estimate | None, factor: float, *, signed: bool = False) -> str:
    """Return both ends of an interval: "33.8 to 34.6", nothing for none."""
    if estimate is None:
        return ""
    count = _places(estimate, factor)
    low, high = (
        number_words(factor * end, count, signed=signed) for end in (estimate.low, estimate.high)
    )
    return f"{low} to {high}"


def change_asked(prediction: Prediction) -> str:
    """Return the change in words: "front teeth 11 to 10", or that nothing is changed."""
    given = prediction.setup.given()
    parts = [
        _one_change(key, given.get(key, "unknown"), value)
        for key, value in prediction.change.asked.items()
    ]
    return clean(joined(parts)) if parts else "no change"


def _one_change(key: str, old: object, new: object) -> str:
    """Return "fuse 60 to 80 A" of a key, which ends in its unit where it has one: fuse_a."""
    words, unit = key.split("_"), KEYS[key].unit
    if unit and words[-1] == unit.lower().replace("/", "").replace(" ", ""):
        words.pop()
    old, new = (f"{value:g}" if isinstance(value, float) else value for value in (old, new))
    return f"{' '.join(words)} {old} to {new} {unit}".rstrip()


def basis_words(prediction: Prediction) -> str:
    """Return what the answer rests on."""
    count = len(prediction.rides)
    if not count:
        return "from the set-up alone, no ride"
    names = ", ".join(clean(name) for name in prediction.rides)
    return f"from {count} {'ride' if count == 1 else 'rides'}: {names}"


def headline_words(prediction: Prediction, reader: SpeedUnit) -> str:
    """Return the answer in a sentence: top speed after the change against now."""
    top = prediction.measure("top_speed_mps")
    if top is None or top.changed is None:
        return "The changed machine would not start, or its top speed cannot be told."
    factor, label = shown_unit(top, reader)
    changed = f"{value_words(top.changed, factor)} {label}"
    bounds = interval_words(top.changed, factor)
    if top.now is None or top.difference is None or not prediction.change.asked:
        return f"Top speed {changed} ({bounds}), held back by {held_by(top)}."
    if top.difference.low <= 0.0 <= top.difference.high:
        verdict = "no change that can be told"
    else:
        more = "more" if top.difference.value > 0.0 else "less"
        size = value_words(top.difference, factor).lstrip("\N{MINUS SIGN}")
        verdict = f"{size} {label} {more}"
    return (
        f"Top speed {changed} ({bounds}) after the change, now "
        f"{value_words(top.now, factor)}: {verdict}. Then held back by {held_by(top)}."
    )


def held_by(measure: Measure) -> str:
    """Return what limits a measure, with doubt where the possible machines do not agree."""
    if not measure.limited_by:
        return "unknown"
    if measure.share >= 0.8:
        return measure.limited_by
    return f"probably {measure.limited_by} ({100.0 * measure.share:.0f} %)"


def untold_words(prediction: Prediction) -> str:
    """Return which unknowns the rides cannot tell, empty without rides."""
    if not prediction.untold:
        return ""
    return f"The rides cannot tell: {joined(list(prediction.untold))}."


def narrowing_words(prediction: Prediction) -> str:
    """Return which measurement would narrow the predicted top speed most."""
    if not prediction.narrowings:
        return ""
    best = prediction.narrowings[0]
    cut = 100.0 * (1.0 - best.remaining)
    if cut < 10.0:
        return "No single measurement would narrow the predicted top speed by a tenth."
    return (
        f"What would narrow the predicted top speed most now: {best.words}; its interval would "
        f"shrink by about {cut:.0f} %."
    )


@dataclass(frozen=True)
class AgreementWords:
    """One figure predicted and measured, in words."""

    title: str
    predicted: str
    measured: str
    verdict: str


def agreement_words(
    prediction: Prediction, ridden: Ridden, reader: SpeedUnit
) -> tuple[AgreementWords, ...]:
    """Return what was predicted beside what rides after the change showed, figure by figure."""
    found = []
    for one in agreements(prediction, ridden.measured):
        measure = prediction.measure(COUNTERPARTS.get(one.name, one.name))
        assert measure is not None
        factor, label = shown_unit(measure, reader)
        apart = f"{value_words(one.apart, factor, signed=True)} {label}"
        found.append(
            AgreementWords(
                title_words(measure, reader),
                f"{value_words(one.predicted, factor)} {label} "
                f"({interval_words(one.predicted, factor)})",
                f"{value_words(one.measured, factor)} {label} "
                f"({interval_words(one.measured, factor)})",
                "agrees" if one.agrees else f"differs by {apart}",
            )
        )
    return tuple(found)


def verdict_words(prediction: Prediction, ridden: Ridden) -> str:
    """Return in a sentence whether the rides after the change were as predicted."""
    found = agreements(prediction, ridden.measured)
    count = f"{len(ridden.names)} {'ride' if len(ridden.names) == 1 else 'rides'}"
    if not found:
        return f"The {count} after the change hold no figure that was predicted."
    agree = sum(one.agrees for one in found)
    if agree == len(found):
        return f"As predicted: all {agree} figures of the {count} after the change agree."
    return (
        f"{agree} of {len(found)} figures of the {count} after the change agree with the "
        "prediction; of figures that hold in 9 cases of 10, about one in ten may differ by chance."
    )


def _places(estimate: Estimate, factor: float) -> int:
    width = abs(factor) * (estimate.high - estimate.low)
    if width >= 10.0:
        return 0
    return 1 if width >= 0.25 else 2
