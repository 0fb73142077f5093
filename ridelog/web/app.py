"""The application: every address of the workshop page and what answers it."""

import asyncio
import json
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from functools import cache
from pathlib import Path

from starlette.applications import Starlette
from starlette.convertors import Convertor, register_url_convertor
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route

from ridelog.present.palette import css_variables
from ridelog.web import (
    chart_routes,
    compare_pages,
    machine_pages,
    pairing,
    predict_pages,
    ride_list,
    ride_page,
    upload,
)
from ridelog.web.job_queue import JobQueue
from ridelog.web.ride_page import number_of
from ridelog.web.security import SecurityMiddleware
from ridelog.web.sessions import PairingCodes, RateLimiter, Sessions, code_tries
from ridelog.web.views import (
    Form,
    PageError,
    ServerState,
    changes_book,
    first,
    problem_page,
    redirect,
    server_of,
    static_bytes,
)
from ridelog.web.worker import Worker

_KINDS = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_STATIC = (
    "page.css",
    "busy.js",
    "common.js",
    "rides.js",
    "ride.js",
    "charts.js",
    "enter.js",
    "icon.svg",
)
# Events are sent at most this often; a browser that stays connected hears a sign of life. [s]
_PACE_S, _ALIVE_S, _LONGEST_STREAM_S = 0.15, 15.0, 600.0


class _Number(Convertor[int]):
    """A number in an address, short enough for the book."""

    regex = "[0-9]{1,15}"

    def convert(self, value: str) -> int:
        return int(value)

    def to_string(self, value: int) -> str:
        return str(value)


register_url_convertor("number", _Number())


def make_app(
    folder: Path,
    *,
    hosts: Callable[[], frozenset[str]],
    lan_address: Callable[[], str | None] = lambda: None,
    worker: Worker | None = None,
    codes: PairingCodes | None = None,
) -> SecurityMiddleware:
    """Return the workshop page as an ASGI application.

    Parameters
    ----------
    folder : Path
        The ride book.
    hosts : callable
        Returns the values of Host that are served, with port.
    lan_address : callable
        Returns "http://ADDRESS:PORT" for telephones, or None.
    worker, codes : optional
        For tests.
    """
    queue = JobQueue(folder, worker or Worker())
    sessions = Sessions()

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        queue.start()
        yield
        queue.stop()

    handlers = {404: _missing, 500: _broken}
    app = Starlette(routes=_routes(), lifespan=lifespan, exception_handlers=handlers)
    app.state.server = ServerState(
        folder=folder,
        queue=queue,
        sessions=sessions,
        codes=codes or PairingCodes(),
        tries=code_tries(),
        uploads=RateLimiter(600, 60.0),
        lan_address=lan_address,
    )
    app.state.upload_slots = upload.UploadSlots()
    app.state.comparisons = compare_pages.Comparisons()
    # Outermost, so that even an error's page carries the headers.
    return SecurityMiddleware(app, hosts=hosts, sessions=sessions, requests=RateLimiter(600, 60.0))


