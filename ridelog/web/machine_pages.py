"""Machines: set-ups and history over time, and what would be if a set-up changed."""

from typing import Any
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.book import Book
from ridelog.book.records import (
    ANSWER_KINDS,
    WORK_KINDS,
    MachineEntry,
    RideEntry,
    SetupState,
    checked_day,
    now_utc,
)
from ridelog.core.errors import RideLogError
from ridelog.core.text import clean
from ridelog.machine.change import changed, parse_change, parse_sweep
from ridelog.machine.cost import typed_amount
from ridelog.machine.setup import KEYS, MachineSetup
from ridelog.machine.setup_file import problems_in_text, setup_of_text
from ridelog.web.answered_form import answer_file, form_page, ticked_rides
from ridelog.web.compare_pages import MOST_A_SIDE, PAPERS, on_paper
from ridelog.web.history import MOST_HISTORY, history_of
from ridelog.web.kept_pages import keep_answer
from ridelog.web.setup_form import change_groups, setup_groups, text_with
from ridelog.web.timeline import first_days, past_of
from ridelog.web.views import (
    MOST_NAME,
    Form,
    PageError,
    asked_of,
    at_field,
    changes_book,
    computes,
    name_in,
    page,
    problems_as_pages,
    reads_book,
    redirect,
    server_of,
    unit_of,
)
from ridelog.web.worker import ComparedRides, Job
from ridelog.workflow.book_ride import local_day, log_at, noted_charge
from ridelog.workflow.photos import MOST_PHOTO_BYTES

# What a workshop changes most on a set-up stands open, everything else is unfolded. Own choice.
_FIRST = (
    "front_teeth", "rear_teeth", "battery_cells", "battery_limit_a", "motor_limit_a",
    "rider_mass_kg",
)  # fmt: skip
_FILES = {
    "prediction.pdf": "application/pdf",
    "prediction.json": "application/json",
    "prediction.csv": "text/csv; charset=utf-8",
}
_SWEPT = {"front_teeth": 2, "rear_teeth": 4, "battery_cells": 2}
MOST_RIDES, USUAL_RIDES = 6, 3


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
        measured=_measured(book, machine),
        count=book.rides.count(machine_id=machine.id),
        history=history_of(request, book, machine),
        past=past_of(book, machine, unit_of(request)),
        ridden=first_days(book, machine),
        work_kinds=WORK_KINDS,
        today=local_day(now_utc()),
        most_photo_mb=MOST_PHOTO_BYTES // 1_000_000,
        kept=book.kept.of(machine.id),
        answer_kinds=ANSWER_KINDS,
        saved=asked_of(request).saved,
    )


def _measured(book: Book, machine: MachineEntry) -> list[tuple[SetupState, list[RideEntry]]]:
    """Return the set-ups that have measured rides, the earliest first, with the latest of them."""
    rides = book.rides.found(machine_id=machine.id, most=MOST_HISTORY)
    sides = (
        (setup, [r for r in rides if r.setup_id == setup.id and r.state == "ready"][:MOST_A_SIDE])
        for setup in book.machines.setups(machine.id)
    )
    return [(setup, ridden) for setup, ridden in sides if ridden]


@reads_book
def compare_setups(request: Request, book: Book) -> Response:
    """Lead to the comparison of the rides on two set-ups of a machine."""
    machine, asked = machine_of(request, book), asked_of(request)
    ridden = {setup.id: rides for setup, rides in _measured(book, machine)}
    if len(asked.before) != 1 or len(asked.after) != 1 or asked.before == asked.after:
        raise PageError("two set-ups are compared.", "choose one before the change, one after it.")
    sides = []
    for side, number in (("before", asked.before[0]), ("after", asked.after[0])):
        if number not in ridden:
            raise PageError(
                f"the set-up chosen as {side} the change has no measured ride.",
                "name it on the page of a ride, or choose another.", 404,
            )  # fmt: skip
        sides += [(side, ride.id) for ride in ridden[number]]
    return redirect(f"/compare?{urlencode(sides)}")


@changes_book
def add_machine(request: Request, book: Book, form: Form) -> Response:
    """Add a machine."""
    name = name_in(form, "name", "name of the machine")
    with at_field("name"):
        return redirect(f"/machines/{book.machines.named(name).id}")


@changes_book
def change_machine(request: Request, book: Book, form: Form) -> Response:
    """Change a machine's name and note."""
    machine = machine_of(request, book)
    name = name_in(form, "name", "name of the machine")
    with at_field("name"):
        book.machines.change(machine.id, name=name, note=form.get("note", ""))
    return redirect(f"/machines/{machine.id}?saved=1#change-head")


@changes_book
def add_setup(request: Request, book: Book, form: Form) -> Response:
    """Add a set-up state to a machine."""
    machine = machine_of(request, book)
    name = name_in(form, "name", "name of the set-up")
    with at_field("name"):
        setup = book.machines.setup_named(machine.id, name)
    return redirect(f"/machines/{machine.id}/setups/{setup.id}")


