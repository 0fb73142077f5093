"""Before and after: the page that answers, and the owner's sheet with its files."""

import asyncio
import re
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.book import Book
from ridelog.book.records import CONDITIONS, RideEntry
from ridelog.book.workshop import kept_workshop
from ridelog.compare.noted import charges_in, with_open
from ridelog.core.text import shown_name
from ridelog.present.words import count_words, joined
from ridelog.report.aim import Aim
from ridelog.web.asked import Query
from ridelog.web.kept_pages import keep_answer
from ridelog.web.looked_at import setups_of
from ridelog.web.views import (
    Form,
    PageError,
    asked_of,
    attachment,
    changes_book,
    computes,
    number_of,
    page,
    problems_as_pages,
    redirect,
    safe_back,
    server_of,
    unit_of,
)
from ridelog.web.work_pages import WorkToNote, work_to_note
from ridelog.web.worker import ComparedRides, Job
from ridelog.workflow.book_ride import day_and_year, log_at

# Rides a side that the page compares; comparisons that it remembers. Own choice.
MOST_A_SIDE, _MOST_KEPT = 20, 40
PAPERS = {"a4": "A4", "us-letter": "Letter"}
# A name of a file that every system takes, with its ending. Own choice.
_LONGEST_STEM = 80
_JOB = ("done", "price", "hours", "open")
FILES = {
    "sheet.pdf": "application/pdf",
    "sheet.html": "text/html; charset=utf-8",
    "result.json": "application/json",
    "measures.csv": "text/csv; charset=utf-8",
    "runs.png": "image/png",
}


# The rides before, those after, and what the worker is given.
_AskedComparison = tuple[tuple[RideEntry, ...], tuple[RideEntry, ...], dict[str, Any]]


@computes
@problems_as_pages
async def compare_page(request: Request) -> Response:
    """Return what a change did, from the rides ticked as before and after."""
    before, after, arguments = await run_in_threadpool(_asked, request)
    compared = await answered(request, Job("compare_rides", arguments))
    drawing = _begun(request, Job("draw_comparison", arguments))
    drawn = drawing.result() if drawing.done() and drawing.exception() is None else None
    server = server_of(request)
    kept = await _kept(request, before, after, compared.words["sentence"])
    machines = {ride.machine_id: ride.machine for ride in (*before, *after) if ride.machine}
    return page(
        request,
        "compare.html",
        before=before,
        after=after,
        doubts=_doubts(before, after),
        words=compared.words,
        cautions=compared.words["cautions"],
        drawn=drawn,
        noted=(arguments["noted_before"], arguments["noted_after"]),
        stem=_stem(before, after),
        machines=machines,
        lan_link=f"{server.lan_address}/kept/{kept}" if kept and server.lan_address else "",
        query=_query(asked_of(request)),
        papers=PAPERS,
        aims=list(Aim),
        job=of_the_job(asked_of(request)),
        work=await run_in_threadpool(_work, request, after),
        **{name: arguments[name] for name in ("paper", "workshop", "contact", "note", "aim")},
    )


async def _kept(
    request: Request, before: tuple[RideEntry, ...], after: tuple[RideEntry, ...], answer: str
) -> int | None:
    """Keep a comparison with its machines, and what was typed for the sheet."""
    asked = asked_of(request)
    typed = {n: getattr(asked, n) for n in ("workshop", "contact", "note", "aim", *_JOB)}
    return await keep_answer(
        request, "comparison", {"before": before, "after": after},
        title=_title(before, after), answer=answer,
        words={name: words for name, words in typed.items() if words},
    )  # fmt: skip


def _work(request: Request, after: tuple[RideEntry, ...]) -> WorkToNote | None:
    with Book(server_of(request).folder, make=False) as book:
        return work_to_note(book, after, of_the_job(asked_of(request)))


