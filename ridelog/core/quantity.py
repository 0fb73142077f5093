"""What a figure is a figure of, and the only place where figures become words.

A quantity knows its SI unit, the unit in which a reader takes it, and how many decimals it ever
deserves. Every surface writes its numbers through this module, so one figure reads the same on all.
"""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from ridelog.core.estimate import Estimate
from ridelog.core.units import (
    DEGREES_PER_RADIAN,
    JOULES_PER_WH,
    SPEED_UNITS,
    STANDARD_GRAVITY_MPS2,
    SpeedUnit,
)

MINUS = "\N{MINUS SIGN}"
# The last decimal printed is worth at least this share of the interval's width: a finer one would
# promise what the interval takes back. Own rule.
_SHARE_OF_WIDTH = 0.2


@dataclass(frozen=True)
class Quantity:
    """A kind of figure.

    name : the field's word for it.
    si : its SI unit as scripts read it.
    most_decimals : more are never printed, however narrow the interval.
    reading : gives the label of the reader's unit and how many SI units it holds.
    """

    name: str
    si: str
    most_decimals: int
    reading: Callable[[SpeedUnit], tuple[str, float]]

    def label(self, reader: SpeedUnit) -> str:
        """Return the reader's unit, such as "km/h"."""
        return self.reading(reader)[0]

    def scaled(self, value: float, reader: SpeedUnit) -> float:
        """Return a value in SI in the reader's unit."""
        return value / self.reading(reader)[1]

    def ends(self, estimate: Estimate, reader: SpeedUnit) -> tuple[float, float, float]:
        """Return value, low and high of an estimate in the reader's unit."""
        value, low, high = (
            self.scaled(each, reader) for each in (estimate.value, estimate.low, estimate.high)
        )
        return value, low, high


SPEED = Quantity("speed", "m/s", 1, lambda reader: (reader.label, reader.mps_per_unit))
TIME = Quantity("time", "s", 2, lambda reader: ("s", 1.0))
LENGTH = Quantity(
    "length", "m", 2, lambda reader: (reader.distance_label, reader.metres_per_distance)
)
TRAVEL = Quantity("travel", "m", 1, lambda reader: (reader.travel_label, reader.metres_per_travel))
ACCELERATION = Quantity(
    "acceleration", "m/s2", 2, lambda reader: (reader.accel_label, reader.mps2_per_accel)
)
# How hard a turn pushes sideways, for readers as a share of the weight.
TURN_LOAD = Quantity("load of a turn", "m/s2", 2, lambda reader: ("g", STANDARD_GRAVITY_MPS2))
YAW_RATE = Quantity("yaw rate", "rad/s", 1, lambda reader: ("°/s", 1.0 / DEGREES_PER_RADIAN))
CURRENT = Quantity("current", "A", 1, lambda reader: ("A", 1.0))
POWER = Quantity("power", "W", 0, lambda reader: ("W", 1.0))
ENERGY_PER_LENGTH = Quantity(
    "energy per length",
    "J/m",
    1,
    lambda reader: (f"Wh/{reader.travel_label}", JOULES_PER_WH / reader.metres_per_travel),
)
RATIO = Quantity("ratio", "1", 3, lambda reader: ("times", 1.0))
# Rise over run, for readers in per cent.
SLOPE = Quantity("slope", "", 1, lambda reader: ("%", 0.01))
PERCENT = Quantity("share of what it was before", "%", 1, lambda reader: ("%", 1.0))
BY_SI = {
    each.si: each
    for each in (SPEED, TIME, LENGTH, ACCELERATION, YAW_RATE, CURRENT, POWER, ENERGY_PER_LENGTH)
}


def text(estimate: Estimate, quantity: Quantity, reader: SpeedUnit) -> str:
    """Return a figure with its interval, such as "2.81 s (2.70 to 2.92)"."""
    return f"{value(estimate, quantity, reader)} ({bounds(estimate, quantity, reader)})"


def value(estimate: Estimate, quantity: Quantity, reader: SpeedUnit) -> str:
    """Return a figure with its unit to the decimals that its interval deserves: "34.9 km/h"."""
    return f"{bare(estimate, quantity, reader)} {quantity.label(reader)}"


def bare(
    estimate: Estimate,
    quantity: Quantity,
    reader: SpeedUnit,
    *,
    signed: bool = False,
    beside: Sequence[Estimate] = (),
) -> str:
    """Return a figure without its unit; ``beside`` is as of ``decimals``."""
    count = decimals(estimate, quantity, reader, beside)
    return number(quantity.scaled(estimate.value, reader), count, signed=signed)


