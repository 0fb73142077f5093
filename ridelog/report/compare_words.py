"""A comparison in words: its sentences, and the terminal screen made of them."""

import math
import textwrap
from collections.abc import Sequence

from ridelog.analysis.figure import HEADLINE_WEIGHT
from ridelog.analysis.subject import ALWAYS, GRAVITY_WORDS
from ridelog.compare.cautions import cautions_of
from ridelog.compare.charge import ChargeAlone
from ridelog.compare.comparison import Compared, Comparison
from ridelog.compare.matching import Rides
from ridelog.compare.pairs import LEAST_PAIRS
from ridelog.compare.verdict import BETTER, CANNOT_SAY, FAMILY_LEVEL, NOT_SHOWN, WORSE
from ridelog.core.quantity import (
    SPEED,
    amount,
    bare,
    bounds,
    for_reader,
    rough,
    text,
)
from ridelog.core.units import SpeedUnit
from ridelog.present.words import (
    WIDTH,
    Lines,
    capital,
    clean,
    clock_words,
    count_words,
    joined,
    shortened,
    wrapped,
)
from ridelog.report.energy_words import at_known_mass
from ridelog.report.job import job_lines, job_of
from ridelog.report.noted_words import noted_words, unmeasured_words
from ridelog.report.predict_words import agreement_lines
from ridelog.report.rounding import moved, rounding_words, side_words

# What may be wind is told from this share of the interval's width on.
_WORTH_TELLING = 0.1


def headline(comparison: Comparison, unit: SpeedUnit) -> str:
    """Return what the change did: gains, what they cost, and what the charge leaves open."""
    chosen = headline_figures(comparison)
    told = [_what_was_shown(comparison, chosen, unit), left_open(comparison, unit)]
    if not _of(chosen, BETTER) and not _of(chosen, WORSE):
        told.reverse()  # what was asked goes before what happens to be shown
    return " ".join(filter(None, told))


def left_open(comparison: Comparison, unit: SpeedUnit) -> str:
    """Return which headline figures have no verdict before the charge is known, "" if none."""
    held = [each for each in headline_figures(comparison) if each.charge is not None]
    if not held:
        return ""
    titles = joined([f"the {each.figure.title_in(unit)}" for each in held])
    moved = "the change moved" if comparison.modes is None else "the mode moves"
    return (
        f"Whether {moved} {titles} cannot be said: another charge of the battery alone could do "
        "what these rides show."
    )


def asks_charge(comparison: Comparison) -> bool:
    """Return whether noting the battery's charge could bring a verdict that is still open."""
    held = [each.charge for each in comparison.figures if each.charge is not None]
    return any(charge.told not in ("both", "modes") for charge in held)


def _what_was_shown(comparison: Comparison, chosen: list[Compared], unit: SpeedUnit) -> str:
    lead = lead_words(comparison)
    firm = [each for each in comparison.figures if not each.doubt]
    gains, losses = _of(chosen, BETTER), _of(chosen, WORSE)
    open_still = any(each.charge is not None for each in comparison.figures)
    if not gains and not losses:
        gains, losses = _of(firm, BETTER)[:3], _of(firm, WORSE)[:3]
    if gains and losses:
        return f"{lead} {_list(gains, unit)}; in return {_list(losses, unit)}."
    if gains:
        cost = _of(comparison.figures, WORSE)
        rest = "" if cost or open_still else "; no figure was shown to be worse"
        return f"{lead} {_list(gains, unit)}{rest}."
    if losses:
        gained = _of(comparison.figures, BETTER)
        rest = "" if gained or open_still else "; no figure was shown to be better"
        return f"{lead} {_list(losses, unit)}{rest}."
    if any(each.verdict.word in (BETTER, WORSE) for each in comparison.figures):
        return "These rides show a difference, but too roughly to say how large it is."
    if open_still:  # what is left open is said beside it, if it is about figures named first
        alone = "These rides show no difference that the battery's charge could not make."
        return "" if left_open(comparison, unit) else alone
    if any(each.verdict.word == NOT_SHOWN for each in comparison.figures):
        return f"These rides show no difference. {_could_have(chosen, unit)}".strip()
    if any(each.difference is not None for each in comparison.figures):
        return (
            f"These rides cannot say {_question(comparison)}: with one ride a side nobody knows "
            "how far two rides differ by themselves."
        )
    return f"These rides cannot say {_question(comparison)}: no figure is held by both sides."


