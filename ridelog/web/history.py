"""How a machine's figures went over its rides and set-ups, drawn in milliseconds as plain SVG.

The reports draw with matplotlib, which takes a second or two; a page that is asked for with every
click may not.
"""

from dataclasses import dataclass
from html import escape

from starlette.requests import Request

from ridelog.book import Book, MachineEntry, RideEntry
from ridelog.core.estimate import Estimate
from ridelog.core.units import SpeedUnit
from ridelog.web.views import unit_of
from ridelog.workflow.ride_words import day_and_year

_MOST_RIDES, _MOST_DRAWN = 1_000, 60
TOP, PULL = "best_1s_mps", "pull at 2"
_WIDE, _NARROW = (960.0, 320.0), (350.0, 300.0)
_LEFT, _RIGHT, _ABOVE, _BELOW = 48.0, 12.0, 58.0, 40.0


@dataclass(frozen=True)
class Point:
    """One ride's figure in the reader's unit."""

    ride: RideEntry
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Panel:
    """One figure of a machine over its rides: drawn wide and narrow, with its label."""

    title: str
    wide_svg: str
    narrow_svg: str


@dataclass(frozen=True)
class History:
    """Rides with a top speed in time order, the panels drawn of the latest, and how many those."""

    rows: tuple[tuple[RideEntry, dict[str, Estimate]], ...]
    panels: tuple[Panel, ...]
    drawn: int


def history_of(request: Request, book: Book, machine: MachineEntry) -> History:
    """Return the history of a machine: top speed and pull over its set-ups."""
    unit = unit_of(request)
    rides = book.rides.found(machine_id=machine.id, most=_MOST_RIDES)[::-1]
    figures = book.results.figures([ride.id for ride in rides])
    rows = tuple((ride, figures[ride.id]) for ride in rides if TOP in figures[ride.id])
    drawn = rows[-_MOST_DRAWN:]
    panels = []
    for name, title, factor, label in (
        (TOP, "Top speed", unit.from_mps(1.0), unit.label),
        (PULL, f"Pull at {_speed(2.0, unit)}", 1.0, "m/s²"),
    ):
        points = [
            Point(ride, factor * f.value, factor * f.low, factor * f.high)
            for ride, found in drawn
            if (f := found.get(name)) is not None
        ]
        if points:
            panels.append(_panel(points, title, label))
    return History(rows, tuple(panels), len(drawn))


def _speed(speed_mps: float, unit: SpeedUnit) -> str:
    return f"{unit.from_mps(speed_mps):.0f} {unit.label}"


def _panel(points: list[Point], title: str, label: str) -> Panel:
    said = "; ".join(
        f"{point.ride.setup or 'no set-up named'} {point.value:.1f}" for point in points[-8:]
    )
    words = f"{title} of {len(points)} rides in time order, {label}, with bounds, latest: {said}"
    return Panel(title, *(_svg(points, title, label, words, size) for size in (_WIDE, _NARROW)))


def _svg(points: list[Point], title: str, label: str, words: str, size: tuple[float, float]) -> str:
    width, height = size
    low, high = min(p.low for p in points), max(p.high for p in points)
    margin = max(0.1 * (high - low), 0.02 * max(high, 1.0))
    low, high = max(0.0, low - margin), high + margin
    step = _tick(high - low)
    across = (width - _LEFT - _RIGHT) / len(points)

    def x(number: float) -> float:
        return _LEFT + (number + 0.5) * across

    def y(value: float) -> float:
        return _ABOVE + (high - value) / (high - low) * (height - _ABOVE - _BELOW)

    parts = [_text(0.0, 15.0, f"{title}, {label}", "ink", weight="bold")]
    tick = step * -(-low // step)
    while tick <= high:
        parts.append(_line(_LEFT, y(tick), width - _RIGHT, y(tick), "rule", 1.0))
        parts.append(_text(_LEFT - 8.0, y(tick) + 4.0, f"{tick:g}", "quiet", anchor="end"))
        tick = round(tick + step, 9)
    parts += _set_ups(points, x, across, width, height)
    wide = min(5.0, max(2.5, across / 4.0))
    for number, point in enumerate(points):
        here = x(number)
        parts.append(_line(here, y(point.low), here, y(point.high), "line", 2.0))
        for end in (point.low, point.high):
            parts.append(_line(here - wide, y(end), here + wide, y(end), "line", 2.0))
        parts.append(
            f'<circle cx="{here:.1f}" cy="{y(point.value):.1f}" r="{wide:.1f}"'
            ' style="fill:var(--line)"/>'
        )
    shown = max(1, -(-len(points) * 52 // int(width - _LEFT - _RIGHT)))
    last_year = ""
    for number in range(0, len(points), shown):
        day, year = day_and_year(points[number].ride.start_utc)
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
    points: list[Point], x: object, across: float, width: float, height: float
) -> list[str]:
    """Draw a dashed line wherever the set-up changed, and name the set-ups above."""
    assert callable(x)
    changes = [k for k in range(1, len(points)) if points[k].ride.setup != points[k - 1].ride.setup]
    starts, ends = [0, *changes], [*changes, len(points)]
    parts = []
    for start, end in zip(starts, ends, strict=True):
        left = x(start) - 0.5 * across
        if start:
            parts.append(_line(left, 26.0, left, height - _BELOW, "mark", 1.5, dashes="5 4"))
        name = points[start].ride.setup or "set-up not named"
        room = int((end - start) * across / 7.5) if end < len(points) else int((width - left) / 7.5)
        if room >= 4:
            name = name if len(name) <= room else f"{name[: room - 1]}…"
            parts.append(_text(left + 5.0, 38.0, name, "ink"))
    return parts


def _tick(span: float) -> float:
    """Return a round distance of ticks that gives four or five of them."""
    step = 10.0
    while step > 1e-3:
        for factor in (1.0, 0.5, 0.2):
            if span / (step * factor) >= 3.0:
                return step * factor
        step /= 10.0
    return step


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
