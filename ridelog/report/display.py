"""The check of a display, as JSON and on the terminal."""

from typing import Any

from ridelog.analysis.subject import RideSource
from ridelog.compare.display.measure import DisplayCheck
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import RATIO, SPEED, TIME, Quantity, plain, text
from ridelog.core.text import count_words
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.present.json import as_json
from ridelog.present.words import Lines, wrapped
from ridelog.report.ride_json import read_with

SCHEMA = "ridelog.display/1"
_SI = SPEED_UNITS["km/h"]
# Displays are set in whole millimetres: common practice, no source. A factor by definition.
_CIRCUMFERENCE = Quantity("circumference", "m", 0, lambda reader: ("mm", 1e-3))


def display_json(
    source: RideSource,
    found: DisplayCheck,
    set_m: float | None,
    should_be_m: Estimate | None,
    columns: str = "",
) -> dict[str, Any]:
    """Return the object ``ridelog.display/1``; ``columns`` is that of ``Settings``."""
    document: dict[str, Any] = as_json(found)
    wheel = None
    if should_be_m is not None:
        wheel = {"now_m": set_m, "should_be_m": should_be_m.as_json()}
    head = {"schema": SCHEMA, **read_with(columns), "source": as_json(source)}
    return {**head, **document, "circumference": wheel}


def display_lines(found: DisplayCheck, reader: SpeedUnit, should_be_m: Estimate | None) -> Lines:
    """Return the lines of the terminal."""
    low, high = (plain(each, SPEED, reader, 0) for each in found.tested_mps)
    lines = [
        (f"The display shows {text(found.factor, RATIO, reader)} the true speed.", "headline"),
        (f"Offset: {text(found.offset_mps, SPEED, reader)}", ""),
        (
            f"Delay: {text(found.delay_s, TIME, reader) if found.delay_s else found.reason}",
            "",
        ),
        (f"Tested from {low} to {high}, {count_words(len(found.points), 'reading')}.", "quiet"),
    ]
    if found.unused:
        left = count_words(found.unused, "reading")
        lines.append((f"{left} at a gap of the log or below walking pace: not used.", "quiet"))
    if should_be_m is not None:
        lines.append(
            (
                f"Circumference that would make it right: {text(should_be_m, _CIRCUMFERENCE, _SI)}",
                "",
            )
        )
    words = {True: "met", False: "NOT met", None: "not decided by these readings"}
    for limit in found.limits:
        style = "caution" if limit.met is False else ""
        lines.append((f"{words[limit.met]}: {limit.rule} ({limit.source})", style))
    return [row for words, style in lines for row in wrapped(words, style)]
