"""Before and after: the page that answers, and the owner's sheet with its files."""

from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.book import Book
from ridelog.book.records import CONDITIONS, RideEntry
from ridelog.present.words import joined
from ridelog.web.views import PageError, attachment, page, problems_as_pages, server_of, unit_of
from ridelog.web.worker import ComparedRides, Job
from ridelog.workflow.book_ride import log_at

# Rides a side that the page compares; comparisons that it remembers. Own choice.
_MOST_A_SIDE, _MOST_KEPT = 20, 20
_PAPERS = {"a4": "A4", "us-letter": "Letter"}
_FILES = {
    "sheet.pdf": "application/pdf",
    "sheet.html": "text/html; charset=utf-8",
    "result.json": "application/json",
    "measures.csv": "text/csv; charset=utf-8",
    "runs.png": "image/png",
}


# The rides before, those after, and what the worker is given.
_AskedComparison = tuple[tuple[RideEntry, ...], tuple[RideEntry, ...], dict[str, Any]]


@problems_as_pages
async def compare_page(request: Request) -> Response:
    """Return what a change did, from the rides ticked as before and after."""
    (before, after, arguments), compared = await _compared(request)
    return page(
        request,
        "compare.html",
        before=before,
        after=after,
        words=compared.words,
        cautions=compared.words["cautions"],
        picture=compared.picture,
        lacking=compared.lacking,
        query=_query(request),
        papers=_PAPERS,
        **{name: arguments[name] for name in ("paper", "workshop", "note")},
    )


@problems_as_pages
async def compare_file(request: Request) -> Response:
    """Return one file of a comparison: the owner's sheet, its picture, the figures."""
    name = request.path_params["name"]
    _, compared = await _compared(request)
    if name not in _FILES or name not in compared.files:
        raise PageError("There is no such file.", "go back to the comparison.", 404)
    return attachment(compared.files[name], _FILES[name], name, alone=name == "sheet.html")


async def _compared(request: Request) -> tuple[_AskedComparison, ComparedRides]:
    asked = await run_in_threadpool(_asked, request)
    server, arguments = server_of(request), asked[2]
    key = repr(sorted(arguments.items()))
    if key not in server.comparisons:
        server.comparisons[key] = await server.queue.ask(Job("compare_rides", arguments))
        while len(server.comparisons) > _MOST_KEPT:
            server.comparisons.popitem(last=False)
    return asked, server.comparisons[key]


def _asked(request: Request) -> _AskedComparison:
    query = request.query_params
    with Book(server_of(request).folder, make=False) as book:
        before, after = (_rides(book, query.getlist(side), side) for side in ("before", "after"))
        paper = query.get("paper", "a4")
        arguments = {
            "before": [log_at(book, ride) for ride in before],
            "after": [log_at(book, ride) for ride in after],
            "noted_before": _noted(book, before),
            "noted_after": _noted(book, after),
            "unit": unit_of(request).label,
            "workshop": query.get("workshop", "")[:100],
            "note": query.get("note", "")[:500],
            "paper": paper if paper in _PAPERS else "a4",
        }
    return before, after, arguments


def _rides(book: Book, numbers: list[str], side: str) -> tuple[RideEntry, ...]:
    wanted = list(dict.fromkeys(n for n in numbers if n.isdigit() and len(n) <= 15))
    if not wanted:
        raise PageError(
            f"no ride {side} the change was ticked.", f"tick at least one ride as {side}."
        )
    if len(wanted) > _MOST_A_SIDE:
        raise PageError(
            f"{len(wanted)} rides {side} the change are more than the page compares "
            f"({_MOST_A_SIDE}).",
            "tick fewer, or use `ridelog compare`.",
        )
    rides = [book.rides.get(int(number)) for number in wanted]
    return tuple(sorted(rides, key=lambda ride: (ride.start_utc, ride.id)))


def _noted(book: Book, rides: tuple[RideEntry, ...]) -> dict[str, str]:
    """Return what was noted of the rides of a side, by condition."""
    noted: dict[str, list[str]] = {}
    for ride in rides:
        for name, value in book.details.conditions(ride.id).items():
            values = noted.setdefault(CONDITIONS[name].lower(), [])
            if value not in values:
                values.append(value)
    return {name: joined(values) for name, values in noted.items()}


def _query(request: Request) -> str:
    """Return the comparison's own address, rebuilt from what was understood of it."""
    query = request.query_params
    parts = [(side, n) for side in ("before", "after") for n in query.getlist(side) if n.isdigit()]
    parts += [(n, query[n][:500]) for n in ("workshop", "note", "paper") if query.get(n)]
    return urlencode(parts)
