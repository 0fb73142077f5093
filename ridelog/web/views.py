"""What every page shares: templates, the open book, forms with their token, errors in words."""

import asyncio
import re
from collections import OrderedDict
from collections.abc import Awaitable, Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cache, wraps
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

from jinja2 import ChoiceLoader, Environment, PackageLoader, PrefixLoader, StrictUndefined
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from ridelog import __version__
from ridelog.book.book import Book
from ridelog.compare.noted import tells_mass
from ridelog.core.errors import BookError, RideLogError
from ridelog.core.text import clean, shown_name
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.present.words import elapsed_words
from ridelog.web.admission import PairingCodes, RateLimiter, Sessions, WrongTries
from ridelog.web.asked import Query, asked_in
from ridelog.web.job_queue import JobQueue
from ridelog.web.receiver import ReceiverDesk
from ridelog.web.security import ALONE_POLICY, token_is_right
from ridelog.web.worker import ComparedRides
from ridelog.workflow import book_ride

Form = dict[str, str]
Endpoint = Callable[[Request], Awaitable[Response]]
UNIT_COOKIE = "ridelog_unit"
# Cookie values are plain letters; labels are not.
UNIT_WORDS = {"kmh": "km/h", "mph": "mph"}
# A form is small and comes at once; one that trickles holds a connection. Own choice.
_MOST_FORM_BYTES, _LONGEST_FORM_S = 256 * 1024, 15.0
# A set-up file holds no longer name of a machine (machine.setup), so the page takes none.
MOST_NAME = 80
_FILTERS: dict[str, Callable[..., object]] = {
    "top_speed": book_ride.top_speed,
    "speed": book_ride.speed,
    "bounds": book_ride.bounds,
    "moment": book_ride.moment,
    "day": book_ride.day_in_words,
    "lasting": book_ride.lasting,
    "clock": elapsed_words,
    "clean": clean,
}
_BACK = re.compile(r"/(?!/)[A-Za-z0-9/_.?=&%+*~-]{0,4000}")


@dataclass(frozen=True)
class ServerState:
    """What the server holds: where the book is, the queue, who may come in and how often.

    ``lan_address`` is where telephones come in, ``fingerprint`` that of the certificate they are
    shown, empty without encryption; ``comparisons`` are those made last or being made, so that
    nothing is computed twice.
    """

    folder: Path
    queue: JobQueue
    receiver: ReceiverDesk
    sessions: Sessions
    codes: PairingCodes
    wrong_tries: WrongTries
    uploads: RateLimiter
    upload_slots: asyncio.Semaphore
    lan_address: str | None
    fingerprint: str
    comparisons: OrderedDict[str, asyncio.Task[ComparedRides]] = field(default_factory=OrderedDict)


class PageError(RideLogError):
    """Something that the page was asked for and cannot be; ``field`` of a form, if it is there."""

    def __init__(
        self, problem: str, advice: str = "", status: int = 400, *, field: str = ""
    ) -> None:
        super().__init__(problem, advice)
        self.status, self.field = status, field


@contextmanager
def at_field(name: str) -> Iterator[None]:
    """Say of what the book refuses here that it belongs to a field of the form."""
    try:
        yield
    except BookError as error:
        raise PageError(error.problem, error.advice, field=name) from error


def name_in(form: Form, name: str, what: str) -> str:
    """Return a name from a form; PageError at its field if it is longer than a set-up file's."""
    given = " ".join(form.get(name, "").split())
    if len(given) > MOST_NAME:
        raise PageError(
            f"{what}: the name has {len(given):,} letters, {MOST_NAME} are the most.",
            "shorten it.", field=name,
        )  # fmt: skip
    return given


def check_conditions(said: Mapping[str, str]) -> None:
    """Raise PageError at its field if what was said of a ride tells no mass where it should."""
    mass = said.get("load", "").strip()
    if mass and not tells_mass(mass):
        raise PageError(
            f"{shown_name(mass)}: this tells no mass.",
            "write it with its unit, such as 82 kg or 180 lb.", field="load",
        )  # fmt: skip


