"""What a change costs: an amount of money and hours of work, as a workshop notes them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ridelog.core.errors import SetupError
from ridelog.core.text import clean

# What the owner's currency is called where nobody says.
NO_CURRENCY = ""
# A code of three letters or a word such as "crowns": own choice. Letters.
LONGEST_CURRENCY = 8
# Beyond these a number was meant for another key: own choice.
_MOST = {"price": 1e6, "hours": 1e4}


@dataclass(frozen=True)
class Cost:
    """Price and hours of work, None for what nobody noted; the price is in ``currency``."""

    price: float | None = None
    hours: float | None = None
    currency: str = NO_CURRENCY


def amount_in(table: Mapping[str, Any], key: str, where: str = "") -> float | None:
    """Return the price or the hours of a table, None where it holds none.

    SetupError, which begins with ``where``, if it cannot be.
    """
    value, most = table.get(key), _MOST[key]
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= most:
        raise SetupError(
            f"{where}{key} = {value!r} must be a number from 0 to {most:,.0f}.",
            "leave it out if it is not known.",
        )
    return float(value)


def typed_amount(words: str, key: str, where: str = "") -> float | None:
    """Return the price or the hours that were typed, such as "39,60"; None for nothing.

    SetupError, which begins with ``where``, if that cannot be.
    """
    if not words.strip():
        return None
    try:
        value = float(words.replace(",", "."))
    except ValueError as error:
        raise SetupError(
            f'{where}{key} "{clean(words)}" is no number.',
            "write it like 40 or 1.5, or leave it out.",
        ) from error
    return amount_in({key: value}, key, where)


def checked_cost(price: float | None, hours: float | None, currency: str) -> Cost:
    """Return what a change costs; SetupError if a part of it cannot be."""
    currency = " ".join(currency.split())
    if len(currency) > LONGEST_CURRENCY:
        raise SetupError(
            f"currency has {len(currency)} letters; at most {LONGEST_CURRENCY} find room.",
            "write it like EUR.",
        )
    table = {"price": price, "hours": hours}
    return Cost(amount_in(table, "price"), amount_in(table, "hours"), currency)