@computes
@problems_as_pages
async def compare_file(request: Request) -> Response:
    """Return one file of a comparison: the owner's sheet, its picture, the figures."""
    name = request.path_params["name"]
    before, after, arguments = await run_in_threadpool(_asked, request)
    compared = await answered(request, Job("draw_comparison", arguments))
    if name not in FILES or name not in compared.files:
        raise PageError("There is no such file.", "go back to the comparison.", 404)
    if name.startswith("sheet"):
        # What was typed for it comes first with the sheet, not with a page.
        await _kept(request, before, after, compared.words["sentence"])
    kept_as = f"{_stem(before, after)}-{name}"
    return attachment(compared.files[name], FILES[name], kept_as, alone=name == "sheet.html")


def _title(before: tuple[RideEntry, ...], after: tuple[RideEntry, ...]) -> str:
    """Return what was compared: set-ups where they are named, else days, and how many rides."""
    sides = []
    for rides in (before, after):
        setups = list(dict.fromkeys(ride.setup for ride in rides if ride.setup))
        days = list(dict.fromkeys(" ".join(day_and_year(ride.start_utc)) for ride in rides))
        sides.append(joined(setups or days))
    many = count_words(len(before), "ride", "rides")
    return f"{sides[0]} to {sides[1]}: {many} before, {len(after)} after"


def _stem(before: tuple[RideEntry, ...], after: tuple[RideEntry, ...]) -> str:
    """Return how files of a comparison are called: by machine and set-ups, in plain letters.

    Nothing else of what somebody typed reaches a header.
    """
    first = next((ride.machine for ride in (*before, *after) if ride.machine), "rides")
    setups = [next((r.setup for r in side if r.setup), "") for side in (before, after)]
    words = f"{first} {' to '.join(filter(None, setups))}".lower()
    return re.sub(r"[^a-z0-9]+", "-", words).strip("-")[:_LONGEST_STEM].strip("-") or "rides"


async def answered(request: Request, job: Job) -> ComparedRides:
    """Return what a job answers; nothing is computed twice while it is remembered."""
    return await asyncio.shield(_begun(request, job))


def _begun(request: Request, job: Job) -> asyncio.Task[ComparedRides]:
    """Return the task that answers a job; whoever asks for the same waits for this one."""
    server = server_of(request)
    made, key = server.comparisons, repr((job.function, sorted(job.arguments.items())))
    if key not in made:
        made[key] = task = asyncio.create_task(server.queue.ask(job))

        def ended(task: asyncio.Task[ComparedRides]) -> None:
            # What went wrong may go well the next time.
            if task.cancelled() or task.exception() is not None:
                made.pop(key, None)

        task.add_done_callback(ended)
        while len(made) > _MOST_KEPT:
            made.popitem(last=False)
    return made[key]


@changes_book
def note_charge(request: Request, book: Book, form: Form) -> Response:
    """Note with the rides of a comparison how full the battery was, and compare again."""
    said = {side: form.get(f"charge_{side}", "").strip() for side in ("before", "after")}
    for side, words in said.items():
        if words and not charges_in(words):
            raise PageError(
                f"{shown_name(words)}: this tells no charge.",
                "write full, or a share such as 80 %.",
                field=f"charge_{side}",
            )
    if not any(said.values()):
        raise PageError("no charge was typed.", "write full, say.", field="charge_before")
    with book.all_or_nothing():
        for side, words in said.items():
            for number in form.get(side, "").split(",") if words else ():
                ride = book.rides.get(number_of(number, "ride"))
                book.details.set_conditions(ride.id, {"charge": words})
    return redirect(safe_back(form.get("back", "/")))


def _asked(request: Request) -> _AskedComparison:
    query = asked_of(request)
    with Book(server_of(request).folder, make=False) as book:
        before, after = _rides(book, query.before, "before"), _rides(book, query.after, "after")
        arguments = {
            "before": [log_at(book, ride) for ride in before],
            "after": [log_at(book, ride) for ride in after],
            "noted_before": noted_of(book, before),
            "noted_after": _with_job(book, after, query),
            "unit": unit_of(request).label,
            **on_paper(book, query),
        }
    return before, after, arguments


def on_paper(book: Book, query: Query) -> dict[str, str]:
    """Return what stands on a paper beside its figures; the workshop as kept, if not typed."""
    kept = kept_workshop(book.words.folder)
    return {
        "workshop": query.workshop or kept.name,
        "contact": query.contact or kept.contact,
        "logo": str(kept.logo or ""),
        **{name: getattr(query, name) for name in ("note", "aim", "paper")},
    }


