"""The rides of a book: added once each, listed, searched, and what riders say about them."""

import math
import sqlite3
from collections.abc import Iterable

from ridelog.book.database import Tables, changing
from ridelog.book.originals import Original
from ridelog.book.records import (
    MARK_KINDS,
    NOTED,
    MarkEntry,
    Note,
    PointEntry,
    RideEntry,
    checked_name,
    checked_text,
    now_utc,
    shown_file,
)
from ridelog.core.errors import BookError

_FROM = """FROM ride LEFT JOIN machine ON machine.id = ride.machine_id
    LEFT JOIN setup ON setup.id = ride.setup_id"""
_SELECT = f"""SELECT ride.*, coalesce(machine.name, '') AS machine,
    coalesce(setup.name, '') AS setup {_FROM}"""
# The latest rides first; those whose log gives no date after them.
_ORDER = "ORDER BY ride.start_utc LIKE '____-%' DESC, ride.start_utc DESC, ride.id DESC"
_MOST_WORDS = 8
# A condition is a few words; a ride has a few marks and notes. Own choice.
_MOST_CONDITION, _MOST_MARKS, _MOST_NOTES = 200, 100, 500
# A set-up has some thirty lines to look at, each a sentence or two. Own choice.
_MOST_POINTS, _MOST_POINT = 100, 500


class Rides(Tables):
    """The rides of one book."""

    def add(self, original: Original, file: str, *, lost: bool = False) -> tuple[RideEntry, bool]:
        """Return the ride of a stored log, and whether it is new: the same log is one ride.

        With ``lost`` the log need not be there. BookError if somebody removed the ride in this very
        moment.
        """
        with changing(self._connection):
            if not (lost or original.path.is_file()):
                raise BookError(
                    f"{shown_file(file)}: the log was removed while it was being added.",
                    "add it again.",
                )
            self._do("DELETE FROM removed WHERE sha256 = ?", original.sha256)
            new = self._do(
                "INSERT INTO ride (sha256, size_bytes, file, state, added_utc)"
                " VALUES (?, ?, ?, 'waiting', ?) ON CONFLICT (sha256) DO NOTHING",
                original.sha256, original.size_bytes, shown_file(file), now_utc(),
            ).rowcount  # fmt: skip
        ride = self.by_hash(original.sha256)
        if ride is None:  # removed by another process since
            raise BookError(
                f"{shown_file(file)}: the ride was removed while it was being added.",
                "add it again.",
            )
        return ride, new == 1

    def get(self, ride_id: int) -> RideEntry:
        """Return one ride; BookError if there is none with this number."""
        return RideEntry(**self._known("ride", ride_id, f"{_SELECT} WHERE ride.id = ?"))

    def by_hash(self, sha256: str) -> RideEntry | None:
        """Return the ride of a log, or None."""
        row = self._row(f"{_SELECT} WHERE ride.sha256 = ?", sha256)
        return None if row is None else RideEntry(**row)

    def found(
        self, words: str = "", *, machine_id: int | None = None, most: int = 100, skip: int = 0
    ) -> tuple[RideEntry, ...]:
        """Return the rides in which every word occurs, the latest first.

        Words are looked for in file, machine, set-up, day, conditions and notes.
        """
        where, values = _where(words, machine_id)
        rows = self._rows(f"{_SELECT} {where} {_ORDER} LIMIT ? OFFSET ?", *values, most, skip)
        return tuple(RideEntry(**row) for row in rows)

    def count(self, words: str = "", *, machine_id: int | None = None) -> int:
        """Return how many rides ``found`` would list without a limit."""
        where, values = _where(words, machine_id)
        return int(self._rows(f"SELECT count(*) {_FROM} {where}", *values)[0][0])

    def waiting(self, *states: str) -> tuple[RideEntry, ...]:
        """Return the rides in one of some states, "waiting" if none is named, as they came."""
        wanted = states or ("waiting",)
        marks = ",".join("?" * len(wanted))
        rows = self._rows(f"{_SELECT} WHERE ride.state IN ({marks}) ORDER BY ride.id", *wanted)
        return tuple(RideEntry(**row) for row in rows)

    def describe(
        self, ride_id: int, *, format: str, start_utc: str, duration_s: float | None
    ) -> None:
        """Write down what reading the log has told; the ride is then ready."""
        self._do(
            "UPDATE ride SET format = ?, start_utc = ?, duration_s = ?, state = 'ready',"
            " problem = '' WHERE id = ?",
            format, start_utc, duration_s, ride_id,
        )  # fmt: skip

    def fail(self, ride_id: int, problem: str) -> None:
        """Write down why a ride has no figures."""
        self._do(
            "UPDATE ride SET state = 'failed', problem = ? WHERE id = ?", problem[:2000], ride_id
        )

    def move(self, ride_id: int, machine_id: int | None, setup_id: int | None = None) -> RideEntry:
        """Say on which machine, in which set-up, a ride was ridden.

        BookError if the set-up belongs to another machine, or one of them is not in the book.
        """
        self.get(ride_id)
        with changing(self._connection):
            if setup_id is not None:
                owner = self._row("SELECT machine_id FROM setup WHERE id = ?", setup_id)
                if owner is None or owner[0] != machine_id:
                    raise BookError(
                        f"set-up {setup_id} does not belong to the ride's machine.",
                        "choose one of this machine's set-ups.",
                    )
            try:
                self._do(
                    "UPDATE ride SET machine_id = ?, setup_id = ? WHERE id = ?",
                    machine_id, setup_id, ride_id,
                )  # fmt: skip
            except sqlite3.IntegrityError as error:
                raise BookError(
                    f"machine {machine_id} is not in the book.", "look at the list again."
                ) from error
        return self.get(ride_id)

    def remove(self, ride_id: int) -> None:
        """Take a ride and its log out of the book for good."""
        ride = self.get(ride_id)
        with changing(self._connection):
            self._do("DELETE FROM ride WHERE id = ?", ride_id)
            # The files go only after the row has gone, even if this program is ended in between.
            self._do("INSERT OR IGNORE INTO removed (sha256) VALUES (?)", ride.sha256)


