"""A prediction in words: its sentences, and the terminal screen made of them."""

from collections.abc import Iterable
from dataclasses import dataclass

from ridelog.analysis.subject import ALWAYS
from ridelog.compare.predicted import MeasuredAfter, agreements
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import (
    SLOPE,
    SPEED,
    Quantity,
    bare,
    bounds,
    cost_words,
    for_reader,
    plain,
    signed,
    span,
    text,
    value,
)
from ridelog.core.units import SpeedUnit
from ridelog.machine.change import SetupChange
from ridelog.machine.figures import TIP_OVER
from ridelog.machine.on_strip import StripSeen
from ridelog.machine.possible import PredictedFigure
from ridelog.machine.predict import Prediction, SweepPoint
from ridelog.machine.setup import KEYS, MachineSetup
from ridelog.present.words import Lines, clean, count_words, course_words, joined, wrapped

# The pull that a sweep shows beside the top speed. [m/s]
SWEPT_PULL_MPS = 2.0
# How a limit is named in a sentence and in a column, and what it does; it is named firmly where so
# many of the possible machines agree.
_LIMITS = {
    "motor speed": ("the motor's speed", "motor", "the motor turns no faster"),
    "current": ("the motor current limit", "current", "the motor gets no more current"),
    "power": ("the power of battery and controller", "power", "battery and controller give no "
              "more power"),
    "traction": ("the grip of the tyres", "grip", "the tyres grip no more"),
}  # fmt: skip
_AGREE_SHARE = 0.8
# A measurement that narrows by less is not worth naming.
_LEAST_CUT = 0.1


def change_asked(prediction: Prediction) -> str:
    """Return the change in words: "front teeth 11 to 10", or that nothing is changed."""
    return change_words(prediction.setup, prediction.change) or "no change"


def change_words(setup: MachineSetup, change: SetupChange) -> str:
    """Return a change of a set-up in words, empty for none."""
    given = setup.given()
    parts = [
        _one_change(key, given.get(key, "from unknown"), new) for key, new in change.asked.items()
    ]
    return clean(joined(parts))


def _one_change(key: str, old: object, new: object) -> str:
    """Return "fuse 60 to 80 A" of a key, which ends in its unit where it has one: fuse_a."""
    words, unit = key.split("_"), KEYS[key].unit
    if unit and words[-1] == unit.lower().replace("/", "").replace(" ", ""):
        words.pop()
    old, new = (f"{each:g}" if isinstance(each, float) else each for each in (old, new))
    return f"{' '.join(words)} {old} to {new} {unit}".rstrip()


def basis_words(prediction: Prediction) -> str:
    """Return what the answer rests on."""
    if not prediction.rides:
        return "from the set-up alone, no ride"
    names = ", ".join(clean(name) for name in prediction.rides)
    return f"from {count_words(len(prediction.rides), 'ride')}: {names}"


def headline_words(prediction: Prediction, reader: SpeedUnit) -> str:
    """Return the answer: top speed after the change against now, then what the start does.

    How sure the figures are is said beside it: ``range_words``.
    """
    top = prediction.get("top_speed_mps")
    if top is None or top.changed is None:
        return "The changed machine would not start, or its top speed cannot be told."
    after = _value_or_span(top.changed, SPEED, reader)
    if top.now is None or top.difference is None or not prediction.change.asked:
        return f"Top speed {after}. {_no_more(top)}"
    now = _value_or_span(top.now, SPEED, reader)
    if top.difference.low <= 0.0 <= top.difference.high:
        verdict = ": no change that can be told"
    else:
        verdict = ""
    return (
        f"Top speed {after} instead of {now}{verdict}. {_start_words(prediction, reader)}"
        f"{_no_more(top)}"
    )


def price_words(prediction: Prediction) -> str:
    """Return in a sentence what the change costs, as it was noted; empty where it was not."""
    cost = prediction.cost
    told = cost_words(cost.price, cost.hours, clean(cost.currency))
    return f"It costs {told}{' of work' if cost.hours is not None else ''}." if told else ""


def range_words(prediction: Prediction, reader: SpeedUnit) -> str:
    """Return within which bounds the figures of the answer hold, and how much they move."""
    told = []
    for one in (prediction.get("top_speed_mps"), _start(prediction)):
        if one is None or one.changed is None or not one.changed.firm:
            continue
        quantity = one.figure.quantity
        moved = ""
        if one.difference is not None and prediction.change.asked:
            ends = bounds(one.difference, quantity, reader, signed=True)
            moved = f" ({ends} by the change)"
        told.append(f"{one.figure.title_in(reader)} {span(one.changed, quantity, reader)}{moved}")
    return f"In 9 cases of 10: {'; '.join(told)}." if told else ""


def _value_or_span(estimate: Estimate, quantity: Quantity, reader: SpeedUnit) -> str:
    return (value if estimate.firm else span)(estimate, quantity, reader)


def _start(prediction: Prediction) -> PredictedFigure | None:
    """Return the first window from standing."""
    return next((one for one in prediction.figures if one.figure.name.startswith("0-")), None)