def _rides(book: Book, wanted: tuple[int, ...], side: str) -> tuple[RideEntry, ...]:
    if not wanted:
        raise PageError(
            f"no ride {side} the change was ticked.", f"tick at least one ride as {side}."
        )
    if len(wanted) > MOST_A_SIDE:
        raise PageError(
            f"{len(wanted)} rides {side} the change are more than the page compares "
            f"({MOST_A_SIDE}).",
            "tick fewer, or use `ridelog compare`.",
        )
    rides = [book.rides.get(number) for number in wanted]
    return tuple(sorted(rides, key=lambda ride: (ride.start_utc, ride.id)))


def _doubts(before: tuple[RideEntry, ...], after: tuple[RideEntry, ...]) -> list[str]:
    """Return what the book knows against a comparison: not one machine, or no change at all."""
    machines = sorted({ride.machine or "none named" for ride in (*before, *after)})
    doubts = []
    if len(machines) > 1:
        doubts.append(
            f"The rides are not of one machine ({joined(machines)}): what differs may be the "
            "machine, not the change."
        )
    sides = [{(ride.machine_id, ride.setup_id) for ride in side} for side in (before, after)]
    same = sorted({r.setup for r in before if (r.machine_id, r.setup_id) in sides[1] and r.setup})
    if same:
        doubts.append(
            f"Rides before and after the change have the same set-up ({joined(same)}): by the book "
            "nothing was changed between them."
        )
    return doubts


def noted_of(book: Book, rides: tuple[RideEntry, ...]) -> dict[str, str]:
    """Return what was noted of every ride of a side, by condition.

    What was noted of some of them alone says nothing about the others, and so not of the side.
    """
    noted: dict[str, list[str]] = {}
    for ride in rides:
        known = book.details.conditions(ride.id)
        said = {CONDITIONS[name].lower(): x for name, x in known.items() if name in CONDITIONS}
        said |= {"machine": ride.machine, "setup": ride.setup}
        for name, value in said.items():
            if value:
                noted.setdefault(name, []).append(value)
    return {
        name: joined(list(dict.fromkeys(values)))
        for name, values in noted.items()
        if len(values) == len(rides) or name in ("machine", "setup")
    }


def _with_job(book: Book, rides: tuple[RideEntry, ...], asked: Query) -> dict[str, str]:
    """Return what was noted of rides and typed of the work, with what their set-ups leave open."""
    return with_open(noted_of(book, rides) | of_the_job(asked), setups_of(book, rides))


def of_the_job(asked: Query) -> dict[str, str]:
    """Return what was typed of the work: done, price, hours, what is open."""
    return {name: words for name in _JOB if (words := getattr(asked, name).strip())}


def sheet_form(book: Book, asked: Query) -> dict[str, Any]:
    """Return what a form shows of its sheet: what may be chosen, and what was typed."""
    typed = {"job": of_the_job(asked), **on_paper(book, asked)}
    return {"aims": list(Aim), "papers": PAPERS, **typed}


def sheet_arguments(
    request: Request, book: Book, rides: tuple[RideEntry, ...], **noted: str
) -> dict[str, Any]:
    """Return what a job takes that makes the sheet of some rides; ``noted`` goes beside theirs."""
    asked = asked_of(request)
    return {
        "logs": [log_at(book, ride) for ride in rides],
        "noted": {**noted, **_with_job(book, rides, asked)},
        "unit": unit_of(request).label,
        **on_paper(book, asked),
    }


def _query(asked: Query) -> str:
    """Return the comparison's own address, rebuilt from what was understood of it."""
    parts: list[tuple[str, object]] = [("before", number) for number in asked.before]
    parts += [("after", number) for number in asked.after]
    words = {
        name: getattr(asked, name)
        for name in ("workshop", "contact", "note", "aim", "paper", *_JOB)
    }
    return urlencode([*parts, *((name, value) for name, value in words.items() if value)])
