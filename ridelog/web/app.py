"""The application: every address of the workshop page and what answers it."""

import asyncio
import json
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.convertors import IntegerConvertor, register_url_convertor
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Receive, Scope, Send

from ridelog.book.book import Book
from ridelog.present.palette import css_variables
from ridelog.web import (
    compare_pages,
    incoming,
    kept_pages,
    machine_pages,
    mode_pages,
    options_pages,
    past_pages,
    phone_pages,
    receiver_pages,
    ride_pages,
    stated_pages,
    trace,
    work_pages,
    workshop_pages,
)
from ridelog.web.admission import PairingCodes, RateLimiter, Sessions, WrongTries
from ridelog.web.job_queue import JobQueue
from ridelog.web.receiver import ReceiverDesk
from ridelog.web.security import SecurityMiddleware
from ridelog.web.views import (
    UNIT_COOKIE,
    UNIT_WORDS,
    Endpoint,
    Form,
    PageError,
    ServerState,
    changes_book,
    door_page,
    number_of,
    problem_page,
    redirect,
    safe_back,
    server_of,
)
from ridelog.web.worker import Worker

_KINDS = {"css": "text/css", "js": "text/javascript", "svg": "image/svg+xml"}
_STATIC = {path.name: path for path in (files("ridelog.web") / "static").iterdir()}
# Events are sent at most this often; a browser that stays connected hears a sign of life. [s]
_PACE_S, _ALIVE_S, _LONGEST_STREAM_S = 0.15, 15.0, 600.0


class _Number(IntegerConvertor):
    """A number in an address, short enough for the book."""

    regex = "[0-9]{1,15}"


register_url_convertor("number", _Number())


def make_app(
    folder: Path,
    *,
    hosts: frozenset[str],
    lan_address: str | None = None,
    fingerprint: str = "",
    worker: Worker | None = None,
    codes: PairingCodes | None = None,
) -> SecurityMiddleware:
    """Return the workshop page as an ASGI application.

    ``hosts`` are the values of Host that are served, with port; ``lan_address`` is
    "https://ADDRESS:PORT" for telephones, ``fingerprint`` that of its certificate.
    """
    queue = JobQueue(folder, worker or Worker())
    receiver, sessions = ReceiverDesk(folder, queue), Sessions()

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        queue.start()
        await run_in_threadpool(receiver.take_what_was_left)
        yield
        await run_in_threadpool(receiver.close)
        queue.stop()

    handlers = {404: _missing, 500: _broken}
    app = Starlette(routes=routes(), lifespan=lifespan, exception_handlers=handlers)
    app.state.server = ServerState(
        folder=folder,
        queue=queue,
        receiver=receiver,
        sessions=sessions,
        codes=codes or PairingCodes(),
        wrong_tries=WrongTries(),
        uploads=RateLimiter(600, 60.0),
        upload_slots=asyncio.Semaphore(incoming.MOST_AT_ONCE),
        lan_address=lan_address,
        fingerprint=fingerprint,
    )

    def before_the_app(endpoint: Endpoint) -> ASGIApp:
        async def answer(scope: Scope, receive: Receive, send: Send) -> None:
            await (await endpoint(Request({**scope, "app": app})))(scope, receive, send)

        return answer

    # Outermost, so that even an error's page carries the headers.
    return SecurityMiddleware(
        app, hosts=hosts, sessions=sessions, requests=RateLimiter(600, 60.0),
        door=before_the_app(door_page), gate=before_the_app(phone_pages.gate_page),
    )  # fmt: skip


_RIDE, _MACHINE = "/rides/{ride:number}", "/machines/{machine:number}"
_PHOTO = f"{_MACHINE}/photos/{{photo:number}}"
_SETUP = f"{_MACHINE}/setups/{{setup:number}}"


