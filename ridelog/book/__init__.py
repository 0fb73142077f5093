"""The ride book: keeps logs, machines, set-ups, notes and results; computes nothing."""

from ridelog.book.book import Book
from ridelog.book.records import (
    CONDITIONS,
    MARK_KINDS,
    MachineEntry,
    MarkEntry,
    NewResult,
    Note,
    RideEntry,
    SetupState,
    StoredResult,
)

__all__ = [
    "CONDITIONS",
    "MARK_KINDS",
    "Book",
    "MachineEntry",
    "MarkEntry",
    "NewResult",
    "Note",
    "RideEntry",
    "SetupState",
    "StoredResult",
]