@reads_book
def setup_page(request: Request, book: Book) -> Response:
    """Return one set-up state with its file."""
    machine, setup = setup_of(request, book)
    return page(
        request,
        "setup.html",
        machine=machine,
        setup=setup,
        text=setup.toml,
        groups=setup_groups(setup.toml),
        problems=[clean(problem) for problem in problems_in_text(setup.toml)],
        saved=asked_of(request).saved,
    )


@changes_book
def change_setup(request: Request, book: Book, form: Form) -> Response:
    """Change a set-up state, its file from the fields or, from a program, as a whole."""
    machine, setup = setup_of(request, book)
    name = name_in(form, "name", "name of the set-up")
    with at_field("since"):
        since_utc = checked_day(form.get("since", ""))
    toml = form.get("toml")
    if toml is None:
        # A book may hold longer names, from the command line or an older ridelog.
        toml = text_with(
            setup.toml, form, name=machine.name[:MOST_NAME], state=setup.name[:MOST_NAME]
        )
    with at_field("name"):
        book.machines.change_setup(setup.id, name=name, since_utc=since_utc, toml=toml)
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


def rides_as_it_is(book: Book, state: SetupState) -> list[RideEntry]:
    """Return the measured rides on a set-up that a prediction may learn from, the newest first."""
    found = book.rides.found(machine_id=state.machine_id, most=200)
    return [r for r in found if r.setup_id == state.id and r.state == "ready"][:MOST_RIDES]


@computes
@problems_as_pages
async def what_if(request: Request) -> Response:
    """Return the panel, and below it the prediction if a change was asked for."""

    async def keep(shown: dict[str, Any], answer: ComparedRides) -> None:
        words, setup = answer.words, shown["setup"]
        await keep_answer(
            request, "prediction", {"ride": ticked_rides(shown)}, machine_id=setup.machine_id,
            setup=setup.name, title=words["title"], answer=words["headline"],
        )  # fmt: skip

    return await form_page(request, "what_if.html", _read, keep)


@computes
@problems_as_pages
async def what_if_file(request: Request) -> Response:
    """Return one file of a prediction: the paper, the figures."""
    return await answer_file(
        request, _read, _FILES, not_asked="no change was asked for.", back="prediction"
    )


def _read(request: Request) -> tuple[dict[str, Any], str, Job | None]:
    """Return what the form shows, what is wrong with it, and the work that answers it."""
    query = asked_of(request)
    with Book(server_of(request).folder, make=False) as book:
        machine, state = setup_of(request, book)
        rides = rides_as_it_is(book, state)
        ticked = set(query.ride) if query.asked else {r.id for r in rides[:USUAL_RIDES]}
        problem, known, job = "", MachineSetup(), None
        try:
            known = setup_of_text(state.toml)
            job = _job(request, book, known, [r for r in rides if r.id in ticked])
        except RideLogError as error:
            problem = str(error)
        paper = on_paper(book, query)
    shown = {
        "machine": machine,
        "setup": state,
        "rides": rides,
        "ticked": ticked,
        "groups": change_groups(known.given(), query.changes, _FIRST),
        "sweep": query.sweep,
        "swept": {
            name: KEYS[name].question.partition(" (")[0] for name in _SWEPT if name in known.given()
        },
        "papers": PAPERS,
        **{name: getattr(query, name) for name in ("price", "hours", "currency")},
        **paper,
    }
    return shown, problem, job


def _job(request: Request, book: Book, known: MachineSetup, rides: list[RideEntry]) -> Job | None:
    """Return the work that answers the form, or None if it asks for nothing."""
    query = asked_of(request)
    texts = [f"{name}={text.strip()}" for name, text in query.changes.items() if text.strip()]
    asked = dict(parse_change(text) for text in texts)
    given = known.given()
    asked = {name: value for name, value in asked.items() if given.get(name) != value}
    sweep = None
    swept = query.sweep
    if swept in _SWEPT and isinstance(given.get(swept), int):
        low, high = given[swept] - _SWEPT[swept], given[swept] + _SWEPT[swept]
        sweep = parse_sweep(f"{swept}={max(low, 1)}:{high}")
    if not asked and sweep is None:
        return None
    changed(known, asked)  # says at once what cannot be
    price, hours = (typed_amount(getattr(query, key), key) for key in ("price", "hours"))
    return Job(
        "predict_change",
        {
            "setup": given,
            "logs": [log_at(book, ride) for ride in rides],
            "asked": asked,
            "sweep": sweep,
            "rides_charge": noted_charge(book, rides, known),
            "cost": (price, hours, query.currency.strip()),
            "unit": unit_of(request).label,
            **on_paper(book, query),
        },
    )
