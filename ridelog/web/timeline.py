"""A machine's history on one line of time: set-ups, rides with figures, work, decisions, photos."""

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from ridelog.book.book import Book
from ridelog.book.records import MachineEntry, PhotoEntry, RideEntry, WorkEntry
from ridelog.core import quantity
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import hours_words, money_words
from ridelog.core.units import SpeedUnit
from ridelog.present.tables import safe_cell
from ridelog.web.history import MOST_HISTORY
from ridelog.workflow.book_ride import bounds, local_day, speed, top_speed

# So many entries stand open on the page, the others are unfolded. Own choice.
MOST_OPEN = 25
_UNDATED = "no day"
# Things of one day stand in the order in which a workshop does them: own choice.
_ORDER = ("decision", "part", "change", "set-up", "ride", "note", "photo")


@dataclass(frozen=True)
class PastEntry:
    """One thing on the line of time.

    figures : top speed of each ride in words, with the ride's number. cost : price and hours.
    """

    day: str
    kind: str
    words: str
    figures: tuple[tuple[int, str], ...] = ()
    cost: str = ""
    link: str = ""
    work: WorkEntry | None = None
    photo: PhotoEntry | None = None


@dataclass(frozen=True)
class MachinePast:
    """Everything in the history of a machine, the latest first, and what it cost."""

    entries: tuple[PastEntry, ...]
    spent: str

    @property
    def opened(self) -> list[tuple[str, list[PastEntry]]]:
        """The latest entries by year."""
        return _by_year(self.entries[:MOST_OPEN])

    @property
    def folded(self) -> list[tuple[str, list[PastEntry]]]:
        """The earlier ones by year."""
        return _by_year(self.entries[MOST_OPEN:])


@dataclass
class _RidesOfADay:
    """Rides of one day on one set-up, with their figures."""

    setup: str
    rides: list[tuple[RideEntry, dict[str, Estimate]]] = field(default_factory=list)


def past_of(book: Book, machine: MachineEntry, unit: SpeedUnit) -> MachinePast:
    """Return a machine's history from the book."""
    work = book.past.work(machine.id)
    entries = [
        *_setups(book, machine),
        *_rides(book, machine, unit),
        *(_worked(one) for one in work),
        *(
            PastEntry(photo.day, "photo", photo.words or photo.file, photo=photo)
            for photo in book.past.photos(machine.id)
        ),
    ]
    order = {kind: place for place, kind in enumerate(_ORDER)}
    entries.sort(key=lambda one: (one.day != _UNDATED, one.day, order[one.kind]), reverse=True)
    return MachinePast(tuple(entries), _spent(work))


def first_days(book: Book, machine: MachineEntry) -> dict[int | None, str]:
    """Return the day of the first ride on each set-up of a machine, by its number."""
    ridden: dict[int | None, str] = {}
    for ride in book.rides.found(machine_id=machine.id, most=MOST_HISTORY):  # the latest first
        if day := local_day(ride.start_utc):
            ridden[ride.setup_id] = day
    return ridden


def _setups(book: Book, machine: MachineEntry) -> Iterator[PastEntry]:
    ridden = first_days(book, machine)
    for setup in book.machines.setups(machine.id):
        link = f"/machines/{machine.id}/setups/{setup.id}"
        # A set-up whose first day nobody named was there on the day of its first ride.
        day = setup.since_utc or ridden.get(setup.id, _UNDATED)
        yield PastEntry(day, "set-up", setup.name, link=link)


def _rides(book: Book, machine: MachineEntry, unit: SpeedUnit) -> Iterator[PastEntry]:
    rides = book.rides.found(machine_id=machine.id, most=MOST_HISTORY)[::-1]
    figures = book.results.figures([ride.id for ride in rides])
    days: dict[tuple[str, str], _RidesOfADay] = {}
    for ride in rides:
        day = local_day(ride.start_utc) or _UNDATED
        days.setdefault((day, ride.setup), _RidesOfADay(ride.setup)).rides.append(
            (ride, figures[ride.id])
        )
    for (day, _), found in days.items():
        count = len(found.rides)
        words = f"{count} {'ride' if count == 1 else 'rides'}"
        if found.setup:
            words += f" on {found.setup}"
        told = tuple(
            (ride.id, f"{speed(top, unit)} ({bounds(top, unit)})" if top else "no top speed")
            for ride, each in found.rides
            for top in [top_speed(each)]
        )
        yield PastEntry(day, "ride", words, figures=told)


def _worked(one: WorkEntry) -> PastEntry:
    return PastEntry(one.day, one.kind, one.words, cost=cost_words(one), work=one)


def cost_words(one: WorkEntry) -> str:
    """Return price and hours of some work, empty if neither is known."""
    return quantity.cost_words(one.price, one.hours, one.currency)


def _spent(work: Sequence[WorkEntry]) -> str:
    """Return what all of it cost: each currency by itself, and the hours."""
    by_currency: dict[str, list[float]] = {}
    for one in work:
        if one.price is not None and one.kind != "decision":
            by_currency.setdefault(one.currency, []).append(one.price)
    parts = [money_words(prices, currency) for currency, prices in by_currency.items()]
    hours = [one.hours for one in work if one.hours is not None and one.kind != "decision"]
    if hours:
        parts.append(f"{hours_words(sum(hours))} of work")
    return ", ".join(parts)


def _by_year(entries: Sequence[PastEntry]) -> list[tuple[str, list[PastEntry]]]:
    years: dict[str, list[PastEntry]] = {}
    for one in entries:
        years.setdefault(one.day[:4] if one.day != _UNDATED else _UNDATED, []).append(one)
    return list(years.items())


COLUMNS = (
    "day", "kind", "words", "price", "currency", "hours", "ride", "setup", "figure", "value",
    "low", "high", "sha256",
)  # fmt: skip


def past_csv(book: Book, machine: MachineEntry) -> bytes:
    """Return a machine's whole history as CSV in UTF-8, a row a thing and figure, in SI units."""
    rows: list[dict[str, object]] = []
    for setup in book.machines.setups(machine.id):
        rows.append({"day": setup.since_utc, "kind": "set-up", "words": setup.name})
    rides = book.rides.found(machine_id=machine.id, most=MOST_HISTORY)
    figures = book.results.figures([ride.id for ride in rides])
    for ride in rides:
        head = {
            "day": ride.start_utc[:10], "kind": "ride", "words": ride.file, "ride": ride.id,
            "setup": ride.setup, "sha256": ride.sha256,
        }  # fmt: skip
        rows.append(head)
        for name, one in figures[ride.id].items():
            numbers = {"value": one.value, "low": one.low, "high": one.high}
            rows.append({**head, "figure": name, **{k: f"{x:.6g}" for k, x in numbers.items()}})
    for work in book.past.work(machine.id):
        told = {name: getattr(work, name) for name in ("day", "kind", "words", "currency")}
        rows.append({**told, "price": work.price, "hours": work.hours})
    for photo in book.past.photos(machine.id):
        told = {"day": photo.day, "kind": "photo", "words": photo.words or photo.file}
        rows.append({**told, "sha256": photo.sha256})
    rows.sort(key=lambda row: str(row["day"]))
    stream = io.StringIO()
    writer = csv.DictWriter(stream, COLUMNS, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows({name: safe_cell(value) for name, value in row.items()} for row in rows)
    return stream.getvalue().encode("utf-8", errors="replace")
