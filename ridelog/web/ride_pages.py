"""The list of rides, logs that come in, and the page of one ride."""

import json
import re
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ridelog import __version__
from ridelog.analysis.settings import LONGEST_MODE
from ridelog.book.book import Book
from ridelog.book.originals import suffix_of
from ridelog.book.records import (
    COLUMNS,
    CONDITIONS,
    NOTED,
    RideEntry,
    StoredResult,
)
from ridelog.present.words import elapsed_words
from ridelog.report.ride_json import changed_figures, to_bytes
from ridelog.web.job_queue import BUSY
from ridelog.web.looked_at import looked_at
from ridelog.web.views import (
    Form,
    PageError,
    asked_of,
    at_field,
    attachment,
    changes_book,
    check_conditions,
    computes,
    name_in,
    number_of,
    page,
    problems_as_pages,
    reads_book,
    redirect,
    safe_back,
    seconds_of,
    server_of,
    unit_of,
)
from ridelog.web.worker import Job
from ridelog.workflow.book_ride import log_at, settings_of
from ridelog.workflow.measuring import PAGES

_ROWS_A_PAGE = 50
# Rides that are named at once: those of one page of the list.
_MOST_AT_A_TIME = _ROWS_A_PAGE


@reads_book
def ride_list(request: Request, book: Book) -> Response:
    """Return the list of rides."""
    asked = asked_of(request)
    words, machine_id = asked.find.strip(), asked.machine
    count = book.rides.count(words, machine_id=machine_id)
    pages = max(1, -(-count // _ROWS_A_PAGE))
    number_of_page = min(max(asked.page or 1, 1), pages)
    rides = book.rides.found(
        words, machine_id=machine_id, most=_ROWS_A_PAGE, skip=(number_of_page - 1) * _ROWS_A_PAGE
    )
    numbers = [ride.id for ride in rides]

    def place(other: int) -> str:
        wanted = {"find": words, "machine": machine_id or "", "page": other}
        return "/?" + urlencode({name: value for name, value in wanted.items() if value})

    return page(
        request,
        "rides.html",
        rides=rides,
        figures=book.results.figures(numbers),
        grades=book.results.grades(numbers),
        named=asked.named,
        machines=book.machines.all(),
        setup_names=book.machines.setup_names(),
        conditions=CONDITIONS,
        words=words,
        machine_id=machine_id,
        count=count,
        everything=book.rides.count() if count == 0 else count,
        number=number_of_page,
        pages=pages,
        place=place,
    )


@reads_book
def ride_page(request: Request, book: Book) -> Response:
    """Return the page of one ride with everything that is known of it so far."""
    ride = ride_of(request, book)
    result = book.results.latest(ride.id)
    marks = book.details.marks(ride.id)
    current = result is not None and result.settings == settings_of(book, ride).as_json()
    drawn = book.results.attachment(ride.id, PAGES)
    words = json.loads(drawn)[unit_of(request).label] if drawn else None
    if ride.state != "failed" and (words is None or not current):
        # Read from an export, or left by a run that was stopped: figures follow by themselves.
        server_of(request).queue.submit(ride, unless=BUSY)
        server_of(request).queue.hurry(ride.id)
    points, to_look_at = looked_at(book, ride)
    older = [old for old in book.results.all(ride.id) if result and old.id != result.id]
    acted_on, besides = _up_to_acted_on(words["sections"] if words else [])
    noted = book.details.conditions(ride.id)
    return page(
        request,
        "ride.html",
        ride=ride,
        result=result,
        current=current,
        outdated=result is not None and result.version != __version__,
        words=words,
        acted_on=acted_on,
        besides=besides,
        grade=(result.document.get("signal") or {}).get("grade", "") if result else "",
        figures=book.results.figures([ride.id])[ride.id],
        marks=marks,
        modes=list(dict.fromkeys(mark.name for mark in marks if mark.kind == "mode")),
        longest_mode=LONGEST_MODE,
        conditions=CONDITIONS,
        noted=noted,
        told_conditions=[
            f"{CONDITIONS[name]}: {noted[name]}" for name in CONDITIONS if name in noted
        ],
        columns=_columns_field(book, ride),
        notes=book.details.notes(ride.id),
        points=points,
        to_look_at=to_look_at,
        machines=book.machines.all(),
        setups=book.machines.setups(ride.machine_id) if ride.machine_id else (),
        changes=changed_figures(older[0].document, result.document) if older and result else (),
        older_version=older[0].version if older else "",
        saved=asked_of(request).saved,
    )


def _up_to_acted_on(
    sections: list[dict[str, Any]],
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Return the sections up to the last that one acts on, which stand open, and those after it."""
    last = max((n for n, part in enumerate(sections, 1) if part.get("acted_on")), default=0)
    return sections[:last], sections[last:]


@reads_book
def ride_json_file(request: Request, book: Book) -> Response:
    """Return the figures of a ride as the JSON object that scripts read."""
    result = result_of(request, book)
    return attachment(to_bytes(result.document), "application/json", f"ride-{result.ride_id}.json")


@computes
@problems_as_pages
async def ride_report(request: Request) -> Response:
    """Return the page of a ride that stands alone, to keep or to send."""

    def asked() -> Job:
        with Book(server_of(request).folder, make=False) as book:
            ride = ride_of(request, book)
            return Job("report_page", {"log": log_at(book, ride), "unit": unit_of(request).label})

    data = await server_of(request).queue.ask(await run_in_threadpool(asked))
    name = f"ride-{request.path_params['ride']}.html"
    return attachment(data, "text/html; charset=utf-8", name, alone=True)


@reads_book
def ride_original(request: Request, book: Book) -> Response:
    """Return the log of a ride, byte for byte as it was given."""
    ride = ride_of(request, book)
    data = book.original(ride.sha256)
    name = f"ride-{ride.id}.{suffix_of(ride.format, data)}"
    return attachment(data, "application/octet-stream", name)


@changes_book
def change_details(request: Request, book: Book, form: Form) -> Response:
    """Change the machine, set-up, conditions and note of a ride."""
    ride = ride_of(request, book)
    machine = name_in(form, "machine", "name of the machine")
    setup = name_in(form, "setup", "name of the set-up")
    check_conditions(form)
    with book.all_or_nothing():
        with at_field("machine"):
            book.assign(ride.id, machine, setup)
        before = book.details.conditions(ride.id).get(COLUMNS, "")
        book.details.set_conditions(ride.id, {n: form[n] for n in NOTED if n in form})
        book.details.add_note(ride.id, form.get("note", ""))
    if book.details.conditions(ride.id).get(COLUMNS, "") != before:
        server_of(request).queue.submit(ride)
    return redirect(f"/rides/{ride.id}?saved=details#details")


def _columns_field(book: Book, ride: RideEntry) -> str | None:
    """Return what is said of a table's columns; None for a log that needs no such words."""
    said = book.details.conditions(ride.id).get(COLUMNS, "")
    asked = ride.state == "failed" and "--columns" in ride.problem
    return said if said or asked or ride.format == "csv" else None


@changes_book
def change_several(request: Request, book: Book, form: Form) -> Response:
    """Say of several rides at once what belongs to them; what is left empty stays as it is."""
    numbers = list(dict.fromkeys(number_of(n, "ride") for n in form.get("rides", "").split(",")))
    if len(numbers) > _MOST_AT_A_TIME:
        raise PageError(f"{len(numbers)} rides are too many at once.", "tick fewer of them.")
    machine = name_in(form, "machine_name", "name of the machine")
    setup = name_in(form, "setup_name", "name of the set-up")
    said = {name: form[name] for name in CONDITIONS if form.get(name, "").strip()}
    check_conditions(said)
    if not (machine or setup or said):
        raise PageError("nothing was named.", "name the machine, say.", field="machine_name")
    rides = [book.rides.get(number) for number in numbers]
    with book.all_or_nothing():
        for ride in rides:
            if machine or setup:
                kept = ride.setup if machine in ("", ride.machine) else ""
                with at_field("machine_name"):
                    book.assign(ride.id, machine or ride.machine, setup or kept)
            book.details.set_conditions(ride.id, said)
    for ride in rides:
        result = book.results.latest(ride.id)
        if result and result.settings != settings_of(book, book.rides.get(ride.id)).as_json():
            server_of(request).queue.submit(ride)
    back = re.sub(r"[?&]named=[0-9]*", "", safe_back(form.get("back", "/")))
    return redirect(f"{back}{'&' if '?' in back else '?'}named={len(rides)}")


@changes_book
def remove_note(request: Request, book: Book, form: Form) -> Response:
    """Take a note back."""
    ride = ride_of(request, book)
    book.details.remove_note(ride.id, number_of(form.get("note", ""), "note"))
    return redirect(f"/rides/{ride.id}#details")


@changes_book
def add_mark(request: Request, book: Book, form: Form) -> Response:
    """Mark a stretch and have the figures follow."""
    ride = ride_of(request, book)
    start_s = seconds_of(form, "start", "start of the stretch")
    end_s = seconds_of(form, "end", "end of the stretch")
    if ride.duration_s is not None and start_s >= ride.duration_s:
        raise PageError(
            f"start of the stretch: {elapsed_words(start_s)} is after the ride, which ends at "
            f"{elapsed_words(ride.duration_s)}.",
            "name a stretch of the ride.", field="start",
        )  # fmt: skip
    mode = " ".join(form.get("mode", "").split()) if form.get("kind") == "mode" else ""
    if form.get("kind") == "mode" and not 0 < len(mode) <= LONGEST_MODE:
        raise PageError(
            f"name of the drive mode: it has {len(mode)} letters.",
            f"write 1 to {LONGEST_MODE}, such as eco.", field="mode",
        )  # fmt: skip
    with at_field("end"):
        book.details.add_mark(ride.id, form.get("kind", ""), start_s, end_s, mode)
    server_of(request).queue.submit(ride)
    return redirect(f"/rides/{ride.id}#marks")


@changes_book
def remove_mark(request: Request, book: Book, form: Form) -> Response:
    """Take a mark back and have the figures follow."""
    ride = ride_of(request, book)
    book.details.remove_mark(ride.id, number_of(form.get("mark", ""), "mark"))
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
    if form.get("sure", "") != "yes":
        raise PageError("the ride was not removed.", "tick the box to say that you are sure.")
    book.rides.remove(ride.id)
    return redirect("/")


def ride_of(request: Request, book: Book) -> RideEntry:
    """Return the ride that the address names."""
    return book.rides.get(int(request.path_params["ride"]))


def result_of(request: Request, book: Book) -> StoredResult:
    """Return the newest result of the ride that the address names.

    PageError if there is none yet.
    """
    ride = ride_of(request, book)
    result = book.results.latest(ride.id)
    if result is None:
        raise PageError(f"ride {ride.id} has no figures yet.", "wait until it is measured.", 404)
    return result