def _routes() -> list[Route]:
    get, post = ["GET"], ["POST"]
    return [
        Route("/", ride_list.ride_list, methods=get),
        Route("/logs", upload.put_log, methods=["PUT"]),
        Route("/events", events, methods=get),
        Route("/tasks", tasks, methods=get),
        Route("/tasks/dismiss", dismiss_task, methods=post),
        Route("/units", pairing.choose_unit, methods=post),
        Route("/rides/{ride:number}", ride_page.ride_page, methods=get),
        Route("/rides/{ride:number}/chart", chart_routes.ride_chart, methods=get),
        Route("/rides/{ride:number}/trace", chart_routes.ride_trace, methods=get),
        Route("/rides/{ride:number}/result.json", ride_page.ride_json_file, methods=get),
        Route("/rides/{ride:number}/report.html", ride_page.ride_report, methods=get),
        Route("/rides/{ride:number}/original", ride_page.ride_original, methods=get),
        Route("/rides/{ride:number}/details", ride_page.change_details, methods=post),
        Route("/rides/{ride:number}/notes/remove", ride_page.remove_note, methods=post),
        Route("/rides/{ride:number}/marks", ride_page.add_mark, methods=post),
        Route("/rides/{ride:number}/marks/remove", ride_page.remove_mark, methods=post),
        Route("/rides/{ride:number}/again", ride_page.measure_again, methods=post),
        Route("/rides/{ride:number}/remove", ride_page.remove_ride, methods=post),
        Route("/machines", machine_pages.machine_list, methods=get),
        Route("/machines", machine_pages.add_machine, methods=post),
        Route("/machines/{machine:number}", machine_pages.machine_page, methods=get),
        Route("/machines/{machine:number}", machine_pages.change_machine, methods=post),
        Route("/machines/{machine:number}/setups", machine_pages.add_setup, methods=post),
        Route(
            "/machines/{machine:number}/setups/{setup:number}",
            machine_pages.setup_page,
            methods=get,
        ),
        Route(
            "/machines/{machine:number}/setups/{setup:number}",
            machine_pages.change_setup,
            methods=post,
        ),
        Route(
            "/machines/{machine:number}/setups/{setup:number}/what-if",
            predict_pages.what_if,
            methods=get,
        ),
        Route("/compare", compare_pages.compare_page, methods=get),
        Route("/compare/{name}", compare_pages.compare_file, methods=get),
        Route("/phone", pairing.phone_page, methods=get),
        Route("/phone/code", pairing.new_code, methods=post),
        Route("/enter", pairing.enter_page, methods=get),
        Route("/enter", pairing.enter, methods=post),
        Route("/static/{name}", static_file, methods=get),
    ]


async def static_file(request: Request) -> Response:
    """Return a style sheet or script; only known names reach the file system."""
    name = request.path_params["name"]
    if name == "colours.css":
        data = _colours()
    elif name == "bokeh.min.js":
        data = _bokeh()
    elif name in _STATIC:
        data = static_bytes(name)
    else:
        raise HTTPException(404)
    kind = _KINDS[name.rsplit(".", 1)[-1]]
    # The library changes with its package only; our own files may change with any update.
    age = "max-age=86400" if name == "bokeh.min.js" else "no-cache"
    return Response(data, media_type=kind, headers={"cache-control": age})


@cache
def _colours() -> bytes:
    return (
        f":root{{{css_variables(dark=False)}color-scheme:light dark}}\n"
        f"@media (prefers-color-scheme:dark){{:root{{{css_variables(dark=True)}}}}}\n"
    ).encode()


@cache
def _bokeh() -> bytes:
    from importlib.resources import files

    return (files("bokeh") / "server" / "static" / "js" / "bokeh.min.js").read_bytes()


async def tasks(request: Request) -> Response:
    """Return what happens to the rides that came in."""
    return JSONResponse(server_of(request).queue.tasks())


async def events(request: Request) -> Response:
    """Tell a page, as it happens, what happens to the rides that came in."""
    queue = server_of(request).queue

    async def stream() -> AsyncIterator[str]:
        seen, end, spoke = -1, time.monotonic() + _LONGEST_STREAM_S, time.monotonic()
        while time.monotonic() < end:
            if queue.version != seen:
                seen, spoke = queue.version, time.monotonic()
                yield f"data: {json.dumps(queue.tasks())}\n\n"
            elif time.monotonic() - spoke > _ALIVE_S:
                spoke = time.monotonic()
                yield ": still here\n\n"
            await asyncio.sleep(_PACE_S)

    return StreamingResponse(stream(), media_type="text/event-stream")


@changes_book
def dismiss_task(request: Request, book: object, form: Form) -> Response:
    """Show a finished task no longer."""
    server_of(request).queue.dismiss(number_of(first(form, "task"), "task"))
    return redirect("/")


async def _missing(request: Request, error: Exception) -> Response:
    return problem_page(request, PageError("There is no such page.", "go back to the rides."), 404)


async def _broken(request: Request, error: Exception) -> Response:
    problem = f"ridelog made a mistake here ({type(error).__name__})."
    advice = "go back and try again; nothing in the book is lost. If it stays, please report it."
    return problem_page(request, PageError(problem, advice), 500)
