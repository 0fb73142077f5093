"""The page over a table of many rides: each machine's figures over time, and what drifted."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from ridelog import __version__
from ridelog.analysis.settings import WALKING_PACE_MPS
from ridelog.compare.drift import LEAST_RIDES, WATCHED, Drift, drifts_of
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.quantity import SPEED, amount, plain, text
from ridelog.core.text import clean, count_words
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, framed, title
from ridelog.present.html import laid_out
from ridelog.present.palette import INK, LINE, MARK
from ridelog.present.section import Picture, draw_picture
from ridelog.present.words import capital, joined

# More machines than these have words and a table; nobody would look at their pictures.
_MOST_PICTURES = 40
# With more machines than these one looks at those that changed, and opens another when one asks.
_FOLDED_FROM = 12
# Of a machine with more rides the newest are listed; all are in the table that the page is of.
_MOST_ROWS = 500
_NOT_NAMED = "Machine not named"
_HEAD = ("Ride", "When", "Signal", "Top speed", "0 to 20 km/h", "Mean braking", "Reverse")
Links = Mapping[str, str]


def fleet_page(table: pd.DataFrame, unit: SpeedUnit, links: Links | None = None) -> str:
    """Return the page about a table as ``batch_table.frame_of`` makes it, as HTML.

    ``links`` has where the page of a ride lies, by the SHA-256 of its log, as a link from this
    page's place; a ride without one is named and not linked.
    """
    links = links or {}
    seasons = [(_machine(name, rides, unit, links), rides) for name, rides in _by_machine(table)]
    # What needs a hand comes first.
    seasons.sort(key=lambda one: (not one[0]["worse"], not one[0]["better"]))
    for number, (one, rides) in enumerate(seasons[:_MOST_PICTURES]):
        one["picture"] = _picture(rides, unit, number)
    machines = [one for one, _ in seasons]
    for one in machines if len(machines) > _FOLDED_FROM else ():
        one["folded"] = not one["worse"] and not one["better"]
    drifted = [one["name"] for one in machines if one["drifted"]]
    too_fast = [one["name"] for one in machines if one["too_fast"]]
    told = sum(one["told"] for one in machines)
    return laid_out(
        "fleet.html",
        title=f"{count_words(len(table), 'ride')}, {count_words(len(machines), 'machine')}",
        headline=_headline(drifted, too_fast, told),
        machines=machines,
        head=_HEAD,
        unread=[
            (clean(str(row["file"])), str(row["status"]), clean(str(row["reason"])))
            for row in _records(table[table["status"] != "measured"])
        ],
        least=LEAST_RIDES,
        # What the level allows, for a reader who wonders about one flag among many machines.
        judged=count_words(told, "machine") if told > 1 else "",
        by_chance=f"{round((1.0 - LEVEL) * told):,}",
        version=__version__,
    )


def _headline(drifted: list[str], too_fast: list[str], told: int) -> str:
    """Return which machines to look at and why; what holds for none is not spoken of."""
    parts = []
    if drifted:
        parts.append(f"Look at {joined(drifted)}: changed for the worse.")
    if too_fast:
        parts.append(f"Backwards above walking pace: {joined(too_fast)}.")
    if parts:
        return " ".join(parts)
    if told:
        return "No machine is shown to have changed for the worse."
    return "Too few rides yet to tell whether a machine changed."


def rides_to_look_at(table: pd.DataFrame) -> set[str]:
    """Return the SHA-256 of every ride of a machine that got worse or passed a limit."""
    return {
        str(sha256)
        for name, rides in _by_machine(table)
        if any(one.drifted for one in _drifts(name, rides)) or _above_pace(rides)
        for sha256 in rides["sha256"]
    }


def _by_machine(table: pd.DataFrame) -> Iterator[tuple[str, pd.DataFrame]]:
    """Yield each machine's measured rides in order of time, another set-up as another machine.

    What was changed on purpose is no drift; rides whose log tells no day come last, and those of
    which no machine is known where others have one.
    """
    measured = table[(table["status"] == "measured") & (table["start_utc"].fillna("") != "")]
    measured = measured.sort_values("start_utc", kind="stable")
    names = pd.Series("", index=measured.index)
    if "machine" in measured:
        names = measured["machine"].fillna("").astype(str)
    if "setup" in measured:
        setups = measured["setup"].fillna("").astype(str)
        names = names + (" (" + setups + ")").where((names != "") & (setups != ""), setups)
    for name, rides in sorted(measured.groupby(names), key=lambda one: (one[0] == "", one[0])):
        yield str(name), rides


def _machine(name: str, rides: pd.DataFrame, unit: SpeedUnit, links: Links) -> dict[str, Any]:
    drifts = _drifts(name, rides)
    worse = [_moved(one, rides, unit, links) for one in drifts if one.drifted]
    if above := _above_pace(rides):
        pace = plain(WALKING_PACE_MPS, SPEED, unit)
        worse.append((f"Backwards above {pace} in {count_words(above, 'ride')}.", ()))
    newest = rides.iloc[::-1].head(_MOST_ROWS)
    return {
        "name": clean(name) or _NOT_NAMED,
        "rides": count_words(len(rides), "ride"),
        "worse": worse,
        "drifted": any(one.drifted for one in drifts),
        "too_fast": bool(above),
        "better": [_moved(one, rides, unit, links) for one in drifts if one.improved],
        "told": bool(drifts),
        "unknown": _unknown(name, rides),
        "picture": None,
        "folded": False,
        "rows": [_row(ride, unit, links) for ride in _records(newest)],
        "left_out": f"{len(rides) - len(newest):,}" if len(rides) > len(newest) else "",
    }


def _unknown(name: str, rides: pd.DataFrame) -> bool:
    """Return whether these rides may be of many machines: what names others is missing."""
    return not name and "machine" in rides


def _drifts(name: str, rides: pd.DataFrame) -> tuple[Drift, ...]:
    if _unknown(name, rides):
        return ()
    dated = rides[_dated(rides)]
    return drifts_of(
        {one.name: list(dated[f"{one.name}_value"]) for one in WATCHED
         if f"{one.name}_value" in dated}
    )  # fmt: skip


def _moved(
    drift: Drift, rides: pd.DataFrame, unit: SpeedUnit, links: Links
) -> tuple[str, tuple[tuple[str, str, str], ...]]:
    """Return what is said of a change, and the rides on both its sides: words, name, link."""
    told = rides[_dated(rides) & rides[f"{drift.watched.name}_value"].notna()]
    verb = "rose" if drift.difference.value > 0.0 else "fell"
    by = amount(drift.difference, drift.watched.quantity, unit)
    after = count_words(drift.first_after, "ride")
    sides = (("Last before", drift.first_after - 1), ("first after", drift.first_after))
    return (
        f"{capital(drift.watched.title)} {verb} by {by} after its first {after}.",
        tuple(
            (words, clean(str(told["file"].iloc[at])), links.get(told["sha256"].iloc[at], ""))
            for words, at in sides
        ),
    )


def _above_pace(rides: pd.DataFrame) -> int:
    """Return in how many rides the machine surely went backwards faster than at walking pace."""
    if "reverse_top_mps_low" not in rides:
        return 0
    return int((rides["reverse_top_mps_low"] > WALKING_PACE_MPS).sum())


def _dated(rides: pd.DataFrame) -> "pd.Series[bool]":
    """Return which rides tell their day; some receivers log the time of day alone."""
    return rides["start_utc"].astype(str).str[:1].str.isdigit()


def _estimate(ride: dict[str, Any], name: str) -> Estimate | None:
    found = [ride.get(f"{name}_{part}") for part in ("value", "low", "high")]
    if any(each is None or pd.isna(each) for each in found):
        return None
    return Estimate(*(float(each) for each in found if each is not None))


def _top(ride: dict[str, Any]) -> Estimate | None:
    return _estimate(ride, "two_way_mps") or _estimate(ride, "best_1s_mps")


def _row(ride: dict[str, Any], unit: SpeedUnit, links: Links) -> tuple[str, list[str]]:
    """Return the link of a row, empty without one, and its cells."""
    figures = [(_top(ride), SPEED)]
    figures += [(_estimate(ride, one.name), one.quantity) for one in WATCHED[2:]]
    figures.append((_estimate(ride, "reverse_top_mps"), SPEED))
    said = ["–" if found is None else text(found, kind, unit) for found, kind in figures]
    cells = [clean(str(ride["file"])), _day(str(ride["start_utc"])), str(ride["grade"]), *said]
    return links.get(str(ride["sha256"]), ""), cells


def _day(utc: str) -> str:
    return utc[:10] if utc[:1].isdigit() else "no date"


def _records(rides: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in rides.to_dict("records")]


def _picture(rides: pd.DataFrame, unit: SpeedUnit, number: int) -> Picture | None:
    """Return the top speed of every ride against its day, None with fewer than three."""
    told = [
        (datetime.fromisoformat(str(ride["start_utc"])), top)
        for ride in _records(rides[_dated(rides)])
        if (top := _top(ride)) is not None
    ]
    if len(told) < 3:
        return None
    label = f"Top speed of {count_words(len(told), 'ride')} against their days."
    return draw_picture(f"machine-{number + 1}", label, partial(_figure, told, unit))


def _figure(told: list[tuple[datetime, Estimate]], unit: SpeedUnit, shape: Shape) -> Figure:
    figure, axes = framed(shape, 0.75 * shape.height_in)
    years = sorted({day.year for day, _ in told})
    days = [day for day, _ in told]
    values, lows, highs = zip(*(SPEED.ends(top, unit) for _, top in told), strict=True)
    axes.vlines(days, lows, highs, color=LINE.light, linewidth=1.2)  # type: ignore[arg-type]
    axes.plot(days, values, "o", color=MARK.light, markersize=4.0)  # type: ignore[arg-type]
    span = max(highs) - min(lows)
    axes.set_ylim(min(lows) - 0.2 * span - 0.1, max(highs) + 0.2 * span + 0.1)
    first, last = axes.get_xlim()
    days_of_ticks = MaxNLocator(7 if shape.wide else 3, integer=True).tick_values(first, last)
    # A word at the very end would stand beyond the picture.
    room = (0.05 if shape.wide else 0.1) * (last - first)
    axes.set_xticks([day for day in days_of_ticks if first <= day <= last - room])
    axes.xaxis.set_major_formatter(FuncFormatter(partial(_short, with_year=len(years) > 1)))
    axes.tick_params(colors=INK.light)
    title(
        figure, shape, f"Top speed, {unit.label}", " to ".join(map(str, years[:1] + years[1:][-1:]))
    )
    return figure


def _short(day_number: float, _: int, *, with_year: bool) -> str:
    """Return a day of matplotlib's count, which begins with 1970."""
    try:
        day = datetime(1970, 1, 1) + timedelta(days=day_number)
    except OverflowError:  # a margin beside a receiver's year 1
        return ""
    return f"{day:%b} {day.year}" if with_year else f"{day.day} {day:%b}"