def server_of(request: Request) -> ServerState:
    """Return what the server holds."""
    found: ServerState = request.app.state.server
    return found


def asked_of(request: Request) -> Query:
    """Return what the address asks for after its question mark."""
    return asked_in(request.query_params)


def unit_of(request: Request) -> SpeedUnit:
    """Return the unit that this browser chose."""
    return SPEED_UNITS[UNIT_WORDS[unit_word(request)]]


def unit_word(request: Request) -> str:
    """Return the chosen unit as it stands in the cookie."""
    word = request.cookies.get(UNIT_COOKIE, "kmh")
    return word if word in UNIT_WORDS else "kmh"


def page(request: Request, template: str, status: int = 200, **values: Any) -> HTMLResponse:
    """Return a page laid out by a template of this package."""
    server = server_of(request)
    session = request.state.session
    query = f"?{request.url.query}" if request.url.query else ""
    text = _templates().get_template(template).render(
        token=session.token if session else "",
        local=request.state.local,
        lan=server.lan_address is not None,
        unit=unit_of(request),
        unit_word=unit_word(request),
        unit_words=UNIT_WORDS,
        here=request.url.path,
        back=request.url.path + query,
        version=__version__,
        **values,
    )  # fmt: skip
    return HTMLResponse(text, status)


def problems_as_pages(endpoint: Endpoint) -> Endpoint:
    """Return an endpoint in which what a user can cause becomes a page with a sentence."""

    @wraps(endpoint)
    async def answer(request: Request) -> Response:
        try:
            made = await endpoint(request)
            if request.method == "POST" and _is_script(request) and made.status_code == 303:
                # The script that sent the form goes on by itself, once nothing was refused.
                place = JSONResponse({"to": made.headers["location"]})
                place.raw_headers += [h for h in made.raw_headers if h[0] == b"set-cookie"]
                return place
            return made
        except ClientDisconnect:
            return Response(status_code=400)
        except RideLogError as error:
            status = error.status if isinstance(error, PageError) else 400
            if isinstance(error, BookError) and error.problem.endswith("is not in the book."):
                status = 404
            return problem_page(request, error, status)
        except OSError as error:
            if error.filename is None:  # of no file, and so a mistake of ours
                raise
            reason = (error.strerror or type(error).__name__).lower()
            problem = f"the disk with the ride book cannot be read or written ({reason})."
            advice = "see that it is there, may be used and has room, then do this again."
            return problem_page(request, PageError(problem, advice), 503)

    return answer


def computes(endpoint: Endpoint) -> Endpoint:
    """Return an endpoint that works for seconds, and so never at another site's word.

    Whoever brings neither a cookie nor their browser's word that they came from here gets the
    cookie first, with a page that leads on.
    """

    @wraps(endpoint)
    async def answer(request: Request) -> Response:
        return await (endpoint if request.state.proven else door_page)(request)

    return answer


async def door_page(request: Request) -> Response:
    """Return the page that leads on to the address asked for, and computes nothing."""
    query = f"?{request.url.query}" if request.url.query else ""
    return page(request, "door.html", onward=safe_back(request.url.path + query))


def reads_book(function: Callable[[Request, Book], Response]) -> Endpoint:
    """Return an endpoint that reads the book in a thread of its own."""

    @wraps(function)
    async def endpoint(request: Request) -> Response:
        return await _with_book(request, function)

    return problems_as_pages(endpoint)


def changes_book(function: Callable[[Request, Book, Form], Response]) -> Endpoint:
    """Return an endpoint that changes the book as a form says, if the form is from our page."""

    @wraps(function)
    async def endpoint(request: Request) -> Response:
        form = await form_of(request)
        if not token_is_right(request.state.session, form.get("token", "")):
            raise PageError(
                "the page was older than the server, so the change was not made.",
                "load the page again: what you typed is still there.", 403,
            )  # fmt: skip

        return await _with_book(request, function, form)

    return problems_as_pages(endpoint)


