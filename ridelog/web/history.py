"""How a machine's figures went over its rides and set-ups, as a picture with a table."""

from dataclasses import dataclass

from matplotlib.figure import Figure as Canvas
from starlette.requests import Request

from ridelog.book import Book, Figure, Machine, RideEntry
from ridelog.report.canvas import Shape, axes_in, blank, dress, title
from ridelog.report.palette import INK, LINE, MARK, QUIET
from ridelog.report.section import Picture, draw_picture
from ridelog.units import SpeedUnit
from ridelog.web.answers import unit_of

_MOST_RIDES, _MOST_DRAWN = 1_000, 60
_TOP = "best_1s_mps"


@dataclass(frozen=True)
class History:
    """Rides with figures in time order; the picture of the latest of them, if there are any."""

    rows: tuple[tuple[RideEntry, Figure], ...]
    picture: Picture | None
    drawn: int


def history_of(request: Request, book: Book, machine: Machine) -> History:
    """Return the history of a machine's top speed over its set-ups."""
    rides = book.rides.found(machine_id=machine.id, most=_MOST_RIDES)[::-1]
    figures = book.results.figures([ride.id for ride in rides])
    rows = tuple(
        (ride, figures[ride.id][_TOP]) for ride in rides if _TOP in figures.get(ride.id, {})
    )
    drawn = rows[-_MOST_DRAWN:]
    picture = history_picture(drawn, unit_of(request), machine.name) if drawn else None
    return History(rows, picture, len(drawn))


def history_picture(
    rows: tuple[tuple[RideEntry, Figure], ...], unit: SpeedUnit, name: str
) -> Picture:
    """Return the picture of top speed with its interval, ride by ride, grouped by set-up."""
    label = (
        f"Top speed of {len(rows)} rides of {name} in time order, with intervals, by set-up: "
        + "; ".join(
            f"{ride.setup or 'no set-up named'} {unit.from_mps(figure.value):.1f} {unit.label}"
            for ride, figure in rows[-8:]
        )
    )
    return draw_picture("history", label, lambda shape: _drawn(shape, rows, unit))


def _drawn(shape: Shape, rows: tuple[tuple[RideEntry, Figure], ...], unit: SpeedUnit) -> Canvas:
    canvas = blank(shape)
    axes = axes_in(canvas, shape.left_in, 0.55, 0.15, 0.62)
    dress(axes, shape)
    title(canvas, shape, "Top speed, ride by ride", f"{unit.label}, with interval; oldest left")
    places = list(range(len(rows)))
    values = [unit.from_mps(figure.value) for _, figure in rows]
    below = [unit.from_mps(figure.value - figure.low) for _, figure in rows]
    above = [unit.from_mps(figure.high - figure.value) for _, figure in rows]
    axes.errorbar(
        places, values, yerr=[below, above], fmt="o", color=LINE.light, ecolor=LINE.light,
        elinewidth=2, capsize=4, markersize=6 if len(rows) < 25 else 4,
    )  # fmt: skip
    _set_up_bounds(axes, shape, rows)
    axes.set_xlim(-0.6, max(len(rows) - 0.4, 1.6))
    low, high = (
        min(v - b for v, b in zip(values, below, strict=True)),
        max(v + a for v, a in zip(values, above, strict=True)),
    )
    margin = max(0.12 * (high - low), 0.5)
    axes.set_ylim(max(0.0, low - margin), high + 2.2 * margin)
    axes.set_xticks(places if len(rows) <= 12 else places[:: -(-len(rows) // 12)])
    axes.set_xticklabels(
        [_day(rows[int(place)][0]) for place in axes.get_xticks()],
        fontsize=shape.small_pt - 1,
        rotation=0 if shape.wide and len(rows) <= 12 else 35,
        ha="center" if shape.wide and len(rows) <= 12 else "right",
    )
    return canvas


def _set_up_bounds(axes: object, shape: Shape, rows: tuple[tuple[RideEntry, Figure], ...]) -> None:
    """Draw a line wherever the set-up changed, and name the set-ups above."""
    from matplotlib.axes import Axes

    assert isinstance(axes, Axes)
    starts = [0] + [k for k in range(1, len(rows)) if rows[k][0].setup != rows[k - 1][0].setup]
    room = max(6, int((46 if shape.wide else 26) / len(starts)))
    for number, start in enumerate(starts):
        if start:
            axes.axvline(start - 0.5, color=MARK.light, linewidth=1.5, linestyle=(0, (4, 3)))
        words = rows[start][0].setup or "set-up not named"
        words = words if len(words) <= room else words[: room - 1] + "…"
        axes.text(
            start - 0.4 if number else -0.5, 0.98, words, transform=axes.get_xaxis_transform(),
            va="top", fontsize=shape.small_pt, color=INK.light if rows[start][0].setup
            else QUIET.light,
        )  # fmt: skip


def _day(ride: RideEntry) -> str:
    return ride.start_utc[5:10] if ride.start_utc[:1].isdigit() else "–"
