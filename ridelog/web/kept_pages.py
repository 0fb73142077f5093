"""What was asked of a machine, listed with it, asked again under a short address, or let go."""

from contextlib import suppress
from typing import Any
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.book import Book
from ridelog.book.records import KeptAnswer, RideEntry
from ridelog.core.errors import BookError
from ridelog.web.views import (
    Form,
    PageError,
    changes_book,
    number_of,
    reads_book,
    redirect,
    server_of,
)

# Of the address of a question: what is kept beside it, as the book knows it for good.
_NUMBERS = ("before", "after", "ride", "asked")


async def keep_answer(
    request: Request,
    kind: str,
    rides: dict[str, tuple[RideEntry, ...]],
    *,
    title: str,
    answer: str,
    machine_id: int | None = None,
    setup: str = "",
    words: dict[str, str] | None = None,
) -> int | None:
    """Keep what was just asked with the machine, or the machines of the rides; return its number.

    The answer is shown all the same where the book cannot keep it: on a full disk, say. ``words``
    are those of the paper; without them all that the address says makes the question.
    """
    hashes = {side: [ride.sha256 for ride in listed] for side, listed in rides.items()}
    asked: dict[str, Any] = {"rides": hashes}
    if kind != "comparison":
        query = [(k, v) for k, v in request.query_params.multi_items() if k not in _NUMBERS and v]
        asked |= {"setup": setup, "query": urlencode(query)}
    found = {ride.machine_id for listed in rides.values() for ride in listed}
    machines = sorted(m for m in ({machine_id} if machine_id else found) if m is not None)

    def keep() -> int | None:
        number = None
        with suppress(BookError, OSError), Book(server_of(request).folder, make=False) as book:
            for each in machines:
                if not book.read_only:
                    book.kept.put(each, kind, asked, words=words or {}, title=title, answer=answer)
                known = [a for a in book.kept.of(each) if (a.kind, a.asked) == (kind, asked)]
                number = known[0].id if known else number
        return number

    return await run_in_threadpool(keep)


@reads_book
def kept_page(request: Request, book: Book) -> Response:
    """Lead to a question that was asked before."""
    kept = book.kept.get(int(request.path_params["kept"]))
    return redirect(_place(book, kept))


@changes_book
def forget_answer(request: Request, book: Book, form: Form) -> Response:
    """Keep an answer no longer."""
    machine = book.machines.get(int(request.path_params["machine"]))
    book.kept.remove(machine.id, number_of(form.get("kept", ""), "answer"))
    return redirect(f"/machines/{machine.id}#kept-head")


def _place(book: Book, kept: KeptAnswer) -> str:
    """Return the address of a question in the book as it is now."""
    sides: list[tuple[str, object]] = []
    for side in ("before", "after", "ride"):
        for sha256 in kept.asked.get("rides", {}).get(side, ()):
            ride = book.rides.by_hash(sha256)
            if ride is None:
                raise PageError(
                    "a ride that this was asked of is not in the book any more.",
                    "ask again with the rides that are there.", 404,
                )  # fmt: skip
            sides.append((side, ride.id))
    if kept.kind == "comparison":
        return f"/compare?{urlencode([*sides, *sorted(kept.words.items())])}"
    query = "&".join(filter(None, ["asked=1", urlencode(sides), kept.asked["query"]]))
    if kept.kind == "modes":
        return f"/rides/{sides[0][1]}/modes?{query}#answer-head"
    setups = [s for s in book.machines.setups(kept.machine_id) if s.name == kept.asked["setup"]]
    if not setups:
        raise PageError(
            "the set-up that this was asked of has another name now.",
            "ask again from the machine's page.", 404,
        )  # fmt: skip
    page = {"prediction": "what-if"}.get(kept.kind, kept.kind)
    return f"/machines/{kept.machine_id}/setups/{setups[0].id}/{page}?{query}#answer-head"
