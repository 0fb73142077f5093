"""What was done to machines over the years, and their photos."""

from ridelog.book.database import Tables, changing
from ridelog.book.originals import Original
from ridelog.book.records import (
    WORK_KINDS,
    PhotoEntry,
    WorkEntry,
    checked_day,
    checked_text,
    now_utc,
    shown_file,
)
from ridelog.core.errors import BookError

# Some lines about each thing; a machine has a few a month, over years. Own choice.
_MOST_WORDS, _MOST_ENTRIES, _MOST_PHOTOS = 1_000, 2_000, 500
# Beyond these a number was meant for another field: own choice, as for options.
_MOST_PRICE, _MOST_HOURS, _LONGEST_CURRENCY = 1e6, 1e4, 8


class Past(Tables):
    """The histories of the machines of one book, beside their rides."""

    def work(self, machine_id: int) -> tuple[WorkEntry, ...]:
        """Return what was done to a machine, the earliest first."""
        rows = self._rows("SELECT * FROM work WHERE machine_id = ? ORDER BY day, id", machine_id)
        return tuple(WorkEntry(**row) for row in rows)

    def add_work(
        self,
        machine_id: int,
        *,
        day: str,
        kind: str,
        words: str,
        price: float | None = None,
        currency: str = "",
        hours: float | None = None,
        added_utc: str = "",
    ) -> None:
        """Note something in a machine's history; the same thing twice is noted once.

        BookError if a part of it cannot be.
        """
        day, words = checked_day(day), checked_text("what was done", words, _MOST_WORDS)
        currency = " ".join(currency.split())[:_LONGEST_CURRENCY]
        if not day:
            raise BookError("the day is missing.", "write it as year-month-day.")
        if kind not in WORK_KINDS:
            raise BookError(f"{kind[:20]!r} is no kind of work.", f"use {', '.join(WORK_KINDS)}.")
        if not words:
            raise BookError("what was done is not said.", "write a few words.")
        for what, amount, most in (("price", price, _MOST_PRICE), ("hours", hours, _MOST_HOURS)):
            if amount is not None and not 0.0 <= amount <= most:
                raise BookError(
                    f"{what}: {amount:g} must be from 0 to {most:,.0f}.",
                    "leave it out if it is not known.",
                )
        with changing(self._connection):
            self._room("work", machine_id, _MOST_ENTRIES)
            told = (machine_id, day, kind, words, price, currency, hours)
            if any(
                (e.machine_id, e.day, e.kind, e.words, e.price, e.currency, e.hours) == told
                for e in self.work(machine_id)
            ):
                return
            self._do(
                "INSERT INTO work (machine_id, day, kind, words, price, currency, hours, added_utc)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                *told, added_utc or now_utc(),
            )  # fmt: skip

    def remove_work(self, machine_id: int, work_id: int) -> None:
        """Take something out of a machine's history."""
        self._do("DELETE FROM work WHERE id = ? AND machine_id = ?", work_id, machine_id)

    def photos(self, machine_id: int) -> tuple[PhotoEntry, ...]:
        """Return the photos of a machine, the earliest first."""
        rows = self._rows("SELECT * FROM photo WHERE machine_id = ? ORDER BY day, id", machine_id)
        return tuple(PhotoEntry(**row) for row in rows)

    def photo(self, machine_id: int, photo_id: int) -> PhotoEntry:
        """Return one photo of a machine; BookError if there is none with this number."""
        found = next((one for one in self.photos(machine_id) if one.id == photo_id), None)
        if found is None:
            raise BookError(f"photo {photo_id} is not in the book.", "look at the machine again.")
        return found

    def add_photo(
        self,
        machine_id: int,
        original: Original,
        *,
        file: str,
        kind: str,
        day: str,
        words: str = "",
        added_utc: str = "",
    ) -> None:
        """Keep a photo that is stored among the originals; the same one twice is one photo."""
        day, words = checked_day(day), checked_text("words on a photo", words, _MOST_WORDS)
        if not day:
            raise BookError("the day is missing.", "write it as year-month-day.")
        with changing(self._connection):
            self._room("photo", machine_id, _MOST_PHOTOS)
            self._do("DELETE FROM removed WHERE sha256 = ?", original.sha256)
            self._do(
                "INSERT INTO photo"
                " (machine_id, sha256, size_bytes, file, kind, day, words, added_utc)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
                machine_id, original.sha256, original.size_bytes, shown_file(file), kind, day,
                words, added_utc or now_utc(),
            )  # fmt: skip

    def remove_photo(self, machine_id: int, photo_id: int) -> None:
        """Take a photo and its bytes out of the book for good."""
        photo = self.photo(machine_id, photo_id)
        with changing(self._connection):
            self._do("DELETE FROM photo WHERE id = ?", photo_id)
            self._do("INSERT OR IGNORE INTO removed (sha256) VALUES (?)", photo.sha256)

    def _room(self, table: str, machine_id: int, most: int) -> None:
        row = self._row(f"SELECT count(*) FROM {table} WHERE machine_id = ?", machine_id)
        if row is not None and row[0] >= most:
            raise BookError(
                f"this machine's history holds {most:,} entries of this kind, which are the most.",
                "take old ones out first; `ridelog book export` keeps them as files.",
            )