def _question(comparison: Comparison) -> str:
    if comparison.modes is None:
        return "whether the change helped"
    return f"how {' and '.join(comparison.names.heads)} differ"


def lead_words(comparison: Comparison) -> str:
    """Return how a sentence about what differs begins."""
    if comparison.modes is None:
        return "After the change"
    return f"In {clean(comparison.modes[1])}, against {clean(comparison.modes[0])},"


def headline_figures(comparison: Comparison) -> list[Compared]:
    """Return the few figures that are named first: at most three firm ones, top speed once."""
    found = [
        each
        for each in comparison.figures
        if each.terms.weight == HEADLINE_WEIGHT and each.difference is not None
    ]
    if any(each.figure.name == "two_way_mps" for each in found):
        # It stands for the top speed; a fastest second is in part the day's.
        found = [each for each in found if each.figure.name != "best_1s_mps"]
    return [each for each in found if not each.doubt][:3]


def moved_words(compared: Compared, unit: SpeedUnit) -> str:
    """Return how a figure moved: "the top speed fell by 2.6 km/h (2.1 to 3.1)"."""
    title = compared.figure.title_in(unit)
    estimate = moved(compared, unit)
    if estimate is None:
        return title
    verb = "rose by" if estimate.value > 0.0 else "fell by"
    return f"the {title} {verb} {amount(estimate, compared.figure.quantity, unit)}"


def _could_have(chosen: list[Compared], unit: SpeedUnit) -> str:
    for each in chosen:
        if each.verdict.smallest_shown is not None:
            smallest = rough(each.verdict.smallest_shown, each.quantity, unit)
            title = each.figure.title_in(unit)
            return f"A difference of {smallest} in {title} they would have shown nine times in ten."
    return ""


def _of(figures: Sequence[Compared], word: str) -> list[Compared]:
    return [each for each in figures if each.verdict.word == word]


def _list(figures: list[Compared], unit: SpeedUnit) -> str:
    return joined([moved_words(each, unit) for each in figures])


def reason_words(compared: Compared, reader: SpeedUnit, figures: int) -> str:
    """Return why one verdict reads as it does, and why a figure in doubt shows ranges only.

    ``figures`` is how many were tested together.
    """
    words = _verdict_reason(compared, reader, figures)
    return f"{words} Only ranges are told: {compared.doubt}." if compared.doubt else words


def _verdict_reason(compared: Compared, reader: SpeedUnit, figures: int) -> str:
    difference, verdict = compared.difference, compared.verdict
    if difference is None:
        return f"{capital(compared.obstacle)}."
    if compared.charge is not None:
        return _charge_words(compared, compared.charge, reader)
    if verdict.word == CANNOT_SAY:
        return (
            "One ride a side: how far rides differ by themselves is unknown; two more rides on "
            "each side would tell."
        )
    wind, part = "", difference.wind_part
    if abs(part) > _WORTH_TELLING * (difference.difference.high - difference.difference.low):
        size = rough(part, compared.quantity, reader)
        of_it = part * difference.difference.value > 0.0
        wind = (
            f" {size} of it may be wind or slope."
            if of_it
            else f" Wind or slope may hide {size} more."
        )
    if verdict.word in (BETTER, WORSE):
        return f"Receivers and the scatter between rides do not explain it.{wind}"
    words = "The difference seen may be chance."
    if verdict.smallest_shown is not None:
        smallest = rough(verdict.smallest_shown, compared.quantity, reader)
        words += f" A difference of {smallest} would have been shown nine times out of ten."
    if difference.difference.low > 0.0 or difference.difference.high < 0.0:
        words += (
            f" By itself it would count, but among {count_words(figures, 'figure')} one such is "
            "no surprise."
        )
    return words + _more(compared) + wind


def _charge_words(compared: Compared, charge: ChargeAlone, reader: SpeedUnit) -> str:
    """Return why a figure has no verdict before the battery's charge is known, or the same."""
    assert compared.difference is not None
    size = "any amount"
    if math.isfinite(charge.share):
        size = rough(charge.share * compared.difference.before.value, compared.quantity, reader)
    which = "the top speed" if compared.quantity is SPEED else "it"
    if charge.told == "modes":
        return (
            "One mode was ridden after the other, and the battery emptied meanwhile: that alone "
            f"could move the top speed by up to {size}, and the difference is not surely beyond "
            "it. Ride the modes in turn, so that both have the same charge in the mean."
        )
    noted = {
        "neither": "The battery's charge is noted for neither side",
        "both": "The battery's charge differs between the sides",
    }.get(charge.told, f"The battery's charge is noted only for the rides {charge.told}")
    return (
        f"{noted}: that alone could move {which} by {size}, and the difference is not surely "
        "beyond it. Ride both sides with the same charge, and note it with the rides."
    )


