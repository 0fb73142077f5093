"""How a ride of the book is measured: its log, what its rider marked, what its set-up says."""

from ridelog.analysis.settings import Settings
from ridelog.book import Book, RideEntry
from ridelog.core.units import SPEED_UNITS
from ridelog.workflow.ride_cache import LogAt
from ridelog.workflow.set_up import known_of_text


def settings_of(book: Book, ride: RideEntry) -> Settings:
    """Return the settings with which a ride is measured."""
    marks = book.details.marks(ride.id)
    setup = known_of_text(book.machines.setup(ride.setup_id).toml if ride.setup_id else "")
    reverse = tuple((m.start_s, m.end_s) for m in marks if m.kind == "reverse")
    usual, kmh = Settings(), SPEED_UNITS["km/h"]
    limit_kmh, class_kmh = setup.reverse_limit_kmh, setup.class_speed_kmh
    limit_mps = usual.reverse_caution_mps if limit_kmh is None else kmh.to_mps(limit_kmh)
    return Settings(
        # Someone who marks reverse travel was there; the file may be of another state.
        has_reverse=None if reverse else setup.has_reverse,
        reverse_marks_s=reverse,
        left_out_s=tuple((m.start_s, m.end_s) for m in marks if m.kind == "left_out"),
        reverse_caution_mps=limit_mps,
        reverse_strong_mps=max(usual.reverse_strong_mps, limit_mps),
        advised_mps=usual.advised_mps if class_kmh is None else kmh.to_mps(class_kmh),
        track_width_m=setup.track_width_m,
        cg_height_m=setup.cg_height_m,
    )


def log_at(book: Book, ride: RideEntry) -> LogAt:
    """Return the log of a ride with its settings, for the worker."""
    settings = settings_of(book, ride)
    return LogAt(ride.file, str(book.place(ride.sha256)), ride.sha256, settings.as_json())
