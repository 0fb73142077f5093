"""The workshop on its papers: name, contact and logo, kept once for every sheet."""

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from ridelog.book.book import Book
from ridelog.book.records import shown_file
from ridelog.book.workshop import keep_logo, keep_workshop, kept_workshop
from ridelog.core.bounded_read import read_at_most
from ridelog.report.letterhead import MOST_LOGO_BYTES, logo_kind
from ridelog.web.past_pages import small_file
from ridelog.web.views import (
    Form,
    PageError,
    asked_of,
    changes_book,
    page,
    problems_as_pages,
    reads_book,
    redirect,
    server_of,
)

_MEDIA = {"png": "image/png", "jpg": "image/jpeg"}


@reads_book
def workshop_page(request: Request, book: Book) -> Response:
    """Return the form of what stands on every paper."""
    return page(
        request,
        "workshop.html",
        kept=kept_workshop(book.words.folder),
        most_logo_kb=MOST_LOGO_BYTES // 1000,
        saved=asked_of(request).saved,
    )


@changes_book
def change_workshop(request: Request, book: Book, form: Form) -> Response:
    """Keep name and contact."""
    keep_workshop(book.words.folder, name=form.get("workshop", ""), contact=form.get("contact", ""))
    return redirect("/workshop?saved=1")


@changes_book
def remove_logo(request: Request, book: Book, form: Form) -> Response:
    """Take the logo out."""
    keep_logo(book.words.folder, b"", "png")
    return redirect("/workshop?saved=1")


@problems_as_pages
async def put_logo(request: Request) -> Response:
    """Take a logo in the place of the one before."""
    server, name = server_of(request), shown_file(asked_of(request).name)
    data = await small_file(request, name, MOST_LOGO_BYTES, "logo")

    def keep() -> None:
        kind = logo_kind(name, data)
        with Book(server.folder, make=False) as book:
            keep_logo(book.words.folder, data, kind)

    await run_in_threadpool(keep)
    return JSONResponse({"file": name}, 201)


@reads_book
def logo(request: Request, book: Book) -> Response:
    """Return the logo."""
    place = kept_workshop(book.words.folder).logo
    if place is None:
        raise PageError("There is no logo.", "add one first.", 404)
    data = read_at_most(place, MOST_LOGO_BYTES)
    return Response(data, media_type=_MEDIA[place.suffix[1:]])
