"""The front page: rides in the book, searched, ticked as before and after; and the drop zone."""

from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import Response

from ridelog.book import Book
from ridelog.web.views import page, reads_book

_A_PAGE = 50


@reads_book
def ride_list(request: Request, book: Book) -> Response:
    """Return the list of rides."""
    words = request.query_params.get("find", "")[:200].strip()
    machine = request.query_params.get("machine", "")
    machine_id = int(machine) if machine.isdigit() and len(machine) < 10 else None
    number = request.query_params.get("page", "1")
    number_of_page = max(1, int(number)) if number.isdigit() and len(number) < 7 else 1
    count = book.rides.count(words, machine_id=machine_id)
    pages = max(1, -(-count // _A_PAGE))
    number_of_page = min(number_of_page, pages)
    rides = book.rides.found(
        words, machine_id=machine_id, most=_A_PAGE, skip=(number_of_page - 1) * _A_PAGE
    )
    figures = book.results.figures([ride.id for ride in rides])

    def place(other: int) -> str:
        asked = {"find": words, "machine": machine_id or "", "page": other}
        return "/?" + urlencode({name: value for name, value in asked.items() if value})

    return page(
        request,
        "rides.html",
        rides=rides,
        figures=figures,
        machines=book.machines.all(),
        words=words,
        machine_id=machine_id,
        count=count,
        everything=book.rides.count() if count == 0 else count,
        number=number_of_page,
        pages=pages,
        place=place,
    )
