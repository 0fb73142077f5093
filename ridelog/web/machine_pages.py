"""Machines, their set-ups over time, and what would be if something of a set-up changed."""

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ridelog.book import Book, MachineEntry, RideEntry, SetupState
from ridelog.core.errors import RideLogError
from ridelog.core.text import clean
from ridelog.machine.change import changed, parse_change, parse_sweep
from ridelog.machine.setup import KEYS, MachineSetup
from ridelog.web.history import history_of
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
from ridelog.workflow.set_up import blank_text, problems_in_text, setup_of_text
from ridelog.workflow.settings_of import log_at

# What a workshop changes most; any other key can be typed. Own choice.
_FIELDS = (
    "front_teeth", "rear_teeth", "battery_cells", "battery_limit_a", "motor_limit_a",
    "rider_mass_kg",
)  # fmt: skip
_SWEPT = {"front_teeth": 2, "rear_teeth": 4, "battery_cells": 2}
_MOST_RIDES, _USUAL_RIDES = 6, 3


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
    text = setup.toml or blank_text(machine.name, setup.name)
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
    with Book(server_of(request).folder) as book:
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
