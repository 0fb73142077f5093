"""What riders say about a ride: conditions, notes, and marked stretches."""

import math

from ridelog.book.database import Tables, changing
from ridelog.book.records import CONDITIONS, MARK_KINDS, MarkEntry, Note, checked_text, now_utc
from ridelog.core.errors import BookError

# A condition is a few words; a ride has a few marks and notes. Own choice.
_MOST_CONDITION, _MOST_MARKS, _MOST_NOTES = 200, 100, 500


class Details(Tables):
    """Conditions, notes and marks of the rides of one book."""

    def conditions(self, ride_id: int) -> dict[str, str]:
        """Return what was noted of a ride's conditions, by name."""
        rows = self._rows("SELECT name, value FROM condition WHERE ride_id = ?", ride_id)
        noted = {row["name"]: row["value"] for row in rows}
        return {name: noted[name] for name in CONDITIONS if name in noted}

    def set_conditions(self, ride_id: int, values: dict[str, str]) -> None:
        """Note conditions; an empty text takes one back.

        Raises
        ------
        BookError
            If a name is none of ``CONDITIONS`` or a text is too long.
        """
        checked: dict[str, str] = {}
        for name, value in values.items():
            if name not in CONDITIONS:
                raise BookError(
                    f"{name[:40]!r} is no condition of a ride.",
                    f"choose one of {', '.join(CONDITIONS)}.",
                )
            checked[name] = " ".join(checked_text(CONDITIONS[name], value, _MOST_CONDITION).split())
        with changing(self._connection):
            for name, value in checked.items():
                self._do("DELETE FROM condition WHERE ride_id = ? AND name = ?", ride_id, name)
                if value:
                    self._do(
                        "INSERT INTO condition (ride_id, name, value) VALUES (?, ?, ?)",
                        ride_id, name, value,
                    )  # fmt: skip

    def notes(self, ride_id: int) -> tuple[Note, ...]:
        """Return the notes on a ride, the earliest first."""
        rows = self._rows(
            "SELECT id, words, written_utc FROM note WHERE ride_id = ? ORDER BY id", ride_id
        )
        return tuple(Note(**row) for row in rows)

    def add_note(self, ride_id: int, words: str, written_utc: str = "") -> None:
        """Write a note on a ride; an empty one is not written.

        Raises
        ------
        BookError
            If it is too long, or the ride has too many.
        """
        words = checked_text("note", words)
        if not words:
            return
        with changing(self._connection):
            self._check_count("note", ride_id, _MOST_NOTES)
            self._do(
                "INSERT INTO note (ride_id, words, written_utc) VALUES (?, ?, ?)",
                ride_id, words, written_utc or now_utc(),
            )  # fmt: skip

    def remove_note(self, ride_id: int, note_id: int) -> None:
        """Take a note back."""
        self._do("DELETE FROM note WHERE ride_id = ? AND id = ?", ride_id, note_id)

    def marks(self, ride_id: int) -> tuple[MarkEntry, ...]:
        """Return the marked stretches of a ride in time order."""
        rows = self._rows(
            "SELECT id, kind, start_s, end_s FROM mark WHERE ride_id = ? ORDER BY start_s, id",
            ride_id,
        )
        return tuple(MarkEntry(**row) for row in rows)

    def add_mark(self, ride_id: int, kind: str, start_s: float, end_s: float) -> None:
        """Mark a stretch of a ride.

        Parameters
        ----------
        ride_id : int
            Number of the ride.
        kind : str
            "reverse" or "left_out".
        start_s, end_s : float
            Time since the first fix. [s]

        Raises
        ------
        BookError
            If the stretch has no length, or the ride has too many marks.
        """
        if kind not in MARK_KINDS:
            raise BookError(
                f"{kind[:40]!r} is no kind of mark.", f"choose one of {', '.join(MARK_KINDS)}."
            )
        if not (math.isfinite(start_s) and math.isfinite(end_s) and start_s < end_s):
            raise BookError(
                f"a mark from {start_s:g} s to {end_s:g} s has no length.",
                "let it end after it starts.",
            )
        with changing(self._connection):
            self._check_count("mark", ride_id, _MOST_MARKS)
            self._do(
                "INSERT INTO mark (ride_id, kind, start_s, end_s) VALUES (?, ?, ?, ?)",
                ride_id, kind, start_s, end_s,
            )  # fmt: skip

    def remove_mark(self, ride_id: int, mark_id: int) -> None:
        """Take a mark back."""
        self._do("DELETE FROM mark WHERE ride_id = ? AND id = ?", ride_id, mark_id)

    def _check_count(self, table: str, ride_id: int, most: int) -> None:
        (count,) = self._rows(f"SELECT count(*) FROM {table} WHERE ride_id = ?", ride_id)[0]
        if count >= most:
            raise BookError(
                f"ride {ride_id} has {count} {table}s already, {most} are the most.",
                f"remove a {table} first.",
            )
