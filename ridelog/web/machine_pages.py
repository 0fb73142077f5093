"""Machines: set-ups and history over time, and what would be if a set-up changed."""

from collections.abc import Callable
from dataclasses import dataclass
from html import escape
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.book import Book
from ridelog.book.records import MachineEntry, RideEntry, SetupState
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, plain
from ridelog.core.text import clean
from ridelog.machine.change import changed, parse_change, parse_sweep
from ridelog.machine.setup import KEYS, MachineSetup
from ridelog.machine.setup_file import problems_in_text, setup_of_text, setup_text
from ridelog.web.views import (
    Form,
    PageError,
    changes_book,
    page,
    problems_as_pages,
    reads_book,
    redirect,
    server_of,
    unit_of,
)
from ridelog.web.worker import Job, JobError
from ridelog.workflow.book_ride import day_and_year, log_at, top_speed

# What a workshop changes most; any other key can be typed. Own choice.
_FIELDS = (
    "front_teeth", "rear_teeth", "battery_cells", "battery_limit_a", "motor_limit_a",
    "rider_mass_kg",
)  # fmt: skip
_SWEPT = {"front_teeth": 2, "rear_teeth": 4, "battery_cells": 2}
_MOST_RIDES, _USUAL_RIDES = 6, 3
_MOST_HISTORY, _MOST_DRAWN = 1_000, 60
PULL = "pull_at_2_mps"
_WIDE, _NARROW = (960.0, 320.0), (350.0, 300.0)
_LEFT, _RIGHT, _ABOVE, _BELOW = 48.0, 12.0, 58.0, 40.0
# A ride and its figure in the reader's unit.
Point = tuple[RideEntry, Estimate]


@reads_book
def machine_list(request: Request, book: Book) -> Response:
    """Return the list of machines with the number of their rides."""
    machines = [
        (machine, book.rides.count(machine_id=machine.id), book.machines.setups(machine.id))
        for machine in book.machines.all()
    ]
    return page(request, "machines.html", machines=machines)


@reads_book
def machine_page(request: Request, book: Book) -> Response:
    """Return one machine: history picture, set-ups, latest rides."""
    machine = machine_of(request, book)
    return page(
        request,
        "machine.html",
        machine=machine,
        setups=book.machines.setups(machine.id),
        count=book.rides.count(machine_id=machine.id),
        history=history_of(request, book, machine),
        saved="saved" in request.query_params,
    )


@changes_book
def add_machine(request: Request, book: Book, form: Form) -> Response:
    """Add a machine."""
    return redirect(f"/machines/{book.machines.named(form.get('name', '')).id}")


@changes_book
def change_machine(request: Request, book: Book, form: Form) -> Response:
    """Change a machine's name and note."""
    machine = machine_of(request, book)
    book.machines.change(machine.id, name=form.get("name", ""), note=form.get("note", ""))
    return redirect(f"/machines/{machine.id}?saved=1#change-head")


@changes_book
def add_setup(request: Request, book: Book, form: Form) -> Response:
    """Add a set-up state to a machine."""
    machine = machine_of(request, book)
    setup = book.machines.setup_named(machine.id, form.get("name", ""))
    return redirect(f"/machines/{machine.id}/setups/{setup.id}")


@reads_book
def setup_page(request: Request, book: Book) -> Response:
    """Return one set-up state with its file."""
    machine, setup = setup_of(request, book)
    blank = MachineSetup(name=machine.name[:100], state=setup.name[:100])
    text = setup.toml or setup_text(blank)
    return page(
        request,
        "setup.html",
        machine=machine,
        setup=setup,
        text=text,
        problems=[clean(problem) for problem in problems_in_text(setup.toml)],
        saved="saved" in request.query_params,
    )


@changes_book
def change_setup(request: Request, book: Book, form: Form) -> Response:
    """Change a set-up state; its file is checked but kept as it was written."""
    machine, setup = setup_of(request, book)
    book.machines.change_setup(
        setup.id,
        name=form.get("name", ""),
        since_utc=form.get("since", ""),
        toml=form.get("toml", ""),
    )
    return redirect(f"/machines/{machine.id}/setups/{setup.id}?saved=1")


