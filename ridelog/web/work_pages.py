"""The work that was typed for an owner's sheet, noted in the history of its machine."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.book import Book
from ridelog.book.records import MachineEntry, RideEntry, now_utc
from ridelog.web.timeline import cost_words
from ridelog.web.views import Form, PageError, changes_book, number_of, redirect, safe_back
from ridelog.workflow.book_ride import local_day

# "85 EUR" or "€ 39,60": a code of ISO 4217 or a sign. "1,200" may be thousands or parts of one, and
# is left in words.
_CURRENCY = r"([A-Z]{3}|[^\w\s.,+-])?"
_MONEY = re.compile(rf"{_CURRENCY}\s*(\d+(?:[.,]\d{{1,2}})?)\s*{_CURRENCY}")
_HOURS = re.compile(r"(\d+(?:[.,]\d{1,2})?)\s*(?:h|hours?)?", re.IGNORECASE)


@dataclass(frozen=True)
class TypedWork:
    """What the history keeps of the work: in words, its price and hours where they are numbers."""

    words: str
    price: float | None
    currency: str
    hours: float | None


@dataclass(frozen=True)
class WorkToNote:
    """Which machine's history the work belongs to, from which day, and as what it stands there."""

    machine: MachineEntry
    day: str
    noted: str


def typed_work(typed: Mapping[str, str]) -> TypedWork:
    """Return work as the history keeps it; what is no plain number goes into its words."""
    given = {
        name: " ".join(typed.get(name, "").split()) for name in ("done", "price", "hours", "open")
    }
    money, hours = _MONEY.fullmatch(given["price"]), _HOURS.fullmatch(given["hours"])
    if money and money[1] and money[3]:
        money = None
    words = [given["done"]]
    words += [f"price: {given['price']}"] if given["price"] and not money else []
    words += [f"hours: {given['hours']}"] if given["hours"] and not hours else []
    words += [f"still to be done: {given['open']}"] if given["open"] else []
    return TypedWork(
        "; ".join(filter(None, words)) if given["done"] or given["open"] else "",
        _number(money[2]) if money else None,
        (money[1] or money[3] or "") if money else "",
        _number(hours[1]) if hours else None,
    )


def _number(digits: str) -> float:
    return float(digits.replace(",", "."))


def work_to_note(
    book: Book, rides: tuple[RideEntry, ...], typed: Mapping[str, str]
) -> WorkToNote | None:
    """Return where the work before some rides can be noted; None unless they are of one machine."""
    machines = {ride.machine_id for ride in rides}
    number = machines.pop() if len(machines) == 1 else None
    if number is None:
        return None
    day, work = local_day(rides[0].start_utc) or local_day(now_utc()), typed_work(typed)
    found = [one for one in book.past.work(number) if (one.day, one.words) == (day, work.words)]
    cost = ", ".join(filter(None, {cost_words(one) for one in found}))
    noted = f"{work.words}{f' ({cost})' if cost else ''}" if found else ""
    return WorkToNote(book.machines.get(number), day, noted)


@changes_book
def note_typed_work(request: Request, book: Book, form: Form) -> Response:
    """Note the work of a sheet in the history of its machine."""
    work = typed_work(form)
    if not work.words:
        raise PageError(
            "neither what was done nor what is still to be done is said.",
            "write it above, with price and hours.",
            field="done",
        )
    machine = book.machines.get(number_of(form.get("machine", ""), "machine"))
    book.past.add_work(
        machine.id, day=form.get("day", ""), kind="change", words=work.words,
        price=work.price, currency=work.currency, hours=work.hours,
    )  # fmt: skip
    return redirect(safe_back(form.get("back", "/")))
