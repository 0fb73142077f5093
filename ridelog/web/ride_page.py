"""The page of one ride, its downloads, and what can be changed about it."""

import asyncio
import json
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ridelog import __version__
from ridelog.book import CONDITIONS, MARK_KINDS, Book, RideEntry
from ridelog.book.originals import suffix_of
from ridelog.report.changes import changed_figures
from ridelog.report.ride_json import to_bytes
from ridelog.web.security import ALONE_POLICY
from ridelog.web.views import (
    Form,
    PageError,
    changes_book,
    first,
    page,
    problems_as_pages,
    reads_book,
    redirect,
    seconds_of,
    server_of,
    unit_of,
)
from ridelog.web.worker import Job
from ridelog.workflow.settings_of import log_at, settings_of


@reads_book
def ride_page(request: Request, book: Book) -> Response:
    """Return the page of one ride with everything that is known of it so far."""
    ride = ride_of(request, book)
    result = book.results.latest(ride.id)
    marks = book.details.marks(ride.id)
    current = result is not None and result.settings == settings_of(book, ride).as_json()
    words = _words(book, ride, request)
    if ride.state != "failed" and (words is None or not current):
        # Read from an export, or left by a run that was stopped: figures follow by themselves.
        server_of(request).queue.ensure(ride)
    older = [old for old in book.results.all(ride.id) if result and old.id != result.id]
    return page(
        request,
        "ride.html",
        ride=ride,
        result=result,
        current=current,
        outdated=result is not None and result.version != __version__,
        words=words,
        figures=book.results.figures([ride.id])[ride.id],
        marks=marks,
        mark_kinds=MARK_KINDS,
        conditions=CONDITIONS,
        noted=book.details.conditions(ride.id),
        notes=book.details.notes(ride.id),
        machines=book.machines.all(),
        setups=book.machines.setups(ride.machine_id) if ride.machine_id else (),
        changes=changed_figures(older[0].document, result.document) if older and result else (),
        older_version=older[0].version if older else "",
        saved="saved" in request.query_params,
    )


@reads_book
def ride_json_file(request: Request, book: Book) -> Response:
    """Return the figures of a ride as the JSON object that scripts read."""
    ride = ride_of(request, book)
    result = book.results.latest(ride.id)
    if result is None:
        raise PageError(f"ride {ride.id} has no figures yet.", "wait until it is measured.", 404)
    return _file(to_bytes(result.document), "application/json", f"ride-{ride.id}.json")


async def ride_report(request: Request) -> Response:
    """Return the page of a ride that stands alone, to keep or to send."""

    def asked() -> Job:
        with Book(server_of(request).folder) as book:
            ride = ride_of(request, book)
            return Job("report_page", {"log": log_at(book, ride), "unit": unit_of(request).label})

    async def work() -> Response:
        job = await run_in_threadpool(asked)
        data = await asyncio.wrap_future(server_of(request).queue.ask(job))
        answer = _file(data, "text/html; charset=utf-8", f"ride-{request.path_params['ride']}.html")
        answer.headers["content-security-policy"] = ALONE_POLICY
        return answer

    return await problems_as_pages(request, work())


@reads_book
def ride_original(request: Request, book: Book) -> Response:
    """Return the log of a ride, byte for byte as it was given."""
    ride = ride_of(request, book)
    data = book.original(ride.sha256)
    name = f"ride-{ride.id}.{suffix_of(ride.format, data)}"
    return _file(data, "application/octet-stream", name)


@changes_book
def change_details(request: Request, book: Book, form: Form) -> Response:
    """Change the machine, set-up, conditions and note of a ride."""
    ride = ride_of(request, book)
    machine_name, setup_name = first(form, "machine").strip(), first(form, "setup").strip()
    machine = book.machines.named(machine_name) if machine_name else None
    if setup_name and machine is None:
        raise PageError("a set-up belongs to a machine.", "name the machine as well.")
    setup = book.machines.setup_named(machine.id, setup_name) if machine and setup_name else None
    book.rides.move(ride.id, machine.id if machine else None, setup.id if setup else None)
    book.details.set_conditions(ride.id, {n: first(form, n) for n in CONDITIONS if n in form})
    book.details.add_note(ride.id, first(form, "note"))
    return redirect(f"/rides/{ride.id}?saved=details#details")


@changes_book
def remove_note(request: Request, book: Book, form: Form) -> Response:
    """Take a note back."""
    ride = ride_of(request, book)
    book.details.remove_note(ride.id, number_of(first(form, "note"), "note"))
    return redirect(f"/rides/{ride.id}#details")


@changes_book
def add_mark(request: Request, book: Book, form: Form) -> Response:
    """Mark a stretch and have the figures follow."""
    ride = ride_of(request, book)
    start_s = seconds_of(first(form, "start"), "start of the stretch")
    end_s = seconds_of(first(form, "end"), "end of the stretch")
    book.details.add_mark(ride.id, first(form, "kind"), start_s, end_s)
    server_of(request).queue.submit(ride)
    return redirect(f"/rides/{ride.id}#marks")


@changes_book
def remove_mark(request: Request, book: Book, form: Form) -> Response:
    """Take a mark back and have the figures follow."""
    ride = ride_of(request, book)
    book.details.remove_mark(ride.id, number_of(first(form, "mark"), "mark"))
    server_of(request).queue.submit(ride)
    return redirect(f"/rides/{ride.id}#marks")


@changes_book
def measure_again(request: Request, book: Book, form: Form) -> Response:
    """Measure a ride once more with this version."""
    ride = ride_of(request, book)
    server_of(request).queue.submit(ride)
    return redirect(f"/rides/{ride.id}")


@changes_book
def remove_ride(request: Request, book: Book, form: Form) -> Response:
    """Take a ride and its log out of the book, if the box was ticked."""
    ride = ride_of(request, book)
    if first(form, "sure") != "yes":
        raise PageError("the ride was not removed.", "tick the box to say that you are sure.")
    book.rides.remove(ride.id)
    return redirect("/")


def ride_of(request: Request, book: Book) -> RideEntry:
    """Return the ride that the address names."""
    return book.rides.get(int(request.path_params["ride"]))


def number_of(text: str, what: str) -> int:
    """Return a number from a form.

    Raises
    ------
    PageError
        If it is none.
    """
    if not text.isdigit() or len(text) > 12:
        raise PageError(f"{what}: {text[:20]!r} is no number.", "load the page again.")
    return int(text)


def _words(book: Book, ride: RideEntry, request: Request) -> dict[str, Any] | None:
    """Return what the ride's page says in the chosen unit, once it is drawn."""
    data = book.results.attachment(ride.id, "pages")
    if data is None:
        return None
    words: dict[str, Any] = json.loads(data)[unit_of(request).label]
    return words


def _file(data: bytes, kind: str, name: str) -> Response:
    # The name is ours: nothing from the log reaches a header.
    return Response(
        data, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'}
    )