def _no_more(top: PredictedFigure) -> str:
    """Return in a sentence why it goes no faster than its top speed."""
    if not top.limited_by:
        return "What holds it back cannot be told."
    sure = top.share >= _AGREE_SHARE
    words = _LIMITS[top.limited_by][2]
    return f"At top speed {'' if sure else 'probably '}{words}."


def _start_words(prediction: Prediction, reader: SpeedUnit) -> str:
    """Return what the first window from standing gains or loses; empty where it cannot be told."""
    start = _start(prediction)
    if start is None or start.now is None or start.changed is None or start.difference is None:
        return ""
    if start.difference.low <= 0.0 <= start.difference.high:
        return ""
    pace = "more slowly" if start.difference.value > 0.0 else "quicker"
    after, now = (
        _value_or_span(each, start.figure.quantity, reader) for each in (start.changed, start.now)
    )
    return f"It starts {pace}: {start.figure.title_in(reader)} in {after} instead of {now}. "


def held_by(figure: PredictedFigure) -> str:
    """Return what limits a figure, with doubt where the possible machines do not agree."""
    if not figure.limited_by:
        return "something unknown"
    words = _LIMITS[figure.limited_by][0]
    if figure.share >= _AGREE_SHARE:
        return words
    return f"probably {words} ({100.0 * figure.share:.0f} %)"


def held_word(one: PredictedFigure) -> str:
    """Return the limit in a word; a question mark where the machines do not agree."""
    if not one.limited_by or one.changed is None:
        return ""
    word = _LIMITS[one.limited_by][1]
    return word if one.share >= _AGREE_SHARE else word + "?"


def note_words(
    prediction: Prediction, reader: SpeedUnit, figures: Iterable[PredictedFigure]
) -> list[str]:
    """Return what the answer rests on and leaves open, a sentence each.

    ``figures`` are those that are shown beside it.
    """
    notes = []
    if prediction.measured:
        notes.append(
            "Now: as the rides measured it, else as the fitted machine has it. The difference is "
            "that of the fitted machine with and without the change, so it may be a little apart "
            "from that of the two figures beside it; each is rounded by itself."
        )
    notes += [strip_words(strip, reader) for strip in prediction.strips]
    if prediction.unidentified:
        notes.append(
            "The intervals already allow for all that the rides cannot tell, which is: "
            f"{joined(list(prediction.unidentified))}."
        )
    if prediction.narrowings:
        notes.append(narrowing_words(prediction))
    notes.append(turn_words(figures))
    return [clean(note) for note in (*notes, *prediction.notes) if note]


def turn_words(figures: Iterable[PredictedFigure]) -> str:
    """Return what is to be known of sideways figures, empty where none of them is shown."""
    names = {one.figure.name for one in figures if one.changed is not None}
    ridden = "The hardest turn is that of the rides: the rider chooses how fast to turn. "
    return (ridden if "lateral_accel_mps2" in names else "") + (
        "A turn of 1 g pushes sideways as hard as machine and rider weigh: the threshold holds for "
        "even ground and a rider who sits upright; slope, ruts and bumps lower it."
        if TIP_OVER[0] in names
        else ""
    )


def strip_words(strip: StripSeen, reader: SpeedUnit) -> str:
    """Return in a sentence what the rides tell of the strip they were on."""
    if not strip.both_ways:
        low, high = (plain(end, SLOPE, reader, 1) for end in (strip.slope.low, strip.slope.high))
        return (
            "The rides went one way only, which hardly tells slope and wind from the machine (a "
            f"slope from {low} to {high} would fit): intervals are that much wider. Ride the strip "
            "both ways."
        )
    side = f"towards the {course_words(strip.course_deg)}"
    slope = f"{text(strip.slope, SLOPE, reader)} {side}"
    if strip.slope.low <= 0.0 <= strip.slope.high:
        slope = f"level as far as the rides tell ({bounds(strip.slope, SLOPE, reader)} % {side})"
    else:
        slope = f"rising by {slope}"
    winds = joined([signed(wind, SPEED, reader) for wind in strip.winds_mps])
    return (
        f"The strip was {slope}, the wind from there {winds}; both are taken out of what is said "
        "of the level."
    )


def narrowing_words(prediction: Prediction) -> str:
    """Return which measurement would narrow the predicted top speed most."""
    best = prediction.narrowings[0]
    cut = 1.0 - best.remaining
    if cut < _LEAST_CUT:
        return "No single measurement would narrow the predicted top speed by a tenth."
    return (
        f"What would narrow the predicted top speed most now: {best.words}; its interval would "
        f"shrink by about {100.0 * cut:.0f} %."
    )


@dataclass(frozen=True)
class AgreementWords:
    """One figure predicted and measured, in words."""

    title: str
    predicted: str
    measured: str
    verdict: str