async def _with_book(request: Request, function: Callable[..., Response], *form: Form) -> Response:
    def work() -> Response:
        with Book(server_of(request).folder, make=False) as book:
            return function(request, book, *form)

    return await run_in_threadpool(work)


def problem_page(request: Request, error: RideLogError, status: int) -> Response:
    """Return a page that says what is wrong and what to do; as JSON where a script asked."""
    words = {"problem": clean(error.problem), "advice": clean(error.advice)}
    if request.method == "PUT" or _is_script(request):
        return JSONResponse({**words, "field": getattr(error, "field", "")}, status)
    return page(request, "problem.html", status, **words)


def _is_script(request: Request) -> bool:
    return "application/json" in request.headers.get("accept", "")


def attachment(data: bytes, kind: str, name: str, *, alone: bool = False) -> Response:
    """Return a file to keep, under a name of ours: nothing from a log reaches a header.

    ``alone`` is for a page that was made to stand alone.
    """
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    if alone:
        headers["content-security-policy"] = ALONE_POLICY
    return Response(data, media_type=kind, headers=headers)


async def form_of(request: Request) -> Form:
    """Return the fields of a form, the first value of each.

    PageError if it is too large, too slow, or no form.
    """
    body = b""
    try:
        async with asyncio.timeout(_LONGEST_FORM_S):
            async for part in request.stream():
                body += part
                if len(body) > _MOST_FORM_BYTES:
                    raise PageError("the form is too large.", "shorten the texts in it.", 413)
    except TimeoutError as error:
        raise PageError("the form did not come whole in time.", "send it again.", 408) from error
    kind = request.headers.get("content-type", "").split(";")[0].strip().lower()
    if kind != "application/x-www-form-urlencoded":
        raise PageError("the request is no form of this page.", "use the page itself.", 415)
    try:
        fields = parse_qs(body.decode("utf-8"), keep_blank_values=True, max_num_fields=500)
    except ValueError as error:
        raise PageError("the form cannot be read.", "load the page again.") from error
    return {name: values[0] for name, values in fields.items()}


def number_of(text: str, what: str) -> int:
    """Return a number from a form; PageError if it is none."""
    if not re.fullmatch("[0-9]{1,12}", text):
        raise PageError(f"{what}: {text[:20]!r} is no number.", "load the page again.")
    return int(text)


def seconds_of(form: Form, name: str, what: str) -> float:
    """Return a time in a ride: seconds, or such as 1:23.4 or 1:04:36 as a clock shows it.

    PageError at its field if it is neither.
    """
    text = form.get(name, "")
    pattern = r"\s*(?:(?:([0-9]{1,3}):)?([0-9]{1,5}):)?([0-9]{1,6}(?:[.,][0-9]{1,6})?)\s*"
    match = re.fullmatch(pattern, text)
    if match is None:
        raise PageError(
            f"{what}: {text[:40]!r} is no time.",
            "write seconds, or minutes:seconds such as 1:23.", field=name,
        )  # fmt: skip
    hours, minutes = float(match[1] or 0), float(match[2] or 0)
    return 3600.0 * hours + 60.0 * minutes + float(match[3].replace(",", "."))


def redirect(place: str) -> RedirectResponse:
    """Return the way to another page after a change."""
    return RedirectResponse(place, 303)


def safe_back(place: str) -> str:
    """Return a place on this server to go back to, whatever was asked for."""
    return place if _BACK.fullmatch(place) else "/"


@cache
def _templates() -> Environment:
    environment = Environment(
        loader=ChoiceLoader(
            [
                PackageLoader("ridelog.web", "templates"),
                # A caution and its source are laid out as on the page for the owner.
                PrefixLoader({"report": PackageLoader("ridelog.report", "templates")}),
            ]
        ),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(_FILTERS)
    return environment
