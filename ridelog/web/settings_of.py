"""How a ride of the book is measured: its log, and the settings with what its rider marked."""

from ridelog.analysis.settings import Settings
from ridelog.book import Book, Mark, RideEntry
from ridelog.web.kept import LogAt


def settings_of(marks: tuple[Mark, ...], has_reverse: bool | None = None) -> Settings:
    """Return the settings of a ride with what its rider marked.

    Parameters
    ----------
    marks : tuple of Mark
        Marked stretches, of either kind.
    has_reverse : bool or None
        Whether the machine can go backwards, if its set-up says so.
    """
    return Settings(
        has_reverse=has_reverse,
        reverse_marks_s=tuple((m.start_s, m.end_s) for m in marks if m.kind == "reverse"),
        left_out_s=tuple((m.start_s, m.end_s) for m in marks if m.kind == "left_out"),
    )


def log_at(book: Book, ride: RideEntry) -> LogAt:
    """Return the log of a ride with its settings, for the work bench."""
    settings = settings_of(book.details.marks(ride.id))
    return LogAt(ride.file, str(book.place(ride.sha256)), ride.sha256, settings.as_json())
