"""Logs that come in: taken in parts, each log of a zip a ride, with what was said of them."""

import asyncio
import re
import shutil

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ridelog.book.book import Book
from ridelog.book.originals import Intake
from ridelog.book.records import RideEntry, shown_file
from ridelog.importer.several import several_logs
from ridelog.web.asked import Query
from ridelog.web.job_queue import MOST_WAITING
from ridelog.web.security import TOKEN_HEADER, token_is_right
from ridelog.web.views import (
    PageError,
    asked_of,
    check_conditions,
    name_in,
    problems_as_pages,
    server_of,
)

# A day at 5 Hz as GPX is about 100 MB; the command line reads larger ones. Own choice.
MOST_UPLOAD_BYTES = 128 * 1024 * 1024
# Uploads at one time, and how long one may stand still. Own choice.
MOST_AT_ONCE, _LONGEST_PAUSE_S = 8, 30.0
# What the disk keeps free for everything else.
_LEAST_FREE_BYTES = 256 * 1024 * 1024


@problems_as_pages
async def put_log(request: Request) -> Response:
    """Take one log; answer 202 once it is safe, with the ride and its place in the queue."""
    slots = server_of(request).upload_slots
    if slots.locked():
        raise PageError(
            "too many logs are coming in at once.", "try this one again in a moment.", 503
        )
    async with slots:
        return await _take(request)


async def _take(request: Request) -> Response:
    server, asked = server_of(request), asked_of(request)
    _check(request)
    name = shown_file(asked.name)
    with Book(server.folder, make=False) as book:
        with book.intake() as intake:
            stream = request.stream()
            while True:
                try:
                    part = await asyncio.wait_for(anext(stream, None), _LONGEST_PAUSE_S)
                except TimeoutError as error:
                    raise PageError(
                        f"{name}: nothing came for {_LONGEST_PAUSE_S:.0f} s.",
                        "send it again.", 408,
                    ) from error  # fmt: skip
                if part is None:
                    break
                if intake.size_bytes + len(part) > MOST_UPLOAD_BYTES:
                    raise _too_large(name)
                await run_in_threadpool(intake.write, part)
            if not intake.size_bytes:
                raise PageError(f"{name}: the file is empty.", "copy the log again.")
            kept = await run_in_threadpool(_kept, book, intake, name, asked)
    told = [
        {
            "ride": ride.id, "file": ride.file, "sha256": ride.sha256, "new": new,
            "task": server.queue.submit(ride).number if new or ride.state != "ready" else None,
        }
        for ride, new in kept
    ]  # fmt: skip
    return JSONResponse({**told[0], "rides": told}, 202 if any(new for _, new in kept) else 200)


def _kept(book: Book, intake: Intake, name: str, asked: Query) -> list[tuple[RideEntry, bool]]:
    """Keep what came in, each log of a zip as a ride, with what was said of new ones."""
    kept = []
    for part, data in several_logs(name, intake.so_far(), limit_bytes=MOST_UPLOAD_BYTES):
        with book.intake() as one:
            one.write(data)
            kept.append(_ride_of(book, one, shown_file(part), asked))
    return kept or [_ride_of(book, intake, name, asked)]


def _ride_of(book: Book, intake: Intake, name: str, asked: Query) -> tuple[RideEntry, bool]:
    """Return the ride of a log; what was said of a new one is kept with it or not at all."""
    original = intake.finish()
    with book.all_or_nothing():
        ride, new = book.rides.add(original, name)
        if new:
            if asked.machine_name.strip():
                book.assign(ride.id, asked.machine_name, asked.setup_name)
            book.details.set_conditions(ride.id, asked.conditions)
    return ride, new


def _check(request: Request) -> None:
    server = server_of(request)
    if not token_is_right(request.state.session, request.headers.get(TOKEN_HEADER, "")):
        raise PageError(
            "the page was older than the server, so the log was not taken.",
            "load the page again and drop the log once more.", 403,
        )  # fmt: skip
    # Refused before anything is taken, not after.
    asked = asked_of(request)
    form = {"machine": asked.machine_name, "setup": asked.setup_name}
    machine = name_in(form, "machine", "name of the machine")
    if name_in(form, "setup", "name of the set-up") and not machine:
        raise PageError("a set-up belongs to a machine.", "name the machine as well.")
    check_conditions(asked.conditions)
    if not server.uploads.allow(request.state.client):
        raise PageError("too many logs in a short time.", "wait a minute.", 429)
    if server.queue.waiting() >= MOST_WAITING:
        raise PageError(
            f"{MOST_WAITING} rides wait for their figures already.",
            "wait until some of them are done.", 503,
        )  # fmt: skip
    declared = request.headers.get("content-length", "")
    if re.fullmatch("[0-9]{1,19}", declared) and int(declared) > MOST_UPLOAD_BYTES:
        raise _too_large(shown_file(asked_of(request).name))
    if shutil.disk_usage(server.folder).free < _LEAST_FREE_BYTES + MOST_UPLOAD_BYTES:
        raise PageError("the disk is nearly full.", "make room on it first.", 507)


def _too_large(name: str) -> PageError:
    return PageError(
        f"{name}: the log is larger than the page takes ({MOST_UPLOAD_BYTES // 1024**2} MiB).",
        "cut it down to the one test ride, or use `ridelog report`.", 413,
    )  # fmt: skip