def bounds(
    estimate: Estimate,
    quantity: Quantity,
    reader: SpeedUnit,
    *,
    signed: bool = False,
    beside: Sequence[Estimate] = (),
) -> str:
    """Return both ends of an interval without unit: "34.8 to 35.0"."""
    count = decimals(estimate, quantity, reader, beside)
    low, high = (
        number(quantity.scaled(end, reader), count, signed=signed)
        for end in (estimate.low, estimate.high)
    )
    return f"{low} to {high}"


def span(estimate: Estimate, quantity: Quantity, reader: SpeedUnit) -> str:
    """Return an interval with its unit and no figure: "12 to 32 km/h"."""
    return f"{bounds(estimate, quantity, reader)} {quantity.label(reader)}"


def text_or_span(
    estimate: Estimate, quantity: Quantity, reader: SpeedUnit, weak: str | None = None
) -> str:
    """Return a firm figure with its interval, else the range alone and why.

    ``weak`` says why no figure of its log may be named, "" for a log that is good enough; None is
    for what comes from no log, such as a prediction.
    """
    if estimate.firm and not weak:
        return text(estimate, quantity, reader)
    if weak:
        return f"somewhere from {rough_span(estimate, quantity, reader)} (weak signal)"
    why = "" if weak is None else " (no closer with this log)"
    return f"somewhere from {span(estimate, quantity, reader)}{why}"


def rough_span(estimate: Estimate, quantity: Quantity, reader: SpeedUnit) -> str:
    """Return the range of a figure that may not be named, with its unit: "22 to 24 km/h"."""
    return f"{rough_bounds(estimate, quantity, reader)} {quantity.label(reader)}"


def rough_bounds(estimate: Estimate, quantity: Quantity, reader: SpeedUnit) -> str:
    """Return both ends of an interval outward to two digits that count, without unit.

    A narrow one from a weak log, such as 22.7 to 23.1, would read as if it were a figure; "22 to
    24" holds whatever it holds.
    """
    low, high = (quantity.scaled(end, reader) for end in (estimate.low, estimate.high))
    largest = max(abs(low), abs(high))
    count = 1 - math.floor(math.log10(largest)) if largest > 0.0 else 0
    step = 0.1 ** max(0, min(quantity.most_decimals, count))
    # A thousandth of a step is rounding of the scaled ends, not more of the interval.
    ends = math.floor(low / step + 1e-3), math.ceil(high / step - 1e-3)
    low_words, high_words = (number(end * step, max(0, round(-math.log10(step)))) for end in ends)
    return f"{low_words} to {high_words}"


def signed(
    estimate: Estimate, quantity: Quantity, reader: SpeedUnit, beside: Sequence[Estimate] = ()
) -> str:
    """Return a difference with its sign: "−2.7 km/h (−3.3 to −2.1)".

    ``beside`` are the figures that it stands beside, as of ``decimals``.
    """
    words = bare(estimate, quantity, reader, signed=True, beside=beside)
    ends = bounds(estimate, quantity, reader, signed=True, beside=beside)
    return f"{words} {quantity.label(reader)} ({ends})"


def amount(estimate: Estimate, quantity: Quantity, reader: SpeedUnit) -> str:
    """Return how much a difference amounts to, whichever way: "2.7 km/h (2.1 to 3.3)"."""
    if estimate.value >= 0.0:
        return text(estimate, quantity, reader)
    return text(
        Estimate(-estimate.value, -estimate.high, -estimate.low, estimate.level), quantity, reader
    )


def together(estimates: Sequence[Estimate], quantity: Quantity, reader: SpeedUnit) -> list[str]:
    """Return figures that stand side by side, without unit, all to the decimals of the roughest."""
    count = min(decimals(each, quantity, reader) for each in estimates)
    return [number(quantity.scaled(each.value, reader), count) for each in estimates]


def rough(figure: float, quantity: Quantity, reader: SpeedUnit) -> str:
    """Return how large a difference is, whichever way, to two digits that count: "0.42 km/h"."""
    scaled = abs(quantity.scaled(figure, reader))
    count = 0 if scaled >= 10.0 else 1 if scaled >= 1.0 else 2
    return f"{number(scaled, count)} {quantity.label(reader)}"


def plain(figure: float, quantity: Quantity, reader: SpeedUnit, count: int | None = None) -> str:
    """Return a value that has no interval, such as a limit: "35 km/h".

    Parameters
    ----------
    figure : float
        In SI.
    quantity, reader
        What it is, and who reads it.
    count : int, optional
        Decimals; without it three digits that count, at most those of the quantity.
    """
    scaled = quantity.scaled(figure, reader)
    if count is None:
        whole = len(f"{abs(scaled):.0f}")
        count = max(0, min(quantity.most_decimals, 3 - whole))
    return f"{number(scaled, count)} {quantity.label(reader)}"


