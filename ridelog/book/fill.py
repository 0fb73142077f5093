"""What a ride lacks of all that is written of it, and a ride that is given it."""

from ridelog.book.book import Book
from ridelog.book.records import MarkEntry, RideEntry, checked_name, checked_text
from ridelog.book.written import WrittenMark, WrittenRide


def fill_ride(book: Book, ride: RideEntry, written: WrittenRide) -> None:
    """Give a ride everything that is written of it and that it lacks; nothing is taken away."""
    lacking = lacking_of(book, ride, written)
    with book.all_or_nothing():
        machine, setup = _machine(written)
        if "machine" in lacking and ride.machine in ("", machine) and not ride.setup:
            book.assign(ride.id, machine, setup)
        if "conditions" in lacking:
            noted = book.details.conditions(ride.id)
            book.details.set_conditions(ride.id, {**written.known_conditions(), **noted})
        there = _notes(book, ride)
        for words, written_utc in _written_notes(written):
            if (words, written_utc) not in there:
                book.details.add_note(ride.id, words, written_utc)
        marks = _marks(book, ride)
        for mark in written.marks:
            if _told(mark) not in marks:
                book.details.add_mark(ride.id, mark.kind, mark.start_s, mark.end_s, mark.name)
        known = {point.words for point in book.details.points(ride.id)}
        new = (point for point in written.points() if point.words not in known)
        book.details.note_points(ride.id, new)


def lacking_of(book: Book, ride: RideEntry, written: WrittenRide) -> list[str]:
    """Return what is written of a ride and is not in the book, by kind."""
    noted = book.details.conditions(ride.id)
    machine, setup = _machine(written)
    told = {_told(mark) for mark in written.marks}
    kinds = {
        "machine": machine and (machine, setup) != (ride.machine, ride.setup if setup else ""),
        "conditions": any(
            noted.get(name) != " ".join(checked_text(name, value).split())
            for name, value in written.known_conditions().items()
            if value
        ),
        "notes": not set(_written_notes(written)) <= _notes(book, ride),
        "marks": not told <= _marks(book, ride),
        "points looked at before it": set(written.points()) - set(book.details.points(ride.id)),
    }
    return [what for what, lacks in kinds.items() if lacks]


def _machine(written: WrittenRide) -> tuple[str, str]:
    """Return the names of a ride's machine and set-up as the book would write them."""
    if not written.machine:
        return "", ""
    machine = checked_name("name of the machine", written.machine)
    return machine, checked_name("name of the set-up", written.setup) if written.setup else ""


def _written_notes(written: WrittenRide) -> list[tuple[str, str]]:
    notes = [(checked_text("note", n.words), n.written_utc[:20]) for n in written.notes]
    return [(words, written_utc or written.added_utc[:20]) for words, written_utc in notes if words]


def _notes(book: Book, ride: RideEntry) -> set[tuple[str, str]]:
    return {(note.words, note.written_utc) for note in book.details.notes(ride.id)}


def _told(mark: WrittenMark | MarkEntry) -> tuple[str, str, float, float]:
    return mark.kind, mark.name, mark.start_s, mark.end_s


def _marks(book: Book, ride: RideEntry) -> set[tuple[str, str, float, float]]:
    return {_told(mark) for mark in book.details.marks(ride.id)}
