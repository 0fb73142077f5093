"""Results as tables for spreadsheets: a row a figure, SI units, made from the JSON objects."""

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ridelog.present.tables import safe_cell

_ENDS = ("value", "low", "high")
RIDE_COLUMNS = ("file", "mode", "name", "unit", *_ENDS, "reason")
PREDICT_COLUMNS = (
    "name", "title", "unit", *(f"{side}_{end}" for side in ("now", "changed", "difference")
    for end in _ENDS), "limited_by", "reason",
)  # fmt: skip
OPTIONS_COLUMNS = (
    "option", "name", "title", "unit", *_ENDS, *(f"difference_{end}" for end in _ENDS),
    "limited_by", "reason",
)  # fmt: skip
_BOOK_COLUMNS = ("ride", "file", "sha256", "start_utc", "machine", "setup", "state", "problem")


def ride_csv(document: Mapping[str, Any]) -> bytes:
    """Return the figures of a ride and of its drive modes, from its JSON object."""
    file = document["source"]["file"]
    parts = [("", document["figures"])]
    parts += [(mode["name"], mode["figures"]) for mode in document["modes"]]
    return _table(
        RIDE_COLUMNS,
        (
            {
                "file": file,
                "mode": mode,
                **_told(one, ("name", "unit", "reason")),
                **_ends(one["value"]),
            }
            for mode, figures in parts
            for one in figures
        ),
    )


def predict_csv(document: Mapping[str, Any]) -> bytes:
    """Return what is, what would be and the difference, figure by figure, from a prediction.

    Price and hours stand before the figures, as what the changed machine costs.
    """
    rows = [
        {"name": name, "unit": unit, "changed_value": value}
        for name, unit, value in _cost(document, document)
    ]
    rows += [
        {
            **_told(one, ("name", "title", "unit", "limited_by", "reason")),
            **_ends(one["now"], "now_"),
            **_ends(one["changed"], "changed_"),
            **_ends(one["difference"], "difference_"),
        }
        for one in document["measures"]
    ]
    return _table(PREDICT_COLUMNS, rows)


def _cost(document: Mapping[str, Any], one: Mapping[str, Any]) -> Iterator[tuple[str, str, float]]:
    """Yield name, unit and value of what is known of price and hours."""
    for what, unit in (("price", document["currency"]), ("hours", "h")):
        if one.get(what) is not None:
            yield what, unit, one[what]


def options_csv(document: Mapping[str, Any]) -> bytes:
    """Return every figure of every option, with price and hours, from the JSON of the options."""

    def rows() -> Iterator[dict[str, Any]]:
        columns: list[tuple[str, Mapping[str, Any], Any]] = [("as it is", {}, document["now"])]
        columns += [(one["name"], one, one["figures"]) for one in document["options"]]
        for name, option, figures in columns:
            for what, unit, amount in _cost(document, option):
                yield {"option": name, "name": what, "unit": unit, "value": amount}
            for one in figures:
                yield {
                    "option": name,
                    **_told(one, ("name", "title", "unit", "limited_by", "reason")),
                    **_ends(one["value"]),
                    **_ends(one["difference"], "difference_"),
                }

    return _table(OPTIONS_COLUMNS, rows())


def book_csv(rides: Sequence[Mapping[str, Any]], figures: Sequence[Mapping[str, Any]]) -> bytes:
    """Return a row a ride of a book: what it is, then value, low and high of each figure.

    ``rides`` tell the first columns by name, ``figures`` name to value, low and high of each.
    """
    names = dict.fromkeys(name for each in figures for name in each)
    columns = (*_BOOK_COLUMNS, *(f"{name}_{end}" for name in names for end in _ENDS))
    rows = (
        {
            **{name: ride[name] for name in _BOOK_COLUMNS},
            **{key: x for name, one in each.items() for key, x in _ends(one, f"{name}_").items()},
        }
        for ride, each in zip(rides, figures, strict=True)
    )
    return _table(columns, rows)


def _told(one: Mapping[str, Any], names: Sequence[str]) -> dict[str, Any]:
    return {name: one.get(name) for name in names}


def _ends(estimate: Mapping[str, float] | None, before: str = "") -> dict[str, str]:
    if estimate is None:
        return {}
    return {f"{before}{end}": f"{estimate[end]:.6g}" for end in _ENDS}


def _table(columns: Sequence[str], rows: Any) -> bytes:
    stream = io.StringIO()
    writer = csv.DictWriter(stream, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: safe_cell(value) for name, value in row.items()} for row in rows)
    return stream.getvalue().encode("utf-8", errors="replace")
