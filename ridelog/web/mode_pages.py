"""Two drive modes compared inside the same logs: a form from the page of a ride, and its sheet."""

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.book import Book
from ridelog.book.records import RideEntry
from ridelog.core.errors import RideLogError
from ridelog.core.text import clean
from ridelog.web.answered_form import answer_file, form_page, ticked_rides
from ridelog.web.compare_pages import FILES, MOST_A_SIDE, sheet_arguments, sheet_form
from ridelog.web.kept_pages import keep_answer
from ridelog.web.ride_pages import ride_of
from ridelog.web.views import (
    PageError,
    asked_of,
    computes,
    problems_as_pages,
    server_of,
)
from ridelog.web.worker import ComparedRides, Job


@computes
@problems_as_pages
async def modes_page(request: Request) -> Response:
    """Return the form, and below it what differs between two modes, if two were asked for."""

    async def keep(shown: dict[str, Any], answer: ComparedRides) -> None:
        await keep_answer(
            request, "modes", {"ride": ticked_rides(shown)}, answer=answer.words["sentence"],
            title=f"{clean(shown['second'])} against {clean(shown['first'])}",
        )  # fmt: skip

    return await form_page(request, "modes.html", _read, keep)


@computes
@problems_as_pages
async def modes_file(request: Request) -> Response:
    """Return one file of the comparison of two modes."""
    return await answer_file(
        request, _read, FILES, not_asked="no drive modes were asked for.", back="comparison"
    )


def _read(request: Request) -> tuple[dict[str, Any], str, Job | None]:
    """Return what the form shows, what is wrong with it, and the work that answers it."""
    query = asked_of(request)
    with Book(server_of(request).folder, make=False) as book:
        ride = ride_of(request, book)
        named = _named(book, ride)
        modes = list(dict.fromkeys(name for _, names in named for name in names))
        first, second = [*modes, "", ""][:2]
        if query.asked:
            first, second = query.first, query.second
        rides = [one for one, _ in named]
        both = {one.id for one, names in named if {first, second} <= set(names)}
        ticked = set(query.ride) if query.asked else both
        chosen = tuple(one for one in rides if one.id in ticked)
        shown = {
            "ride": ride, "rides": rides, "named": dict((one.id, names) for one, names in named),
            "ticked": ticked, "modes": modes, "first": first, "second": second,
            **sheet_form(book, query),
        }  # fmt: skip
        if not query.asked:
            return shown, "", None
        try:
            if not chosen:
                raise PageError("no ride was ticked.", "tick a ride that holds both modes.")
            if first == second or not {first, second} <= set(modes):
                raise PageError(
                    "two drive modes are compared.", "choose two that are named on these rides."
                )
        except RideLogError as error:
            return shown, str(error), None
        arguments = sheet_arguments(request, book, chosen)
    return shown, "", Job("compare_modes", {"modes": (first, second), **arguments})


def _named(book: Book, ride: RideEntry) -> list[tuple[RideEntry, list[str]]]:
    """Return this ride and others on its set-up whose stretches name drive modes, and which."""
    others = book.rides.found(machine_id=ride.machine_id, most=200) if ride.machine_id else []
    alike = [one for one in others if one.setup_id == ride.setup_id and one.id != ride.id]
    found = []
    for one in (ride, *alike):
        marks = book.details.marks(one.id)
        names = list(dict.fromkeys(mark.name for mark in marks if mark.kind == "mode"))
        if one.state == "ready" and names:
            found.append((one, names))
    return found[:MOST_A_SIDE]
