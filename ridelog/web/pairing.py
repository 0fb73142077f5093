"""Telephones of the workshop: one-time code, shown as QR; and the choice of units."""

import io

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from ridelog.book import Book
from ridelog.web.security import CODE_LIFE_S, session_cookie
from ridelog.web.views import (
    UNIT_COOKIE,
    UNIT_WORDS,
    Form,
    PageError,
    changes_book,
    form_of,
    page,
    problems_as_pages,
    redirect,
    safe_back,
    server_of,
)

_UNIT_LIFE_S = 365 * 86_400


def code_picture(address: str) -> str:
    """Return a QR code as an SVG element."""
    import segno

    stream = io.BytesIO()
    segno.make(address, error="m").save(
        stream, kind="svg", scale=6, border=4, dark="#000000", light="#ffffff", xmldecl=False,
        svgns=True, title="QR code with the address of this page and its one-time code",
    )  # fmt: skip
    return stream.getvalue().decode("utf-8")


async def phone_page(request: Request) -> Response:
    """Return how a telephone of the same network gets in; for this machine only."""
    return page(request, "phone.html", address=server_of(request).lan_address, code="", picture="")


@changes_book
def new_code(request: Request, book: Book, form: Form) -> Response:
    """Make a fresh one-time code and show it."""
    server = server_of(request)
    address = server.lan_address
    if address is None or not request.state.local:
        raise PageError(
            "the page is open to this machine only.", "start it with `ridelog serve --lan`.", 403
        )
    code = server.codes.new()
    return page(
        request, "phone.html", address=address, code=code,
        minutes=round(CODE_LIFE_S / 60.0),
        # In the fragment, which browsers never send: it lands in no log.
        picture=code_picture(f"{address}/enter#{code}"),
    )  # fmt: skip


async def enter_page(request: Request) -> Response:
    """Return the page on which a telephone gives its code."""
    return page(request, "enter.html", problem="")


@problems_as_pages
async def enter(request: Request) -> Response:
    """Let a telephone in, if its code is right."""
    server = server_of(request)
    if not server.code_tries.allow(request.state.client):
        problem = "Too many tries. Wait ten minutes."
        return page(request, "enter.html", 429, problem=problem)
    form = await form_of(request)
    if not server.codes.use(form.get("code", "")):
        problem = "The code is wrong, used or too old. Make a new one on the workshop's machine."
        return page(request, "enter.html", 403, problem=problem)
    answer = RedirectResponse("/", 303)
    session = server.sessions.new(local=request.state.local)
    answer.headers["set-cookie"] = session_cookie(request.headers["host"].lower(), session)
    return answer


@changes_book
def choose_unit(request: Request, book: Book, form: Form) -> Response:
    """Switch the units everywhere."""
    word = form.get("unit", "")
    if word not in UNIT_WORDS:
        raise PageError(f"{word[:20]!r} is no unit.", f"choose {' or '.join(UNIT_WORDS)}.")
    answer = redirect(safe_back(form.get("back", "/")))
    answer.set_cookie(UNIT_COOKIE, word, max_age=_UNIT_LIFE_S, samesite="strict", httponly=True)
    return answer
