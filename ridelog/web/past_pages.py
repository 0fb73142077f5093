"""What is noted in a machine's history on its page: work, parts, decisions, photos; and its CSV."""

import asyncio
from datetime import UTC, datetime
from functools import lru_cache
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ridelog.book.book import Book
from ridelog.book.originals import read_original
from ridelog.book.records import WORK_KINDS, MachineEntry, checked_day, shown_file
from ridelog.core.errors import BookError
from ridelog.web.machine_pages import machine_of
from ridelog.web.security import TOKEN_HEADER, token_is_right
from ridelog.web.timeline import past_csv
from ridelog.web.views import (
    Form,
    PageError,
    asked_of,
    attachment,
    changes_book,
    number_of,
    problems_as_pages,
    reads_book,
    redirect,
    server_of,
)
from ridelog.workflow.photos import MOST_PHOTO_BYTES, SHOWN_POINTS, photo_kind, shown_photo

# A photo comes whole in this time, also by a slow radio link. [s] Own choice.
_LONGEST_FILE_S = 120.0
# As large as a photo stands on the line of time; own choice. [points]
_SMALL_POINTS = 360
_TYPES = {"jpeg": ("image/jpeg", "jpg"), "png": ("image/png", "png")}


@changes_book
def add_work(request: Request, book: Book, form: Form) -> Response:
    """Note a change, a part, a decision or anything else in a machine's history."""
    machine = machine_of(request, book)
    try:
        note_work(book, machine, form)
    except BookError as error:
        wrong = next((n for n in ("price", "hours") if error.problem.startswith(n)), "")
        wrong = wrong or ("day" if "day" in error.problem else "words")
        raise PageError(error.problem, error.advice, field=wrong) from error
    return redirect(f"/machines/{machine.id}?saved=past#past-head")


def note_work(book: Book, machine: MachineEntry, form: Form) -> None:
    """Note what a form says; BookError or PageError if a part of it cannot be."""
    kind = form.get("kind", "")
    if kind not in WORK_KINDS:
        raise PageError("what it was is not chosen.", "choose one of the list.", field="kind")
    book.past.add_work(
        machine.id,
        day=form.get("day", "") or today(),
        kind=kind,
        words=form.get("words", ""),
        price=_amount(form, "price"),
        currency=form.get("currency", ""),
        hours=_amount(form, "hours"),
    )


def today() -> str:
    """Return this day, here."""
    return datetime.now(UTC).astimezone().date().isoformat()


def _amount(form: Form, name: str) -> float | None:
    typed = form.get(name, "").strip()
    if not typed:
        return None
    try:
        return float(typed.replace(",", "."))
    except ValueError as error:
        raise PageError(
            f"{name}: {typed[:20]!r} is no number.", "write it like 40 or 1.5.", field=name
        ) from error


@changes_book
def remove_work(request: Request, book: Book, form: Form) -> Response:
    """Take something out of a machine's history."""
    machine = machine_of(request, book)
    book.past.remove_work(machine.id, number_of(form.get("work", ""), "entry"))
    return redirect(f"/machines/{machine.id}?saved=past#past-head")


@changes_book
def remove_photo(request: Request, book: Book, form: Form) -> Response:
    """Take a photo out of the book."""
    machine = machine_of(request, book)
    book.past.remove_photo(machine.id, number_of(form.get("photo", ""), "photo"))
    return redirect(f"/machines/{machine.id}?saved=past#past-head")


@problems_as_pages
async def put_photo(request: Request) -> Response:
    """Take one photo of a machine; it is kept as it is if it is one."""
    server, asked = server_of(request), asked_of(request)
    name = shown_file(asked.name)
    data = await small_file(request, name, MOST_PHOTO_BYTES, "photo")

    def keep() -> None:
        kind = photo_kind(name, data)
        day = checked_day(asked.day) or today()
        with Book(server.folder, make=False) as book:
            machine = machine_of(request, book)
            original = book.store(data)
            book.past.add_photo(
                machine.id, original, file=name, kind=kind, day=day, words=asked.note
            )

    await run_in_threadpool(keep)
    return JSONResponse({"file": name}, 201)


async def small_file(request: Request, name: str, most: int, what: str) -> bytes:
    """Return the bytes of a file that a page sends whole: a photo, a logo.

    PageError if it is not from our page, comes too often, is too large or too slow.
    """
    if not token_is_right(request.state.session, request.headers.get(TOKEN_HEADER, "")):
        raise PageError(
            f"the page was older than the server, so the {what} was not taken.",
            f"load the page again and choose the {what} once more.", 403,
        )  # fmt: skip
    if not server_of(request).uploads.allow(request.state.client):
        raise PageError("too many files in a short time.", "wait a minute.", 429)
    data = bytearray()
    try:
        async with asyncio.timeout(_LONGEST_FILE_S):
            async for part in request.stream():
                data += part
                if len(data) > most:
                    raise PageError(
                        f"{name}: more than {most // 1000:,} kB are too many for a {what}.",
                        "make it smaller first.", 413,
                    )  # fmt: skip
    except TimeoutError as error:
        raise PageError(f"{name}: the {what} did not come whole.", "send it again.", 408) from error
    return bytes(data)


@reads_book
def photo(request: Request, book: Book) -> Response:
    """Return a photo as it is shown."""
    kept = book.past.photo(machine_of(request, book).id, int(request.path_params["photo"]))
    points = SHOWN_POINTS if asked_of(request).large else _SMALL_POINTS
    data = _shown(str(book.place(kept.sha256)), kept.sha256, points)
    return Response(data, media_type="image/jpeg")


@lru_cache(maxsize=128)
def _shown(place: str, sha256: str, points: int) -> bytes:
    return shown_photo(read_original(Path(place), sha256), points)


@reads_book
def photo_file(request: Request, book: Book) -> Response:
    """Return a photo byte for byte as it was given."""
    kept = book.past.photo(machine_of(request, book).id, int(request.path_params["photo"]))
    kind, ending = _TYPES[kept.kind]
    return attachment(book.original(kept.sha256), kind, f"photo-{kept.id}.{ending}")


@reads_book
def history_csv(request: Request, book: Book) -> Response:
    """Return a machine's whole history as a table."""
    machine = machine_of(request, book)
    return attachment(past_csv(book, machine), "text/csv", f"machine-{machine.id}-history.csv")