def _more(compared: Compared) -> str:
    more = compared.verdict.more_rides
    if more is not None:
        return f" {capital(count_words(more, 'more ride'))} on each side would settle it."
    return " Even twelve more rides on each side would not settle one this small."


def crossing_words(comparison: Comparison, reader: SpeedUnit) -> str:
    """Return where the pull curves cross, or what they show instead; empty without curves."""
    curves, lead = comparison.pull, lead_words(comparison)
    if curves is None or any(each.contrast is None for each in curves.differences):
        return ""
    if curves.crossing is None:
        signs = {
            1 if d.difference.low > 0.0 else -1 if d.difference.high < 0.0 else 0
            for d in curves.differences
        }
        if signs == {1}:
            return f"{lead} it pulls harder at every speed that was compared."
        if signs == {-1}:
            return f"{lead} it pulls less at every speed that was compared."
        return "No speed is shown at which the pull curves cross."
    below, above = ("harder", "less") if curves.crossing.harder_below else ("less", "harder")
    at = text(curves.crossing.speed_mps, SPEED, reader)
    return f"{lead} it pulls {below} below {at} and {above} above."


def false_alarm_words(comparison: Comparison) -> str:
    """Return how false alarms among several figures are kept rare."""
    tested = tested_count(comparison)
    if tested == 0:
        return ""
    return (
        f"{capital(count_words(tested, 'figure was', 'figures were'))} tested together so that a "
        f"machine that did not change is called better or worse in any of them in at most "
        f"{100.0 * FAMILY_LEVEL:.0f} comparisons of 100 (Holm's steps; top speed, start and pull "
        "have a larger share)."
    )


def tested_count(comparison: Comparison) -> int:
    """Return how many figures were tested together."""
    return sum(each.verdict.tested is not None for each in comparison.figures)


def method_words(comparison: Comparison) -> str:
    """Return from what the intervals of the differences were made."""
    methods = {each.difference.method for each in comparison.figures if each.difference}
    if "one ride a side" in methods:
        return (
            "One ride a side: how far rides differ by themselves is unknown, so nothing is called "
            "better or worse. The intervals are those within each ride, what the receivers leave "
            "open; two more rides on each side would tell."
        )
    if "pairs" in methods:
        rest = "; figures told by fewer logs: Student's t over the rides" * (len(methods) > 1)
        return (
            "Each log holds both modes and gives a difference of its own, in which day, ground and "
            f"air drop out (Student's t over {LEAST_PAIRS} logs or more, never narrower than the "
            f"receivers alone allow{rest})."
        )
    first = (
        "The intervals hold both the receivers' errors and the scatter between rides of one side"
    )
    if methods == {"welch"}:
        return f"{first} (Welch's interval, never narrower than the receivers alone allow)."
    return (
        f"{first} (Student's t; where a side has few rides, the rides of both sides are taken to "
        "scatter alike)."
    )


_BRACKETS = "In brackets: where the true change should lie, right 9 times out of 10."
_LABEL, _NO_BREAK = 9, "\N{NO-BREAK SPACE}"
# The longest verdict would leave the titles too little room.
_IN_SHORT = {NOT_SHOWN: "not shown"}
_HEAD = ("change", "verdict")


