"""The page over a table of many rides: each machine's figures over time, and what drifted."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from functools import partial
from typing import Any

import pandas as pd
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator

from ridelog import __version__
from ridelog.analysis.settings import WALKING_PACE_MPS
from ridelog.compare.drift import LEAST_RIDES, WATCHED, Drift, drifts_of
from ridelog.core.estimate import Estimate
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
_NOT_NAMED = "Machine not named"


def fleet_page(table: pd.DataFrame, unit: SpeedUnit) -> str:
    """Return the page about a table as ``batch_table.frame_of`` makes it, as HTML."""
    measured = table[(table["status"] == "measured") & (table["start_utc"].fillna("") != "")]
    measured = measured.sort_values("start_utc", kind="stable")
    names = measured["machine"] if "machine" in measured else pd.Series("", index=measured.index)
    machines = [
        _machine(str(name), rides, unit, number)
        for number, (name, rides) in enumerate(measured.groupby(names.fillna(""), sort=True))
    ]
    # What needs a hand comes first.
    machines.sort(key=lambda one: (not one["worse"], not one["better"]))
    for one in machines[_MOST_PICTURES:]:
        one["picture"] = None
    worse = [one["name"] for one in machines if one["worse"]]
    return laid_out(
        "fleet.html",
        title=f"{count_words(len(table), 'ride')}, {count_words(len(machines), 'machine')}",
        headline=(
            f"Look at {joined(worse)}: changed for the worse, or above a limit."
            if worse
            else "No machine is shown to have changed for the worse."
        ),
        machines=machines,
        head=["Ride", "When", "Signal", "Top speed", "0 to 20 km/h", "Mean braking", "Reverse"],
        unread=[
            [clean(str(row["file"])), str(row["status"]), clean(str(row["reason"]))]
            for _, row in table[table["status"] != "measured"].iterrows()
        ],
        least=LEAST_RIDES,
        version=__version__,
    )


def _machine(name: str, rides: pd.DataFrame, unit: SpeedUnit, number: int) -> dict[str, Any]:
    drifts = drifts_of(
        {each.name: list(rides[f"{each.name}_value"]) for each in WATCHED
         if f"{each.name}_value" in rides}
    )  # fmt: skip
    worse = [_moved(one, unit) for one in drifts if one.drifted] + _too_fast_backwards(rides, unit)
    return {
        "name": clean(name) or _NOT_NAMED,
        "rides": count_words(len(rides), "ride"),
        "worse": worse,
        "better": [_moved(one, unit) for one in drifts if one.improved],
        "told": bool(drifts),
        "picture": _picture(rides, unit, number),
        "rows": [_row(ride, unit) for ride in _records(rides)],
    }


def _moved(drift: Drift, unit: SpeedUnit) -> str:
    verb = "rose" if drift.difference.value > 0.0 else "fell"
    by = amount(drift.difference, drift.watched.quantity, unit)
    after = count_words(drift.first_after, "ride")
    return f"{capital(drift.watched.title)} {verb} by {by} after its first {after}."


def _too_fast_backwards(rides: pd.DataFrame, unit: SpeedUnit) -> list[str]:
    if "reverse_top_mps_low" not in rides:
        return []
    above = int((rides["reverse_top_mps_low"] > WALKING_PACE_MPS).sum())
    pace = plain(WALKING_PACE_MPS, SPEED, unit)
    return [f"Backwards above {pace} in {count_words(above, 'ride')}."] if above else []


def _estimate(ride: dict[str, Any], name: str) -> Estimate | None:
    found = [ride.get(f"{name}_{part}") for part in ("value", "low", "high")]
    if any(each is None or pd.isna(each) for each in found):
        return None
    return Estimate(*(float(each) for each in found if each is not None))


def _top(ride: dict[str, Any]) -> Estimate | None:
    return _estimate(ride, "two_way_mps") or _estimate(ride, "best_1s_mps")


def _row(ride: dict[str, Any], unit: SpeedUnit) -> list[str]:
    cells = [(_top(ride), SPEED)]
    cells += [(_estimate(ride, one.name), one.quantity) for one in WATCHED[2:]]
    cells.append((_estimate(ride, "reverse_top_mps"), SPEED))
    said = ["–" if found is None else text(found, kind, unit) for found, kind in cells]
    return [clean(str(ride["file"])), _day(str(ride["start_utc"])), str(ride["grade"]), *said]


def _day(utc: str) -> str:
    return utc[:10] if utc[:1].isdigit() else "no date"


def _records(rides: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in rides.to_dict("records")]


def _dated(rides: pd.DataFrame) -> Iterable[tuple[datetime, Estimate]]:
    for ride in _records(rides):
        top = _top(ride)
        if top is not None and str(ride["start_utc"])[:1].isdigit():
            yield datetime.fromisoformat(str(ride["start_utc"])), top


def _picture(rides: pd.DataFrame, unit: SpeedUnit, number: int) -> Picture | None:
    """Return the top speed of every ride against its day, None with fewer than three."""
    told = list(_dated(rides))
    if len(told) < 3:
        return None
    label = f"Top speed of {count_words(len(told), 'ride')} against their days."
    return draw_picture(f"machine-{number + 1}", label, partial(_figure, told, unit))


def _figure(told: list[tuple[datetime, Estimate]], unit: SpeedUnit, shape: Shape) -> Figure:
    figure, axes = framed(shape, 0.75 * shape.height_in)
    ends = [SPEED.ends(top, unit) for _, top in told]
    for (day, _), (value, low, high) in zip(told, ends, strict=True):
        axes.plot([day, day], [low, high], color=LINE.light, linewidth=1.2)  # type: ignore[arg-type]
        axes.plot([day], [value], "o", color=MARK.light, markersize=4.0)  # type: ignore[arg-type]
    span = max(high for *_, high in ends) - min(low for _, low, _ in ends)
    axes.set_ylim(min(low for _, low, _ in ends) - 0.2 * span - 0.1,
                  max(high for *_, high in ends) + 0.2 * span + 0.1)  # fmt: skip
    axes.xaxis.set_major_locator(MaxNLocator(7 if shape.wide else 3, integer=True))
    axes.xaxis.set_major_formatter(FuncFormatter(_short))
    axes.tick_params(colors=INK.light)
    years = sorted({day.year for day, _ in told})
    title(
        figure, shape, f"Top speed, {unit.label}", " to ".join(map(str, years[:1] + years[1:][-1:]))
    )
    return figure


def _short(day_number: float, _: int) -> str:
    """Return a day of matplotlib's count, which begins with 1970."""
    day = datetime(1970, 1, 1) + timedelta(days=day_number)
    return f"{day.day} {day:%b}"