def _where(words: str, machine_id: int | None) -> tuple[str, list[object]]:
    parts: list[str] = []
    values: list[object] = []
    if machine_id is not None:
        parts.append("ride.machine_id = ?")
        values.append(machine_id)
    for word in words.split()[:_MOST_WORDS]:
        like = "%" + word[:100].replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
        # A day is looked for as it is shown: in this machine's zone.
        day = "coalesce(datetime(ride.start_utc, 'localtime'), ride.start_utc)"
        places = ("ride.file", "machine.name", "setup.name", day)
        tests = [f"{place} LIKE ? ESCAPE '\\'" for place in places]
        tests += [
            "EXISTS (SELECT 1 FROM condition c WHERE c.ride_id = ride.id"
            " AND c.value LIKE ? ESCAPE '\\')",
            "EXISTS (SELECT 1 FROM note n WHERE n.ride_id = ride.id"
            " AND n.words LIKE ? ESCAPE '\\')",
        ]
        parts.append("(" + " OR ".join(tests) + ")")
        values += [like] * len(tests)
    return ("WHERE " + " AND ".join(parts) if parts else ""), values


class Details(Tables):
    """Conditions, notes, marks and what was looked at, of the rides of one book."""

    def conditions(self, ride_id: int) -> dict[str, str]:
        """Return what was noted of a ride: its conditions, and which column is which, by name."""
        rows = self._rows("SELECT name, value FROM condition WHERE ride_id = ?", ride_id)
        noted = {row["name"]: row["value"] for row in rows}
        return {name: noted[name] for name in NOTED if name in noted}

    def set_conditions(self, ride_id: int, values: dict[str, str]) -> None:
        """Note conditions; an empty text takes one back.

        BookError if a name is none of ``NOTED`` or a text is too long.
        """
        checked: dict[str, str] = {}
        for name, value in values.items():
            if name not in NOTED:
                raise BookError(
                    f"{name[:40]!r} is no condition of a ride.",
                    f"choose one of {', '.join(NOTED)}.",
                )
            checked[name] = " ".join(checked_text(NOTED[name], value, _MOST_CONDITION).split())
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

        BookError if it is too long, or the ride has too many.
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
            "SELECT id, kind, name, start_s, end_s FROM mark WHERE ride_id = ?"
            " ORDER BY start_s, id",
            ride_id,
        )
        return tuple(MarkEntry(**row) for row in rows)

    def add_mark(
        self, ride_id: int, kind: str, start_s: float, end_s: float, name: str = ""
    ) -> None:
        """Mark a stretch of a ride.

        ``kind`` is one of MARK_KINDS, ``name`` that of a drive mode; times are since the first fix
        [s]. BookError if the stretch has no length, a drive mode no name, or the ride too many
        marks.
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
        name = checked_name("drive mode", name) if kind == "mode" else ""
        with changing(self._connection):
            self._check_count("mark", ride_id, _MOST_MARKS)
            self._do(
                "INSERT INTO mark (ride_id, kind, name, start_s, end_s) VALUES (?, ?, ?, ?, ?)",
                ride_id, kind, name, start_s, end_s,
            )  # fmt: skip

    def remove_mark(self, ride_id: int, mark_id: int) -> None:
        """Take a mark back."""
        self._do("DELETE FROM mark WHERE ride_id = ? AND id = ?", ride_id, mark_id)

    def points(self, ride_id: int) -> tuple[PointEntry, ...]:
        """Return what was to be looked at before a ride, in the order in which it was asked."""
        rows = self._rows(
            "SELECT words, ticked, noted_utc FROM point WHERE ride_id = ? ORDER BY id", ride_id
        )
        return tuple(
            PointEntry(row["words"], bool(row["ticked"]), row["noted_utc"]) for row in rows
        )

    def note_points(self, ride_id: int, points: Iterable[PointEntry]) -> None:
        """Keep what was looked at before a ride; the same words again take the newer tick.

        BookError if one is too long, or the ride has too many.
        """
        told = [
            (" ".join(checked_text("point", point.words, _MOST_POINT).split()), point)
            for point in points
        ]
        with changing(self._connection):
            for words, point in told:
                if not words:
                    continue
                self._do(
                    "INSERT INTO point (ride_id, words, ticked, noted_utc) VALUES (?, ?, ?, ?)"
                    " ON CONFLICT (ride_id, words) DO UPDATE"
                    " SET ticked = excluded.ticked, noted_utc = excluded.noted_utc",
                    ride_id, words, int(point.ticked), point.noted_utc or now_utc(),
                )  # fmt: skip
            self._check_count("point", ride_id, _MOST_POINTS + 1)

    def _check_count(self, table: str, ride_id: int, most: int) -> None:
        (count,) = self._rows(f"SELECT count(*) FROM {table} WHERE ride_id = ?", ride_id)[0]
        if count >= most:
            raise BookError(
                f"ride {ride_id} has {count} {table}s already, {most} are the most.",
                f"remove a {table} first.",
            )
