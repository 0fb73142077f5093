"""Logs come in: raw bytes by PUT, counted, hashed and on the disk before they are acknowledged."""

import asyncio
import shutil

from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from ridelog.book import Book
from ridelog.book.records import shown_file
from ridelog.core.errors import RideLogError
from ridelog.web.job_queue import MOST_WAITING
from ridelog.web.security import TOKEN_HEADER, token_is_right
from ridelog.web.views import PageError, server_of

# A day at 5 Hz as GPX is about 100 MB; the command line reads larger ones. Own choice.
MOST_UPLOAD_BYTES = 128 * 1024 * 1024
# Uploads at one time, and how long one may stand still. Own choice.
MOST_AT_ONCE, _LONGEST_PAUSE_S = 8, 30.0
# What the disk keeps free for everything else.
_LEAST_FREE_BYTES = 256 * 1024 * 1024


async def put_log(request: Request) -> Response:
    """Take one log; answer 202 once it is safe, with the ride and its place in the queue."""
    try:
        slots = server_of(request).upload_slots
        if slots.locked():
            raise PageError(
                "too many logs are coming in at once.", "try this one again in a moment.", 503
            )
        async with slots:
            return await _take(request)
    except ClientDisconnect:
        return Response(status_code=400)
    except RideLogError as error:
        status = error.status if isinstance(error, PageError) else 400
        return JSONResponse({"problem": error.problem, "advice": error.advice}, status)


async def _take(request: Request) -> Response:
    server = server_of(request)
    _check(request)
    name = shown_file(request.query_params.get("name", ""))
    with Book(server.folder) as book:
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
            original = await run_in_threadpool(intake.finish)
        ride, new = await run_in_threadpool(book.rides.add, original, name)
    task = None
    if new or ride.state != "ready":
        task = server.queue.submit(ride).number
    return JSONResponse(
        {"ride": ride.id, "file": ride.file, "sha256": ride.sha256, "new": new, "task": task},
        202 if new else 200,
    )


def _check(request: Request) -> None:
    server = server_of(request)
    if not token_is_right(request.state.session, request.headers.get(TOKEN_HEADER, "")):
        raise PageError(
            "the page was older than the server, so the log was not taken.",
            "load the page again and drop the log once more.", 403,
        )  # fmt: skip
    if not server.uploads.allow(request.state.client):
        raise PageError("too many logs in a short time.", "wait a minute.", 429)
    if server.queue.waiting() >= MOST_WAITING:
        raise PageError(
            f"{MOST_WAITING} rides wait for their figures already.",
            "wait until some of them are done.", 503,
        )  # fmt: skip
    declared = request.headers.get("content-length", "")
    if declared.isdigit() and len(declared) < 20 and int(declared) > MOST_UPLOAD_BYTES:
        raise _too_large(shown_file(request.query_params.get("name", "")))
    if shutil.disk_usage(server.folder).free < _LEAST_FREE_BYTES + MOST_UPLOAD_BYTES:
        raise PageError("the disk is nearly full.", "make room on it first.", 507)


def _too_large(name: str) -> PageError:
    return PageError(
        f"{name}: the log is larger than the page takes ({MOST_UPLOAD_BYTES // 1024**2} MiB).",
        "cut it down to the one test ride, or use `ridelog report`.", 413,
    )  # fmt: skip
