"""What is looked at before a ride, and what was looked at before one in the book."""

from collections.abc import Iterable
from contextlib import suppress

from ridelog.book.book import Book
from ridelog.book.records import PointEntry, RideEntry
from ridelog.core.errors import RideLogError
from ridelog.machine.before_riding import LookedAt, points_before_riding
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_file import setup_of_text


def looked_at(book: Book, ride: RideEntry) -> tuple[tuple[PointEntry, ...], LookedAt]:
    """Return what was looked at before a ride, and what there is to look at for its set-up."""
    return book.details.points(ride.id), points_in_book(book, ride.machine, ride.setup)


def points_in_book(book: Book, machine: str, setup: str) -> LookedAt:
    """Return what to look at before a ride, by the names of machine and set-up."""
    found = [one for one in book.machines.all() if one.name == machine]
    states = [s for one in found for s in book.machines.setups(one.id) if s.name == setup]
    try:
        return points_before_riding(setup_of_text(states[0].toml) if states else None)
    except RideLogError as error:
        usual = points_before_riding(None).always
        return LookedAt((*usual, f"The set-up cannot be read: {error.problem}"))


def setups_of(book: Book, rides: Iterable[RideEntry]) -> list[MachineSetup]:
    """Return the set-ups of rides, each once; one that cannot be read is told on its own page."""
    numbers = dict.fromkeys(ride.setup_id for ride in rides if ride.setup_id is not None)
    found = []
    for number in numbers:
        with suppress(RideLogError):
            found.append(setup_of_text(book.machines.setup(number).toml))
    return found
