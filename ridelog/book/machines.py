"""Machines and their set-up states over time."""

import sqlite3

from ridelog.book.clock import now_utc
from ridelog.book.database import changing
from ridelog.book.records import MachineEntry, SetupState
from ridelog.book.words import checked_day, checked_name, checked_text
from ridelog.core.errors import BookError

# A set-up file is a page of text; own choice.
_MOST_TOML = 64_000


class Machines:
    """The machines of one book."""

    def __init__(self, connection: sqlite3.Connection) -> None:
        self._connection = connection

    def all(self) -> tuple[MachineEntry, ...]:
        """Return every machine by name."""
        rows = self._connection.execute("SELECT * FROM machine ORDER BY name COLLATE NOCASE, id")
        return tuple(MachineEntry(**row) for row in rows)

    def get(self, machine_id: int) -> MachineEntry:
        """Return one machine.

        Raises
        ------
        BookError
            If there is none with this number.
        """
        row = self._connection.execute(
            "SELECT * FROM machine WHERE id = ?", (machine_id,)
        ).fetchone()
        if row is None:
            raise BookError(f"machine {machine_id} is not in the book.", "look at the list again.")
        return MachineEntry(**row)

    def named(self, name: str) -> MachineEntry:
        """Return the machine of a name, added to the book if it is new."""
        name = checked_name("name of the machine", name)
        with changing(self._connection):
            self._connection.execute(
                "INSERT INTO machine (name, added_utc) VALUES (?, ?) ON CONFLICT DO NOTHING",
                (name, now_utc()),
            )
            row = self._connection.execute(
                "SELECT * FROM machine WHERE name = ?", (name,)
            ).fetchone()
        return MachineEntry(**row)

    def change(self, machine_id: int, *, name: str, note: str) -> None:
        """Give a machine another name or note."""
        name, note = checked_name("name of the machine", name), checked_text("note", note)
        with changing(self._connection):
            taken = self._connection.execute(
                "SELECT id FROM machine WHERE name = ? AND id <> ?", (name, machine_id)
            ).fetchone()
            if taken is not None:
                raise BookError(f"another machine is called {name!r}.", "choose another name.")
            self._connection.execute(
                "UPDATE machine SET name = ?, note = ? WHERE id = ?", (name, note, machine_id)
            )

    def setups(self, machine_id: int) -> tuple[SetupState, ...]:
        """Return the set-up states of a machine, the earliest first."""
        rows = self._connection.execute(
            "SELECT * FROM setup WHERE machine_id = ? ORDER BY since_utc, id", (machine_id,)
        )
        return tuple(SetupState(**row) for row in rows)

    def setup(self, setup_id: int) -> SetupState:
        """Return one set-up state.

        Raises
        ------
        BookError
            If there is none with this number.
        """
        row = self._connection.execute("SELECT * FROM setup WHERE id = ?", (setup_id,)).fetchone()
        if row is None:
            raise BookError(f"set-up {setup_id} is not in the book.", "look at the list again.")
        return SetupState(**row)

    def setup_named(self, machine_id: int, name: str) -> SetupState:
        """Return the set-up state of a name, added to the machine if it is new."""
        name = checked_name("name of the set-up", name)
        self.get(machine_id)
        with changing(self._connection):
            self._connection.execute(
                "INSERT INTO setup (machine_id, name, added_utc) VALUES (?, ?, ?)"
                " ON CONFLICT DO NOTHING",
                (machine_id, name, now_utc()),
            )
            row = self._connection.execute(
                "SELECT * FROM setup WHERE machine_id = ? AND name = ?", (machine_id, name)
            ).fetchone()
        return SetupState(**row)

    def change_setup(self, setup_id: int, *, name: str, since_utc: str, toml: str) -> None:
        """Change the name, first day or set-up file of a set-up state.

        Parameters
        ----------
        setup_id : int
            Which one.
        name : str
            How it is called, unlike the machine's others.
        since_utc : str
            Day from which it holds, YYYY-MM-DD, or empty.
        toml : str
            The set-up file as text, kept as it is; the book does not read it.
        """
        name = checked_name("name of the set-up", name)
        since_utc = checked_day(since_utc)
        toml = checked_text("set-up file", toml, _MOST_TOML)
        machine_id = self.setup(setup_id).machine_id
        with changing(self._connection):
            taken = self._connection.execute(
                "SELECT id FROM setup WHERE machine_id = ? AND name = ? AND id <> ?",
                (machine_id, name, setup_id),
            ).fetchone()
            if taken is not None:
                raise BookError(
                    f"another set-up of this machine is called {name!r}.", "choose another name."
                )
            self._connection.execute(
                "UPDATE setup SET name = ?, since_utc = ?, toml = ? WHERE id = ?",
                (name, since_utc, toml, setup_id),
            )
