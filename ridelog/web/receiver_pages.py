"""The page for the handlebar: is the receiver ready, and a ride started and stopped there."""

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ridelog.book.book import Book
from ridelog.book.records import PointEntry, now_utc
from ridelog.core.errors import ReceiverError
from ridelog.web.looked_at import points_in_book
from ridelog.web.receiver import RiddenWith, noted_now
from ridelog.web.ride_pages import ride_of
from ridelog.web.views import (
    Form,
    PageError,
    changes_book,
    name_in,
    page,
    reads_book,
    redirect,
    server_of,
    unit_of,
)

HERE = "/receiver"
# As many as the book keeps for a ride.
_MOST_POINTS = 100


@reads_book
def receiver_page(request: Request, book: Book) -> Response:
    """Return the page: the state, the ride, what to look at before it, which receiver."""
    desk = server_of(request).receiver
    return page(
        request,
        "receiver.html",
        now=desk.now(unit_of(request)),
        source=desk.source,
        ridden_with=desk.ridden_with,
        points=points_in_book(book, desk.ridden_with.machine, desk.ridden_with.setup),
        devices=_serial_devices() if request.state.local else (),
        machines=book.machines.all(),
        setup_names=book.machines.setup_names(),
    )


async def receiver_state(request: Request) -> Response:
    """Return how the receiver is, for a page that asks again and again."""
    return JSONResponse(server_of(request).receiver.now(unit_of(request)))


@changes_book
def listen(request: Request, book: Book, form: Form) -> Response:
    """Listen to a receiver; only the workshop's computer says to which."""
    desk = server_of(request).receiver
    words = form.get("source", "").strip()
    if not request.state.local and words not in ("", desk.source):
        raise PageError(
            "only the workshop's computer can name another receiver.",
            "choose it on the page there; the telephone may then listen to it.", 403,
        )  # fmt: skip
    try:
        desk.listen(words or desk.source)
    except ReceiverError as error:
        raise PageError(error.problem, error.advice, field="source") from error
    return redirect(HERE)


@changes_book
def end_listening(request: Request, book: Book, form: Form) -> Response:
    """Listen no longer; a ride that is being recorded is kept."""
    server_of(request).receiver.end()
    return redirect(HERE)


@changes_book
def choose_machine(request: Request, book: Book, form: Form) -> Response:
    """Say which machine is ridden next, in which set-up."""
    machine = name_in(form, "machine", "name of the machine")
    setup = name_in(form, "setup", "name of the set-up")
    if setup and not machine:
        raise PageError(
            "a set-up belongs to a machine.", "name the machine as well.", field="machine"
        )
    server_of(request).receiver.ridden_with = RiddenWith(machine, setup)
    return redirect(HERE)


@changes_book
def start_ride(request: Request, book: Book, form: Form) -> Response:
    """Record a ride from now on, with what was ticked."""
    desk = server_of(request).receiver
    desk.start_ride(noted_now(desk.ridden_with, _points_in(form)))
    return redirect(HERE)


@changes_book
def stop_ride(request: Request, book: Book, form: Form) -> Response:
    """Stop the ride and put it into the book."""
    server_of(request).receiver.stop_ride()
    return redirect(HERE)


@changes_book
def note_looked_at(request: Request, book: Book, form: Form) -> Response:
    """Keep what was looked at before a ride that is in the book already."""
    ride = ride_of(request, book)
    at_utc = now_utc()
    points = [PointEntry(words, ticked, at_utc) for words, ticked in _points_in(form)]
    book.details.note_points(ride.id, points)
    return redirect(f"/rides/{ride.id}#before-riding")


def _points_in(form: Form) -> list[tuple[str, bool]]:
    """Return the points of a form as they were shown there, and whether each was ticked."""
    return [
        (form[f"point_{number}"], f"tick_{number}" in form)
        for number in range(_MOST_POINTS)
        if f"point_{number}" in form
    ]


def _serial_devices() -> tuple[str, ...]:
    """Return the serial devices that this machine has."""
    from serial.tools.list_ports import comports

    return tuple(sorted(str(port.device) for port in comports()))
