"""The rides of a book: added once each, listed, searched, described."""

import sqlite3
from pathlib import Path

from ridelog.book.database import Tables, changing
from ridelog.book.originals import Original, place_of
from ridelog.book.records import RideEntry, now_utc, shown_file
from ridelog.core.errors import BookError

_FROM = """FROM ride LEFT JOIN machine ON machine.id = ride.machine_id
    LEFT JOIN setup ON setup.id = ride.setup_id"""
_SELECT = f"""SELECT ride.*, coalesce(machine.name, '') AS machine,
    coalesce(setup.name, '') AS setup {_FROM}"""
# The latest rides first; those whose log gives no date after them.
_ORDER = "ORDER BY ride.start_utc LIKE '____-%' DESC, ride.start_utc DESC, ride.id DESC"
_MOST_WORDS = 8


class Rides(Tables):
    """The rides of one book."""

    def __init__(self, connection: sqlite3.Connection, originals: Path) -> None:
        super().__init__(connection)
        self._originals = originals

    def add(self, original: Original, file: str) -> tuple[RideEntry, bool]:
        """Return the ride of a stored log, and whether it is new: the same log is one ride.

        Raises
        ------
        BookError
            If somebody removed the ride in this very moment.
        """
        with changing(self._connection):
            if not original.path.is_file():
                raise BookError(
                    f"{shown_file(file)}: the log was removed while it was being added.",
                    "add it again.",
                )
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
        """Return one ride.

        Raises
        ------
        BookError
            If there is none with this number.
        """
        return RideEntry(**self._known("ride", ride_id, f"{_SELECT} WHERE ride.id = ?"))

    def by_hash(self, sha256: str) -> RideEntry | None:
        """Return the ride of a log, or None."""
        row = self._row(f"{_SELECT} WHERE ride.sha256 = ?", sha256)
        return None if row is None else RideEntry(**row)

    def found(
        self,
        words: str = "",
        *,
        machine_id: int | None = None,
        most: int = 100,
        skip: int = 0,
    ) -> tuple[RideEntry, ...]:
        """Return the rides in which every word occurs, the latest first.

        Parameters
        ----------
        words : str
            Looked for in file, machine, set-up, day, conditions and notes.
        machine_id : int, optional
            Only rides of this machine.
        most, skip : int
            Which part of the list.
        """
        where, values = _where(words, machine_id)
        rows = self._rows(f"{_SELECT} {where} {_ORDER} LIMIT ? OFFSET ?", *values, most, skip)
        return tuple(RideEntry(**row) for row in rows)

    def count(self, words: str = "", *, machine_id: int | None = None) -> int:
        """Return how many rides ``found`` would list without a limit."""
        where, values = _where(words, machine_id)
        return int(self._rows(f"SELECT count(*) {_FROM} {where}", *values)[0][0])

    def waiting(self) -> tuple[RideEntry, ...]:
        """Return the rides without figures, in the order they came."""
        rows = self._rows(f"{_SELECT} WHERE ride.state = 'waiting' ORDER BY ride.id")
        return tuple(RideEntry(**row) for row in rows)

    def describe(self, ride_id: int, *, format: str, start_utc: str, duration_s: float) -> None:
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

        Raises
        ------
        BookError
            If the set-up belongs to another machine, or one of them is not in the book.
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
        self._do("DELETE FROM ride WHERE id = ?", ride_id)
        # The file goes only after the row has gone, and not if the same log was added since.
        with changing(self._connection):
            if self.by_hash(ride.sha256) is None:
                place_of(self._originals, ride.sha256).unlink(missing_ok=True)


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
