"""The history of a machine: its figures over the rides in time order, drawn with their set-ups."""

from collections.abc import Callable
from dataclasses import dataclass
from html import escape

from starlette.requests import Request

from ridelog.book.book import Book
from ridelog.book.records import MachineEntry, RideEntry
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, plain
from ridelog.web.views import unit_of
from ridelog.workflow.book_ride import day_and_year, top_speed

MOST_HISTORY, _MOST_DRAWN = 1_000, 60
PULL = "pull_at_2_mps"
_WIDE, _NARROW = (960.0, 320.0), (350.0, 300.0)
_LEFT, _RIGHT, _ABOVE, _BELOW = 48.0, 12.0, 58.0, 40.0
# A ride and its figure in the reader's unit.
Point = tuple[RideEntry, Estimate]


@dataclass(frozen=True)
class HistoryPanel:
    """One figure of a machine over its rides: drawn wide and narrow, with its label."""

    title: str
    wide_svg: str
    narrow_svg: str


@dataclass(frozen=True)
class History:
    """Rides with a top speed in time order, the panels drawn of the latest, and how many those."""

    rows: tuple[tuple[RideEntry, dict[str, Estimate]], ...]
    panels: tuple[HistoryPanel, ...]
    drawn: int


def history_of(request: Request, book: Book, machine: MachineEntry) -> History:
    """Return the history of a machine: top speed and pull over its set-ups."""
    unit = unit_of(request)
    rides = book.rides.found(machine_id=machine.id, most=MOST_HISTORY)[::-1]
    figures = book.results.figures([ride.id for ride in rides])
    rows = tuple((ride, figures[ride.id]) for ride in rides if top_speed(figures[ride.id]))
    drawn = rows[-_MOST_DRAWN:]
    panels = []
    for read, title, quantity in (
        (top_speed, "Top speed", SPEED),
        (lambda found: found.get(PULL), f"Pull at {plain(2.0, SPEED, unit, 0)}", ACCELERATION),
    ):
        points = [
            (ride, Estimate(*(quantity.scaled(x, unit) for x in (f.value, f.low, f.high))))
            for ride, found in drawn
            if (f := read(found)) is not None
        ]
        if points:
            panels.append(_panel(points, title, quantity.label(unit)))
    return History(rows, tuple(panels), len(drawn))


def _panel(points: list[Point], title: str, label: str) -> HistoryPanel:
    said = "; ".join(f"{r.setup or 'no set-up named'} {f.value:.1f}" for r, f in points[-8:])
    words = f"{title} of {len(points)} rides in time order, {label}, with bounds, latest: {said}"
    drawn = (_svg(points, f"{title}, {label}", words, size) for size in (_WIDE, _NARROW))
    return HistoryPanel(title, *drawn)


def _svg(points: list[Point], title: str, words: str, size: tuple[float, float]) -> str:
    width, height = size
    low, high = min(f.low for _, f in points), max(f.high for _, f in points)
    margin = max(0.1 * (high - low), 0.02 * max(high, 1.0))
    low, high = max(0.0, low - margin), high + margin
    across = (width - _LEFT - _RIGHT) / len(points)

    def x(number: float) -> float:
        return _LEFT + (number + 0.5) * across

    def y(value: float) -> float:
        return _ABOVE + (high - value) / (high - low) * (height - _ABOVE - _BELOW)

    parts = [_text(0.0, 15.0, title, "ink", weight="bold")]
    step = _tick(high - low)
    tick = step * -(-low // step)
    while tick <= high:
        parts.append(_line(_LEFT, y(tick), width - _RIGHT, y(tick), "rule", 1.0))
        parts.append(_text(_LEFT - 8.0, y(tick) + 4.0, f"{tick:g}", "quiet", anchor="end"))
        tick = round(tick + step, 9)
    parts += _set_ups([ride.setup for ride, _ in points], x, across, size)
    wide = min(5.0, max(2.5, across / 4.0))
    for number, (_, figure) in enumerate(points):
        here = x(number)
        parts.append(_line(here, y(figure.low), here, y(figure.high), "line", 2.0))
        for end in (figure.low, figure.high):
            parts.append(_line(here - wide, y(end), here + wide, y(end), "line", 2.0))
        parts.append(
            f'<circle cx="{here:.1f}" cy="{y(figure.value):.1f}" r="{wide:.1f}"'
            ' style="fill:var(--line)"/>'
        )
    every = max(1, -(-len(points) * 52 // int(width - _LEFT - _RIGHT)))
    last_year = ""
    for number in range(0, len(points), every):
        day, year = day_and_year(points[number][0].start_utc)
        parts.append(_text(x(number), height - _BELOW + 18.0, day, "quiet", anchor="middle"))
        if year != last_year:
            parts.append(_text(x(number), height - 5.0, year, "quiet", anchor="middle"))
        last_year = year
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.0f} {height:.0f}"'
        f' role="img" aria-label="{escape(words)}" font-size="13"'
        f' font-family="inherit">{"".join(parts)}</svg>'
    )


def _set_ups(
    names: list[str], x: Callable[[float], float], across: float, size: tuple[float, float]
) -> list[str]:
    """Draw a dashed line wherever the set-up changed, and name the set-ups above."""
    width, height = size
    starts = [k for k, name in enumerate(names) if k == 0 or name != names[k - 1]]
    parts = []
    for start, end in zip(starts, [*starts[1:], None], strict=True):
        left = x(start - 0.5)
        if start:
            parts.append(_line(left, 26.0, left, height - _BELOW, "mark", 1.5, dashes="5 4"))
        name = names[start] or "set-up not named"
        room = int((width - left if end is None else (end - start) * across) / 7.5)
        if room >= 4:
            name = name if len(name) <= room else f"{name[: room - 1]}…"
            parts.append(_text(left + 5.0, 38.0, name, "ink"))
    return parts


def _tick(span: float) -> float:
    """Return a round distance of ticks that gives four or five of them."""
    steps = (factor * 10.0**power for power in range(1, -4, -1) for factor in (1.0, 0.5, 0.2))
    return next((step for step in steps if span / step >= 3.0), 1e-3)


def _line(
    x1: float, y1: float, x2: float, y2: float, role: str, wide: float, dashes: str = ""
) -> str:
    dashed = f";stroke-dasharray:{dashes}" if dashes else ""
    return (
        f'<path d="M{x1:.1f} {y1:.1f}L{x2:.1f} {y2:.1f}"'
        f' style="stroke:var(--{role});stroke-width:{wide:g}{dashed}"/>'
    )


def _text(
    x: float, y: float, words: str, role: str, anchor: str = "start", weight: str = "normal"
) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"'
        f' style="fill:var(--{role});font-weight:{weight}">{escape(words)}</text>'
    )
