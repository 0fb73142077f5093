"""Machines, their set-ups over time, and the picture of how their figures went."""

from starlette.requests import Request
from starlette.responses import Response

from ridelog.book import Book, MachineEntry, SetupState
from ridelog.core.text import clean
from ridelog.web.history import history_of
from ridelog.web.views import Form, PageError, changes_book, first, page, reads_book, redirect
from ridelog.workflow.set_up import blank_text, problems_in_text


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
        rides=book.rides.found(machine_id=machine.id, most=20),
        count=book.rides.count(machine_id=machine.id),
        history=history_of(request, book, machine),
        saved="saved" in request.query_params,
    )


@changes_book
def add_machine(request: Request, book: Book, form: Form) -> Response:
    """Add a machine."""
    return redirect(f"/machines/{book.machines.named(first(form, 'name')).id}")


@changes_book
def change_machine(request: Request, book: Book, form: Form) -> Response:
    """Change a machine's name and note."""
    machine = machine_of(request, book)
    book.machines.change(machine.id, name=first(form, "name"), note=first(form, "note"))
    return redirect(f"/machines/{machine.id}?saved=1#change-head")


@changes_book
def add_setup(request: Request, book: Book, form: Form) -> Response:
    """Add a set-up state to a machine."""
    machine = machine_of(request, book)
    setup = book.machines.setup_named(machine.id, first(form, "name"))
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
        name=first(form, "name"),
        since_utc=first(form, "since"),
        toml=first(form, "toml"),
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
