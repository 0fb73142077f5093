"""Telephones: the one-time code on this machine's screen, and the door where it is given."""

import io
import math

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from ridelog.book.book import Book
from ridelog.web.admission import CODE_LIFE_S
from ridelog.web.security import session_cookie
from ridelog.web.views import (
    Form,
    PageError,
    asked_of,
    changes_book,
    form_of,
    page,
    problems_as_pages,
    safe_back,
    server_of,
)


def code_picture(address: str) -> str:
    """Return a QR code as an SVG element."""
    import segno

    stream = io.BytesIO()
    segno.make(address, error="m").save(
        stream, kind="svg", omitsize=True, border=4, dark="#000000", light="#ffffff", xmldecl=False,
        svgns=True, title="QR code with the address of this page and its one-time code",
    )  # fmt: skip
    return stream.getvalue().decode("utf-8")


async def phone_page(request: Request) -> Response:
    """Return how a telephone of the same network gets in; for this machine only."""
    return _phone(request)


@changes_book
def new_code(request: Request, book: Book, form: Form) -> Response:
    """Make a fresh one-time code and show it."""
    server = server_of(request)
    if server.lan_address is None or not request.state.local:
        raise PageError(
            "the page is open to this machine only.", "start it with `ridelog serve --lan`.", 403
        )
    return _phone(request, server.codes.new())


def _phone(request: Request, code: str = "") -> Response:
    server = server_of(request)
    return page(
        request,
        "phone.html",
        address=server.lan_address,
        fingerprint=server.fingerprint,
        code=code,
        minutes=round(CODE_LIFE_S / 60.0),
        # In the fragment, which browsers never send: it lands in no log.
        picture=code_picture(f"{server.lan_address}/enter#{code}") if code else "",
    )


@problems_as_pages
async def enter_page(request: Request) -> Response:
    """Return the page on which a telephone gives its code."""
    return page(request, "enter.html", problem="", onward=safe_back(asked_of(request).back))


async def gate_page(request: Request) -> Response:
    """Return that page to a browser that sent a form without being let in any more."""
    onward = request.headers.get("referer", "").removeprefix(request.state.here)
    problem = "Nothing was changed: this browser has to come in again. Then send it once more."
    return page(request, "enter.html", 403, problem=problem, onward=safe_back(onward))


@problems_as_pages
async def enter(request: Request) -> Response:
    """Let a telephone in, if its code is right; whoever guesses waits longer each time."""
    server, client = server_of(request), request.state.client
    form = await form_of(request)
    onward = safe_back(form.get("back", "/"))
    # Nothing is awaited from here to the note, so no second try slips in between.
    wait_s = math.ceil(server.wrong_tries.wait_s(client))
    if wait_s:
        problem = f"Too many wrong codes from here. Wait {wait_s} s, then try again."
        answer = page(request, "enter.html", 429, problem=problem, onward=onward)
        answer.headers["retry-after"] = str(wait_s)
        return answer
    right = server.codes.use(form.get("code", ""))
    server.wrong_tries.note(client, right=right)
    if not right:
        problem = "The code is wrong, used or too old. Make a new one on the workshop's machine."
        return page(request, "enter.html", 403, problem=problem, onward=onward)
    if request.state.local:
        return RedirectResponse(onward, 303)  # this machine is let in without a code
    made = RedirectResponse(onward, 303)
    cookie = session_cookie(request.state.here, server.sessions.of_a_telephone())
    made.headers["set-cookie"] = cookie
    return made
