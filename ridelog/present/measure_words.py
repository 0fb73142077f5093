"""Compared figures in words: speeds in the reader's unit, times and accelerations in SI."""

from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit

MINUS = "\N{MINUS SIGN}"


def factor_and_label(unit: str, reader: SpeedUnit) -> tuple[float, str]:
    """Return by what a figure in SI is multiplied for the reader, and its unit in words."""
    if unit == "m/s":
        return 1.0 / reader.mps_per_unit, reader.label
    if unit == "m":
        return 1.0 / reader.metres_per_distance, reader.distance_label
    if unit == "m/s2":
        return 1.0, "m/s²"
    return 1.0, unit


def figure_words(estimate: Estimate, unit: str, reader: SpeedUnit) -> str:
    """Return a figure with its unit, such as "34.7 km/h", to the decimals its interval deserves."""
    factor, label = factor_and_label(unit, reader)
    return f"{number_words(factor * estimate.value, places(estimate, factor))} {label}"


def bounds_of(estimate: Estimate, unit: str, reader: SpeedUnit, *, signed: bool = False) -> str:
    """Return both ends of an interval without unit: "34.5 to 34.9"."""
    factor, _ = factor_and_label(unit, reader)
    count = places(estimate, factor)
    low, high = (
        number_words(factor * end, count, signed=signed) for end in (estimate.low, estimate.high)
    )
    return f"{low} to {high}"


def change_words(estimate: Estimate, unit: str, reader: SpeedUnit) -> str:
    """Return a difference with its sign and unit, such as "-2.5 km/h" with a true minus."""
    factor, label = factor_and_label(unit, reader)
    value = number_words(factor * estimate.value, places(estimate, factor), signed=True)
    return f"{value} {label}"


def amount_words(value: float, unit: str, reader: SpeedUnit) -> str:
    """Return a positive amount with two digits that count, such as "0.42 km/h"."""
    factor, label = factor_and_label(unit, reader)
    scaled = abs(factor * value)
    count = 0 if scaled >= 10.0 else 1 if scaled >= 1.0 else 2
    return f"{scaled:.{count}f} {label}"


def percent_words(percent: Estimate | None) -> str:
    """Return a change in whole per cent with its sign, one decimal below ten; empty for None."""
    if percent is None:
        return ""
    count = 0 if abs(percent.value) >= 9.95 else 1
    return f"{number_words(percent.value, count, signed=True)} %"


def places(estimate: Estimate, factor: float) -> int:
    """Return how many decimals a figure deserves: those in which its interval is ten wide."""
    width = abs(factor) * (estimate.high - estimate.low)
    if width >= 20.0:
        return 0
    return 1 if width >= 0.5 else 2


def number_words(value: float, count: int, *, signed: bool = False) -> str:
    """Return a number with a true minus sign; nothing that rounds to nought carries a sign."""
    text = f"{abs(value):.{count}f}"
    if float(text) == 0.0:
        return text
    if value < 0.0:
        return MINUS + text
    return ("+" if signed else "") + text
