"""Rides held against a stated top speed: the page of a machine that came without rides."""

import re
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.book import Book
from ridelog.core.errors import RideLogError
from ridelog.core.text import clean
from ridelog.web.answered_form import answer_file, form_page, ticked_rides
from ridelog.web.compare_pages import FILES, sheet_arguments, sheet_form
from ridelog.web.kept_pages import keep_answer
from ridelog.web.machine_pages import USUAL_RIDES, rides_as_it_is, setup_of
from ridelog.web.views import (
    PageError,
    asked_of,
    computes,
    problems_as_pages,
    server_of,
    unit_of,
)
from ridelog.web.worker import ComparedRides, Job


@computes
@problems_as_pages
async def stated_page(request: Request) -> Response:
    """Return the form, and below it what the rides say of the statement, if one was typed."""

    async def keep(shown: dict[str, Any], answer: ComparedRides) -> None:
        query, setup = asked_of(request), shown["setup"]
        by = f" by {clean(query.by.strip())}" if query.by.strip() else ""
        await keep_answer(
            request, "stated", {"ride": ticked_rides(shown)}, machine_id=setup.machine_id,
            setup=setup.name, answer=answer.words["sentence"],
            title=f"{setup.name} against {query.speed.strip()} {unit_of(request).label} stated{by}",
        )  # fmt: skip

    return await form_page(request, "stated.html", _read, keep)


@computes
@problems_as_pages
async def stated_file(request: Request) -> Response:
    """Return one file of the comparison with a statement."""
    return await answer_file(
        request, _read, FILES, not_asked="no speed was stated.", back="comparison"
    )


def _read(request: Request) -> tuple[dict[str, Any], str, Job | None]:
    """Return what the form shows, what is wrong with it, and the work that answers it."""
    query = asked_of(request)
    with Book(server_of(request).folder, make=False) as book:
        machine, setup = setup_of(request, book)
        rides = rides_as_it_is(book, setup)
        ticked = set(query.ride) if query.asked else {r.id for r in rides[:USUAL_RIDES]}
        chosen = tuple(ride for ride in rides if ride.id in ticked)
        shown = {
            "machine": machine, "setup": setup, "rides": rides, "ticked": ticked,
            **{name: getattr(query, name) for name in ("speed", "within", "by")},
            **sheet_form(book, query),
        }  # fmt: skip
        if not query.asked:
            return shown, "", None
        try:
            stated = (
                unit_of(request).to_mps(_number(query.speed, "the stated speed", "28")),
                _number(query.within, "how good the statement is", "10") / 100.0,
                clean(query.by.strip()),
            )
            if not chosen:
                raise PageError("no ride was ticked.", "tick a measured ride on this set-up.")
        except RideLogError as error:
            return shown, str(error), None
        arguments = sheet_arguments(request, book, chosen, change=setup.name)
    return shown, "", Job("hold_stated", {"stated": stated, **arguments})


def _number(typed: str, what: str, example: str) -> float:
    words = typed.strip().rstrip("%").strip().replace(",", ".")
    if not re.fullmatch(r"\d{1,4}(\.\d{1,3})?", words):
        missing = "is missing" if not words else f'"{clean(typed.strip())}" is no number'
        raise PageError(f"{what}: {missing}.", f"write a number, such as {example}.")
    return float(words)