def agreement_words(
    prediction: Prediction, after: MeasuredAfter, reader: SpeedUnit
) -> tuple[AgreementWords, ...]:
    """Return what was predicted beside what rides after the change showed, figure by figure."""
    found = []
    for one in agreements(prediction, after):
        figure = one.predicted.figure
        apart = signed(one.apart, figure.quantity, reader)
        found.append(
            AgreementWords(
                figure.short_in(reader),
                _figure_or_range(figure.estimate, figure.quantity, reader),
                _figure_or_range(one.measured, figure.quantity, reader),
                "agrees" if one.agrees else f"differs by {apart}",
            )
        )
    return tuple(found)


def verdict_words(prediction: Prediction, after: MeasuredAfter) -> str:
    """Return in a sentence whether the rides after the change were as predicted."""
    found = agreements(prediction, after)
    count = count_words(len(after.names), "ride")
    if not found:
        return f"The {count} after the change hold no figure that was predicted."
    agree = sum(one.agrees for one in found)
    if agree == len(found):
        return f"As predicted: all {agree} figures of the {count} after the change agree."
    return (
        f"{agree} of {len(found)} figures of the {count} after the change agree with the "
        "prediction; of figures that hold in 9 cases of 10, about one in ten may differ by chance."
    )


def predict_lines(
    prediction: Prediction, unit: SpeedUnit, after: MeasuredAfter | None = None
) -> Lines:
    """Return the screen about a prediction, lines of at most 80 letters."""
    name = clean(prediction.setup.name or "The machine")
    lines = wrapped(f"{name}: {change_asked(prediction)}, {basis_words(prediction)}", "quiet")
    lines.append(("", ""))
    lines += wrapped(headline_words(prediction, unit), "headline")
    if price := price_words(prediction):
        lines += wrapped(price)
    lines.append(("", ""))
    lines.append(
        (f"{'':<26}{'now':>8}{'changed':>9}        9 of 10 within   held back by", "quiet")
    )
    lines += [(_row(one, unit), "") for one in prediction.figures]
    if prediction.sweep:
        lines += [("", ""), *_sweep(prediction, unit)]
    if after is not None:
        lines += [("", ""), *agreement_lines(prediction, unit, after)]
    lines.append(("", ""))
    for caution in prediction.cautions:
        if not caution.general:
            lines += wrapped(f"Caution: {for_reader(caution.text, unit)}", "caution")
    for words in note_words(prediction, unit, prediction.figures):
        lines += wrapped(words, "quiet")
    return lines + wrapped(f"Always: {ALWAYS}", "caution")


def agreement_lines(prediction: Prediction, unit: SpeedUnit, after: MeasuredAfter) -> Lines:
    """Return what was predicted beside what rides after the change showed, as on the screen."""
    lines = wrapped(verdict_words(prediction, after), "headline")
    lines.append((f"{'':<19}{'predicted':<27}{'measured':<26}", "quiet"))
    for one in agreement_words(prediction, after, unit):
        verdict = "agrees" if one.verdict == "agrees" else "differs"
        lines.append((f"{one.title[:18]:<19}{one.predicted:<27}{one.measured:<26}{verdict}", ""))
    return lines


def swept(point: SweepPoint) -> tuple[PredictedFigure | None, PredictedFigure | None]:
    """Return top speed and pull at a low speed of one point of a sweep."""
    found = {one.figure.name: one for one in point.figures}
    return found.get("top_speed_mps"), found.get(f"pull_at_{SWEPT_PULL_MPS:g}_mps")


def swept_words(point: SweepPoint) -> str:
    """Return the value of a point of a sweep, marked if it is the present one."""
    return f"{point.value:g}" + ("  (now)" if point.present else "")


def _row(one: PredictedFigure, unit: SpeedUnit) -> str:
    quantity, after = one.figure.quantity, one.changed
    within = "" if after is None else bounds(after, quantity, unit)
    return (
        f"{one.figure.short_in(unit)[:25]:<26}{_figure(one.now, quantity, unit):>8}"
        f"{_figure(after, quantity, unit):>9} {quantity.label(unit):<6} {within:<16} "
        f"{held_word(one)}"
    ).rstrip()


def _figure(estimate: Estimate | None, quantity: Quantity, unit: SpeedUnit) -> str:
    """Return a firm figure without unit; "-" for none, nothing where only a range can be told."""
    if estimate is None:
        return "-"
    return bare(estimate, quantity, unit) if estimate.firm else ""


def _figure_or_range(estimate: Estimate | None, quantity: Quantity, unit: SpeedUnit) -> str:
    """Return a figure with its bounds where it is firm, else the bounds alone; nothing for none."""
    if estimate is None:
        return ""
    return (text if estimate.firm else span)(estimate, quantity, unit)


def _sweep(prediction: Prediction, unit: SpeedUnit) -> Lines:
    at = f"pull at {plain(SWEPT_PULL_MPS, SPEED, unit, 0)}"
    lines = [(f"{prediction.sweep_key:<14}{'top speed':<27}{at:<27}held back by", "quiet")]
    for point in prediction.sweep:
        top, pull = swept(point)
        if top is None:
            continue
        told = [
            _figure_or_range(one.changed, one.figure.quantity, unit) if one else ""
            for one in (top, pull)
        ]
        lines.append((f"{swept_words(point):<14}{told[0]:<27}{told[1]:<27}{held_word(top)}", ""))
    return lines