def both_units(speed_mps: float, count: int = 0) -> str:
    """Return a speed in both of the units that readers use: "35 km/h (22 mph)"."""
    kmh, mph = (plain(speed_mps, SPEED, SPEED_UNITS[name], count) for name in ("km/h", "mph"))
    return f"{kmh} ({mph})"


def for_reader(words: str, reader: SpeedUnit) -> str:
    """Return a sentence whose values stand in both units with the reader's alone.

    What is stored for both kinds of readers reads "48 km/h (30 mph)" and "40 m (130 ft)"; one of
    them sees 48 km/h and 40 m, the other 30 mph and 130 ft.
    """
    metric, imperial = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
    if reader not in (metric, imperial):
        return words
    for one, other in (
        (metric.label, imperial.label),
        (metric.distance_label, imperial.distance_label),
        (metric.accel_label, imperial.accel_label),
    ):
        pair = rf"([\d.,]+ {re.escape(one)}) \(([\d.,]+ {re.escape(other)})\)"
        words = re.sub(pair, r"\1" if reader == metric else r"\2", words)
    return words


def as_printed(
    difference: Estimate,
    sides: Sequence[Estimate],
    quantity: Quantity,
    reader: SpeedUnit,
) -> Estimate:
    """Return a difference whose value is that of both ``sides``, before and after, as printed.

    Who reads 47.6 and 52.5 takes one from the other, and +5.0 looks like a mistake. Rounding puts
    each side off by half a last digit at most, and so their difference by one; its interval stays.
    The difference is left as it is where more than rounding parts the two, where it is told finer
    than the sides, or where it would leave its interval or become nought.
    """
    if len(sides) != 2:
        return difference
    count = min(decimals(each, quantity, reader) for each in sides)
    own, step = decimals(difference, quantity, reader), 0.1**count
    before, after = (round(quantity.scaled(each.value, reader), count) for each in sides)
    exact, low, high = quantity.ends(difference, reader)
    told = round(after - before, min(own, count))
    inside = low <= after - before <= high
    # A thousandth of a digit is the arithmetic of printed decimals.
    near = abs(after - before - exact) <= 1.001 * step and told * round(exact, own) > 0.0
    if own > count or not (near and inside):
        return difference
    return replace(difference, value=difference.value * (after - before) / exact)


def decimals(
    estimate: Estimate, quantity: Quantity, reader: SpeedUnit, beside: Sequence[Estimate] = ()
) -> int:
    """Return how many decimals a figure deserves in the reader's unit.

    One more than the most where both ends of its interval would read alike. A difference that
    stands ``beside`` the figures it lies between is told no finer than they are, unless it would
    read as nought there alone.
    """
    if beside:
        own, scaled = decimals(estimate, quantity, reader), quantity.scaled(estimate.value, reader)
        count = min(own, *(decimals(each, quantity, reader) for each in beside))
        return own if round(scaled, own) != 0.0 == round(scaled, count) else count
    low, high = (quantity.scaled(end, reader) for end in (estimate.low, estimate.high))
    most, share = quantity.most_decimals, _SHARE_OF_WIDTH * (high - low)
    # The share of the least width that a computer holds is nothing.
    if share <= 0.0:
        return most
    if number(low, most) == number(high, most):
        most += 1
    return max(0, min(most, math.ceil(-math.log10(share))))


def number(figure: float, count: int, *, signed: bool = False) -> str:
    """Return a number with a true minus sign; nothing that rounds to nought carries a sign."""
    words = f"{abs(figure):,.{count}f}"
    if float(words.replace(",", "")) == 0.0:
        return words
    if figure < 0.0:
        return MINUS + words
    return ("+" if signed else "") + words


def money_words(amounts: Sequence[float], currency: str) -> str:
    """Return the sum of some amounts of money: "620 EUR", or "39.60 EUR" where there are cents.

    Each amount counts to the cent, as it is printed, so that printed amounts add up.
    """
    cents = sum(round(100.0 * amount) for amount in amounts)
    return f"{number(cents / 100.0, 0 if cents % 100 == 0 else 2)} {currency}".strip()


def cost_words(price: float | None, hours: float | None, currency: str) -> str:
    """Return price and hours of work: "39.60 EUR, 1.5 h"; empty if nobody knows either."""
    parts = ["" if price is None else money_words([price], currency)]
    parts += ["" if hours is None else hours_words(hours)]
    return ", ".join(part for part in parts if part)


def hours_words(hours: float) -> str:
    """Return hours of work: "1.5 h"."""
    return f"{round(hours, 2):,g} h"