def compare_lines(comparison: Comparison, unit: SpeedUnit) -> Lines:
    """Return the screen about a comparison, the sentence first, then every figure."""
    comparison = at_known_mass(comparison)
    names = [capital(shortened(clean(name), 12)) for name in comparison.sides]
    room = max(8, max(map(len, names)) + 2)
    rides = zip(names, (comparison.before, comparison.after), strict=True)
    lines = job_lines(job_of(comparison))
    lines += [line for name, side in rides for line in side_lines(side, name, room)]
    lines += [("", ""), *wrapped(headline(comparison, unit), "headline")]
    lines += [("", ""), *_table(comparison, unit), ("", "")]
    remarks = [crossing_words(comparison, unit), *_reasons(comparison, unit)]
    if asks_charge(comparison):
        remarks.append("A charge is noted by --noted-before charge=full --noted-after charge=80%.")
    for remark in remarks:
        lines += wrapped(remark)
    lines.append(("", ""))
    rounding = rounding_words(comparison.figures, unit)
    for words in (_BRACKETS, rounding, method_words(comparison), false_alarm_words(comparison)):
        lines += wrapped(words, "quiet") if words else []
    if comparison.mismatches:
        lines += [("", ""), ("Besides the change itself:", "caution")]
        for mismatch in comparison.mismatches:
            lines += wrapped(mismatch.text_in(unit), "caution", "  - ")
    lines.append(("", ""))
    for caution in cautions_of(comparison):
        if not caution.general:
            label = GRAVITY_WORDS[caution.gravity]
            lines += wrapped(for_reader(caution.text, unit), "caution", f"{label:<{_LABEL}}")
    lines += [*wrapped(ALWAYS, "caution", f"{'Always':<{_LABEL}}"), ("", "")]
    lines += wrapped(f"Not measured: {unmeasured_words(comparison)}.")
    if noted := noted_words(comparison):
        lines += wrapped(noted)
    if comparison.predicted is not None:
        told = comparison.predicted
        lines += [("", ""), *agreement_lines(told.prediction, unit, told.after)]
    return lines


def _reasons(comparison: Comparison, unit: SpeedUnit) -> list[str]:
    """Return why figures cannot be told, and why a headline figure was not shown to differ."""
    figures = tested_count(comparison)
    first = [each.figure.name for each in headline_figures(comparison)]
    titles: dict[str, list[str]] = {}
    for each in comparison.figures:
        lone = each.difference is not None and each.difference.contrast is None
        # One ride a side is told once, with the method.
        told = each.verdict.word in (BETTER, WORSE) or lone
        open_one = each.figure.name in first or each.verdict.word == CANNOT_SAY
        if each.doubt or (open_one and not told):
            reason = reason_words(each, unit, figures)
            titles.setdefault(reason, []).append(each.figure.title_in(unit))
    return [f"{capital(joined(names))}: {reason}" for reason, names in titles.items()]


def side_lines(rides: Rides, name: str, room: int) -> Lines:
    """Return the rides of a side behind its name, which gets so much room."""
    names = joined([shortened(ride.name, 40) for ride in rides])
    words = f"{count_words(len(rides), 'ride')}, {days_words(rides)}: {names}"
    return wrapped(words, "quiet", f"{name:<{room}}")


def days_words(rides: Rides) -> str:
    """Return the days of some rides, each once."""
    moments = (clock_words(ride.source.start_utc, ride.source.end_utc) for ride in rides)
    return joined(list(dict.fromkeys(each.split(",")[0] for each in moments)))


def _table(comparison: Comparison, unit: SpeedUnit) -> Lines:
    """Return a row for each figure; titles that find no room go on in the next line."""
    head = ("", *(shortened(clean(name), 12) for name in comparison.sides), *_HEAD)
    rows = [head, *(_cells(each, unit) for each in comparison.figures)]
    widths = [max(len(row[place]) for row in rows) for place in (1, 2, 3, 4)]
    room = WIDTH - sum(widths) - 2 * len(widths)
    lines = []
    for row in rows:
        cells = [f"{row[1]:>{widths[0]}}", f"{row[2]:>{widths[1]}}", f"{row[3]:<{widths[2]}}"]
        title = textwrap.wrap(row[0], room, break_on_hyphens=False) or [""]
        first, *more = (line.replace(_NO_BREAK, " ") for line in title)
        style = "quiet" if row is head else "headline" if row[4] in (BETTER, WORSE) else ""
        lines.append(("  ".join((f"{first:<{room}}", *cells, row[4])), style))
        lines += [(f"  {line}", style) for line in more]
    return lines


def _cells(compared: Compared, unit: SpeedUnit) -> tuple[str, str, str, str, str]:
    quantity, word, change = compared.quantity, compared.verdict.word, ""
    told = moved(compared, unit)
    if told is not None:
        change = f"{bare(told, quantity, unit, signed=True)} "
        change += f"({bounds(told, quantity, unit, signed=True)})"
    # A unit such as "Wh/km per 100 kg" goes to the next line whole.
    label = quantity.label(unit).replace(" ", _NO_BREAK)
    title = f"{compared.figure.short_in(unit)} ({label})"
    return (title, *side_words(compared, unit), change, _IN_SHORT.get(word, word))
