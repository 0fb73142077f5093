"""Machines and their set-up states over time."""

import sqlite3

from ridelog.book.database import Tables, changing
from ridelog.book.records import (
    MachineEntry,
    SetupState,
    checked_day,
    checked_name,
    checked_text,
    now_utc,
)
from ridelog.core.errors import BookError

# A set-up file is a page of text; own choice.
MOST_TOML = 64_000


class Machines(Tables):
    """The machines of one book."""

    def all(self) -> tuple[MachineEntry, ...]:
        """Return every machine by name."""
        rows = self._rows("SELECT * FROM machine ORDER BY name COLLATE NOCASE, id")
        return tuple(MachineEntry(**row) for row in rows)

    def get(self, machine_id: int) -> MachineEntry:
        """Return one machine; BookError if there is none with this number."""
        return MachineEntry(
            **self._known("machine", machine_id, "SELECT * FROM machine WHERE id = ?")
        )

    def named(self, name: str) -> MachineEntry:
        """Return the machine of a name, added to the book if it is new."""
        name = checked_name("name of the machine", name)
        return MachineEntry(
            **self._added(
                "INSERT INTO machine (name, added_utc) VALUES (?, ?)", (name, now_utc()),
                "SELECT * FROM machine WHERE name = ?", (name,),
            )
        )  # fmt: skip

    def change(self, machine_id: int, *, name: str, note: str) -> None:
        """Give a machine another name or note."""
        name, note = checked_name("name of the machine", name), checked_text("note", note)
        with changing(self._connection):
            if self._row("SELECT id FROM machine WHERE name = ? AND id <> ?", name, machine_id):
                raise BookError(f"another machine is called {name!r}.", "choose another name.")
            self._do("UPDATE machine SET name = ?, note = ? WHERE id = ?", name, note, machine_id)

    def setups(self, machine_id: int) -> tuple[SetupState, ...]:
        """Return the set-up states of a machine, the earliest first."""
        rows = self._rows(
            "SELECT * FROM setup WHERE machine_id = ? ORDER BY since_utc, id", machine_id
        )
        return tuple(SetupState(**row) for row in rows)

    def setup_names(self) -> tuple[str, ...]:
        """Return the names of all set-ups, each once."""
        rows = self._rows("SELECT DISTINCT name FROM setup ORDER BY name COLLATE NOCASE")
        return tuple(str(row[0]) for row in rows)

    def setup(self, setup_id: int) -> SetupState:
        """Return one set-up state; BookError if there is none with this number."""
        return SetupState(**self._known("set-up", setup_id, "SELECT * FROM setup WHERE id = ?"))

    def setup_named(self, machine_id: int, name: str) -> SetupState:
        """Return the set-up state of a name, added to the machine if it is new."""
        name = checked_name("name of the set-up", name)
        self.get(machine_id)
        return SetupState(
            **self._added(
                "INSERT INTO setup (machine_id, name, added_utc) VALUES (?, ?, ?)",
                (machine_id, name, now_utc()),
                "SELECT * FROM setup WHERE machine_id = ? AND name = ?", (machine_id, name),
            )
        )  # fmt: skip

    def change_setup(self, setup_id: int, *, name: str, since_utc: str, toml: str) -> None:
        """Change the name, first day or set-up file of a set-up state.

        ``since_utc`` is the day from which it holds, YYYY-MM-DD, or empty; ``toml`` the set-up file
        as text, kept as it is: the book does not read it.
        """
        name = checked_name("name of the set-up", name)
        since_utc = checked_day(since_utc)
        toml = checked_text("set-up file", toml, MOST_TOML)
        machine_id = self.setup(setup_id).machine_id
        with changing(self._connection):
            if self._row(
                "SELECT id FROM setup WHERE machine_id = ? AND name = ? AND id <> ?",
                machine_id, name, setup_id,
            ):  # fmt: skip
                raise BookError(
                    f"another set-up of this machine is called {name!r}.", "choose another name."
                )
            self._do(
                "UPDATE setup SET name = ?, since_utc = ?, toml = ? WHERE id = ?",
                name, since_utc, toml, setup_id,
            )  # fmt: skip

    def _added(
        self, insert: str, values: tuple[object, ...], select: str, name: tuple[object, ...]
    ) -> sqlite3.Row:
        """Return the row of a name, written first if there is none."""
        with changing(self._connection):
            self._do(f"{insert} ON CONFLICT DO NOTHING", *values)
            return self._rows(select, *name)[0]