def machine_of(request: Request, book: Book) -> MachineEntry:
    """Return the machine that the address names."""
    return book.machines.get(int(request.path_params["machine"]))


def setup_of(request: Request, book: Book) -> tuple[MachineEntry, SetupState]:
    """Return the set-up state that the address names, and its machine."""
    machine = machine_of(request, book)
    setup = book.machines.setup(int(request.path_params["setup"]))
    if setup.machine_id != machine.id:
        raise PageError(f"set-up {setup.id} is not in the book.", "look at the list again.", 404)
    return machine, setup


@problems_as_pages
async def what_if(request: Request) -> Response:
    """Return the panel, and below it the prediction if a change was asked for."""
    shown, problem, job = await run_in_threadpool(_read, request)
    answer = None
    if job is not None:
        try:
            answer = await server_of(request).queue.ask(job)
        except JobError:
            raise
        except RideLogError as error:
            # A change that cannot be belongs beside the form, not on another page.
            problem = str(error)
    return page(request, "what_if.html", answer=answer, problem=clean(problem), **shown)


def _read(request: Request) -> tuple[dict[str, Any], str, Job | None]:
    """Return what the form shows, what is wrong with it, and the work that answers it."""
    query = request.query_params
    with Book(server_of(request).folder, make=False) as book:
        machine, state = setup_of(request, book)
        rides = [
            ride
            for ride in book.rides.found(machine_id=machine.id, most=200)
            if ride.setup_id == state.id and ride.state == "ready"
        ][:_MOST_RIDES]
        ticked = set(query.getlist("ride"))
        if "asked" not in query:
            ticked = {str(ride.id) for ride in rides[:_USUAL_RIDES]}
        problem, known, job = "", MachineSetup(), None
        try:
            known = setup_of_text(state.toml)
            job = _job(request, book, known, [r for r in rides if str(r.id) in ticked])
        except RideLogError as error:
            problem = str(error)
    typed = {name: query.get(name, "")[:40] for name in (*_FIELDS, "more", "sweep")}
    shown = {
        "machine": machine,
        "setup": state,
        "rides": rides,
        "ticked": ticked,
        "fields": [_field(name, known, typed[name]) for name in _FIELDS],
        "more": typed["more"],
        "sweep": typed["sweep"],
        "swept": {
            name: KEYS[name].question.partition(" (")[0] for name in _SWEPT if name in known.given()
        },
    }
    return shown, problem, job


def _field(name: str, known: MachineSetup, typed: str) -> dict[str, str]:
    key, present = KEYS[name], known.given().get(name)
    return {
        "name": name,
        "label": key.question,
        "unit": key.unit,
        "present": "" if present is None else f"{present:g}",
        "typed": typed,
    }


def _job(request: Request, book: Book, known: MachineSetup, rides: list[RideEntry]) -> Job | None:
    """Return the work that answers the form, or None if it asks for nothing."""
    query = request.query_params
    texts = [
        f"{name}={query[name].strip()[:40]}" for name in _FIELDS if query.get(name, "").strip()
    ]
    texts += query.get("more", "")[:200].split()
    asked = dict(parse_change(text) for text in texts)
    given = known.given()
    asked = {name: value for name, value in asked.items() if given.get(name) != value}
    sweep = None
    swept = query.get("sweep", "")
    if swept in _SWEPT and isinstance(given.get(swept), int):
        low, high = given[swept] - _SWEPT[swept], given[swept] + _SWEPT[swept]
        sweep = parse_sweep(f"{swept}={max(low, 1)}:{high}")
    if not asked and sweep is None:
        return None
    changed(known, asked)  # says at once what cannot be
    return Job(
        "predict_change",
        {
            "setup": given,
            "logs": [log_at(book, ride) for ride in rides],
            "asked": asked,
            "sweep": sweep,
            "unit": unit_of(request).label,
        },
    )


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
    rides = book.rides.found(machine_id=machine.id, most=_MOST_HISTORY)[::-1]
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