def routes() -> list[Route]:
    """Return every address of the page with what answers it."""
    pages = {
        "/": ride_pages.ride_list,
        "/events": events,
        "/tasks": tasks,
        _RIDE: ride_pages.ride_page,
        f"{_RIDE}/chart": trace.ride_chart,
        f"{_RIDE}/trace": trace.ride_trace,
        f"{_RIDE}/result.json": ride_pages.ride_json_file,
        f"{_RIDE}/report.html": ride_pages.ride_report,
        f"{_RIDE}/original": ride_pages.ride_original,
        f"{_RIDE}/modes": mode_pages.modes_page,
        f"{_RIDE}/modes/{{name}}": mode_pages.modes_file,
        "/machines": machine_pages.machine_list,
        _MACHINE: machine_pages.machine_page,
        f"{_MACHINE}/compare": machine_pages.compare_setups,
        f"{_MACHINE}/history.csv": past_pages.history_csv,
        _PHOTO: past_pages.photo,
        f"{_PHOTO}/original": past_pages.photo_file,
        "/kept/{kept:number}": kept_pages.kept_page,
        _SETUP: machine_pages.setup_page,
        f"{_SETUP}/what-if": machine_pages.what_if,
        f"{_SETUP}/what-if/{{name}}": machine_pages.what_if_file,
        f"{_SETUP}/options": options_pages.options_page,
        f"{_SETUP}/options/{{name}}": options_pages.options_file,
        f"{_SETUP}/stated": stated_pages.stated_page,
        f"{_SETUP}/stated/{{name}}": stated_pages.stated_file,
        "/workshop": workshop_pages.workshop_page,
        "/workshop/logo": workshop_pages.logo,
        "/compare": compare_pages.compare_page,
        "/compare/{name}": compare_pages.compare_file,
        "/phone": phone_pages.phone_page,
        "/enter": phone_pages.enter_page,
        "/receiver": receiver_pages.receiver_page,
        "/receiver/state": receiver_pages.receiver_state,
        "/static/{name}": static_file,
    }
    changes = {
        "/tasks/dismiss": dismiss_task,
        "/units": choose_unit,
        "/rides/details": ride_pages.change_several,
        "/compare/charge": compare_pages.note_charge,
        "/compare/work": work_pages.note_typed_work,
        f"{_RIDE}/details": ride_pages.change_details,
        f"{_RIDE}/notes/remove": ride_pages.remove_note,
        f"{_RIDE}/marks": ride_pages.add_mark,
        f"{_RIDE}/marks/remove": ride_pages.remove_mark,
        f"{_RIDE}/again": ride_pages.measure_again,
        f"{_RIDE}/remove": ride_pages.remove_ride,
        "/machines": machine_pages.add_machine,
        _MACHINE: machine_pages.change_machine,
        f"{_MACHINE}/setups": machine_pages.add_setup,
        f"{_MACHINE}/work": past_pages.add_work,
        f"{_MACHINE}/work/remove": past_pages.remove_work,
        f"{_MACHINE}/photos/remove": past_pages.remove_photo,
        f"{_MACHINE}/kept/remove": kept_pages.forget_answer,
        _SETUP: machine_pages.change_setup,
        f"{_SETUP}/options/decision": options_pages.note_decision,
        "/workshop": workshop_pages.change_workshop,
        "/workshop/logo/remove": workshop_pages.remove_logo,
        "/phone/code": phone_pages.new_code,
        "/enter": phone_pages.enter,
        f"{_RIDE}/before": receiver_pages.note_looked_at,
        "/receiver/listen": receiver_pages.listen,
        "/receiver/end": receiver_pages.end_listening,
        "/receiver/machine": receiver_pages.choose_machine,
        "/receiver/start": receiver_pages.start_ride,
        "/receiver/stop": receiver_pages.stop_ride,
    }
    return [
        Route("/logs", incoming.put_log, methods=["PUT"]),
        Route("/workshop/logo", workshop_pages.put_logo, methods=["PUT"]),
        Route(f"{_MACHINE}/photos", past_pages.put_photo, methods=["PUT"]),
        *(Route(path, page, methods=["GET"]) for path, page in pages.items()),
        *(Route(path, change, methods=["POST"]) for path, change in changes.items()),
    ]


async def static_file(request: Request) -> Response:
    """Return a style sheet or script; only known names reach the file system."""
    name = request.path_params["name"]
    if name == "colours.css":
        data = (
            f":root{{{css_variables(dark=False)}color-scheme:light dark}}\n"
            f"@media (prefers-color-scheme:dark){{:root{{{css_variables(dark=True)}}}}}\n"
        ).encode()
    elif name == "bokeh.min.js":
        data = (files("bokeh") / "server" / "static" / "js" / name).read_bytes()
    elif name in _STATIC:
        data = _STATIC[name].read_bytes()
    else:
        raise HTTPException(404)
    kind = _KINDS[name.rsplit(".", 1)[-1]]
    # The library changes with its package only; our own files may change with any update.
    age = "max-age=86400" if name == "bokeh.min.js" else "no-cache"
    return Response(data, media_type=kind, headers={"cache-control": age})


async def tasks(request: Request) -> Response:
    """Return what happens to the rides that came in."""
    return JSONResponse(server_of(request).queue.tasks())


async def events(request: Request) -> Response:
    """Send a page, as it happens, what happens to the rides that came in."""
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
    server_of(request).queue.dismiss(number_of(form.get("task", ""), "task"))
    return redirect("/")


async def _missing(request: Request, error: Exception) -> Response:
    return problem_page(request, PageError("There is no such page.", "go back to the rides."), 404)


async def _broken(request: Request, error: Exception) -> Response:
    problem = f"ridelog made a mistake here ({type(error).__name__})."
    advice = "go back and try again; nothing in the book is lost. If it stays, please report it."
    return problem_page(request, PageError(problem, advice), 500)


_UNIT_LIFE_S = 365 * 86_400


@changes_book
def choose_unit(request: Request, book: Book, form: Form) -> Response:
    """Switch the units everywhere."""
    word = form.get("unit", "")
    if word not in UNIT_WORDS:
        raise PageError(f"{word[:20]!r} is no unit.", f"choose {' or '.join(UNIT_WORDS)}.")
    answer = redirect(safe_back(form.get("back", "/")))
    answer.set_cookie(UNIT_COOKIE, word, max_age=_UNIT_LIFE_S, samesite="strict", httponly=True)
    return answer
