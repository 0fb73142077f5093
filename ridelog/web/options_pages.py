"""Options side by side for the owner: a form, the table it gives, the paper, and the decision."""

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.book import Book
from ridelog.book.records import MachineEntry, RideEntry, SetupState
from ridelog.core.errors import RideLogError
from ridelog.machine.change import parse_change
from ridelog.machine.cost import typed_amount
from ridelog.machine.options import MOST, changes_of
from ridelog.machine.options_file import options_of
from ridelog.machine.setup import Key, MachineSetup
from ridelog.machine.setup_file import setup_of_text
from ridelog.report.aim import Aim
from ridelog.web.answered_form import answer_file, form_page, ticked_rides
from ridelog.web.compare_pages import PAPERS, on_paper
from ridelog.web.kept_pages import keep_answer
from ridelog.web.machine_pages import USUAL_RIDES, rides_as_it_is, setup_of
from ridelog.web.past_pages import note_work
from ridelog.web.setup_form import keys_by_group
from ridelog.web.views import (
    Form,
    PageError,
    asked_of,
    changes_book,
    computes,
    problems_as_pages,
    redirect,
    server_of,
    unit_of,
)
from ridelog.web.worker import ComparedRides, Job
from ridelog.workflow.book_ride import log_at, noted_charge

# Keys that one option of the form changes; two are a sprocket pair or a pack. Own choice.
_KEYS_AN_OPTION = 3
_LONGEST = 200
_TYPES = {
    "options.pdf": "application/pdf",
    "options.html": "text/html; charset=utf-8",
    "options.json": "application/json",
    "options.png": "image/png",
    "options.csv": "text/csv; charset=utf-8",
}


@computes
@problems_as_pages
async def options_page(request: Request) -> Response:
    """Return the form, and below it the options side by side if at least two were typed."""

    async def keep(shown: dict[str, Any], answer: ComparedRides) -> None:
        await keep_answer(
            request, "options", {"ride": ticked_rides(shown)}, machine_id=shown["machine"].id,
            setup=shown["setup"].name, title=answer.words["title"],
            answer=" ".join(answer.words["sentences"]),
        )  # fmt: skip

    return await form_page(request, "options.html", _read, keep)


@computes
@problems_as_pages
async def options_file(request: Request) -> Response:
    """Return one file of the options: the paper to sign, the page, the figures."""
    return await answer_file(
        request, _read, _TYPES, not_asked="no options were asked for.", back="options"
    )


@changes_book
def note_decision(request: Request, book: Book, form: Form) -> Response:
    """Note in the machine's history what the owner decided, with price and hours."""
    machine, setup = setup_of(request, book)
    which = form.get("decided", "")
    said = " ".join(form.get(f"said_{which}", "").split())[:_LONGEST]
    if not said:
        raise PageError("no decision was chosen.", "choose one of the options.", field="decided")
    extra = " ".join(form.get("words", "").split())[:_LONGEST]
    told = {
        "kind": "decision",
        "words": f"on {setup.name}: {said}" + (f". {extra}" if extra else ""),
        "currency": form.get("currency", ""),
        **{name: form.get(f"{name}_{which}", "").replace(",", "") for name in ("price", "hours")},
    }
    note_work(book, machine, told)
    return redirect(f"/machines/{machine.id}?saved=past#past-head")


def _read(request: Request) -> tuple[dict[str, Any], str, Job | None]:
    """Return what the form shows, what is wrong with it, and the work that answers it."""
    query = asked_of(request)
    with Book(server_of(request).folder, make=False) as book:
        machine, state = setup_of(request, book)
        rides = rides_as_it_is(book, state)
        ticked = set(query.ride) if query.asked else {r.id for r in rides[:USUAL_RIDES]}
        typed = _typed(request)
        problem, known, job = "", MachineSetup(), None
        try:
            known = setup_of_text(state.toml)
            job = _job(request, book, known, typed, [r for r in rides if r.id in ticked])
        except RideLogError as error:
            problem = str(error)
        shown = _shown(request, machine, state, rides, ticked, typed, known)
        shown |= on_paper(book, query)
    return shown, problem, job


def _shown(
    request: Request,
    machine: MachineEntry,
    state: SetupState,
    rides: list[RideEntry],
    ticked: set[int],
    typed: list[dict[str, Any]],
    known: MachineSetup,
) -> dict[str, Any]:
    return {
        "machine": machine,
        "setup": state,
        "rides": rides,
        "ticked": ticked,
        "typed": typed,
        "groups": _groups(known),
        "currency": asked_of(request).currency,
        "aims": list(Aim),
        "papers": PAPERS,
    }


def _groups(known: MachineSetup) -> list[tuple[str, list[tuple[str, str]]]]:
    """Return every key of a set-up by group: its name, and its help with unit, bounds and now."""
    given = known.given()
    return [
        (group, [(key.name, _help(key, given.get(key.name))) for key in keys])
        for group, keys in keys_by_group()
        if group != "The machine"
    ]


def _help(key: Key, present: object) -> str:
    words = key.question + (f" ({key.range_words})" if key.range_words else "")
    return words if present is None else f"{words}; now {present}"


def _text(request: Request, name: str, most: int = _LONGEST) -> str:
    return " ".join(request.query_params.get(name, "").split())[:most]


def _typed(request: Request) -> list[dict[str, Any]]:
    """Return what stands in the form for each option."""
    return [
        {
            **{name: _text(request, f"{name}_{n}") for name in ("name", "price", "hours")},
            "changes": [
                (_text(request, f"key_{n}_{k}"), _text(request, f"value_{n}_{k}", 40))
                for k in range(_KEYS_AN_OPTION)
            ],
        }
        for n in range(MOST)
    ]


def _job(
    request: Request,
    book: Book,
    known: MachineSetup,
    typed: list[dict[str, Any]],
    rides: list[RideEntry],
) -> Job | None:
    """Return the work that answers the form, or None if nothing is asked for yet."""
    listed = [_table(n, one) for n, one in enumerate(typed, 1) if _filled(one)]
    if not listed:
        return None
    currency = asked_of(request).currency
    _, options = options_of({"currency": currency, "option": listed})
    changes_of(known, options)  # says at once what cannot be
    query = asked_of(request)
    return Job(
        "lay_options",
        {
            "setup": known.given(),
            "logs": [log_at(book, ride) for ride in rides],
            "options": listed,
            "currency": currency,
            "rides_charge": noted_charge(book, rides, known),
            "unit": unit_of(request).label,
            **on_paper(book, query),
        },
    )


def _filled(one: dict[str, Any]) -> bool:
    return bool(one["name"] or one["price"] or one["hours"] or any(v for _, v in one["changes"]))


def _table(number: int, one: dict[str, Any]) -> dict[str, Any]:
    """Return one option as its file would have it; SetupError for what cannot be read."""
    pairs = [(key, value) for key, value in one["changes"] if key and value]
    change = dict(parse_change(f"{key}={value}") for key, value in pairs)
    name = one["name"] or ", ".join(f"{key.replace('_', ' ')} {value}" for key, value in pairs)
    table: dict[str, Any] = {"name": name[:40], "change": change}
    for what in ("price", "hours"):
        amount = typed_amount(one[what], what, f"option {number}: ")
        if amount is not None:
            table[what] = amount
    return table
