"""The tables of the book, version by version; an older book is brought up to date.

A copy of it as it was is kept beside it.
"""

import os
import secrets
import sqlite3
from contextlib import closing
from pathlib import Path

from ridelog.core.errors import BookError

# What riders write, by table, and how its ride is known: each change of it is to be written beside
# the originals as well ("words"), and stands in ``unwritten`` until it is.
_OF_RIDES = ("condition", "note", "mark")
_NEXT = "INSERT OR IGNORE INTO unwritten (what)"


def _trigger(name: str, when: str, *then: str) -> str:
    return f"CREATE TRIGGER {name} {when} BEGIN {'; '.join(then)}; END"


def _told_of_rides(table: str, event: str, row: str) -> str:
    return _trigger(
        f"{table}_{event.lower()}", f"AFTER {event} ON {table}",
        f"{_NEXT} SELECT sha256 FROM ride WHERE id = {row}.ride_id",
    )  # fmt: skip


_EVENTS = (("INSERT", "NEW"), ("UPDATE", "NEW"), ("DELETE", "OLD"))


def _triggers() -> tuple[str, ...]:
    made = [
        _trigger("stamped", "AFTER INSERT ON unwritten", "UPDATE stamp SET change = change + 1"),
        _trigger("ride_added", "AFTER INSERT ON ride", f"{_NEXT} VALUES (NEW.sha256)"),
        _trigger("ride_changed", "AFTER UPDATE ON ride", f"{_NEXT} VALUES (NEW.sha256)"),
    ]
    for event, row in _EVENTS:
        made += [_told_of_rides(table, event, row) for table in _OF_RIDES]
        for table in ("machine", "setup"):
            told = [f"{_NEXT} VALUES ('machines')"]
            if event == "UPDATE":  # its rides tell its name
                told.append(f"{_NEXT} SELECT sha256 FROM ride WHERE {table}_id = NEW.id")
            made.append(_trigger(f"{table}_{event.lower()}", f"AFTER {event} ON {table}", *told))
    return tuple(made)


def _told_with_machines(table: str) -> tuple[str, ...]:
    """Return triggers that have every change of a table written with the machines."""
    return tuple(
        f"CREATE TRIGGER {table}_{event.lower()} AFTER {event} ON {table}"
        f" BEGIN {_NEXT} VALUES ('machines'); END"
        for event in ("INSERT", "UPDATE", "DELETE")
    )


# Step k brings a book from version k to k + 1. Statements run one by one inside one transaction:
# ``executescript`` would commit first. A released step is never changed again.
STEPS: tuple[tuple[str, ...], ...] = (
    (
        """CREATE TABLE machine (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            name TEXT NOT NULL UNIQUE CHECK (length(name) BETWEEN 1 AND 200),
            note TEXT NOT NULL DEFAULT '',
            added_utc TEXT NOT NULL
        ) STRICT""",
        """CREATE TABLE setup (
            id INTEGER PRIMARY KEY,
            machine_id INTEGER NOT NULL REFERENCES machine (id) ON DELETE CASCADE,
            name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 200),
            since_utc TEXT NOT NULL DEFAULT '',
            toml TEXT NOT NULL DEFAULT '',
            added_utc TEXT NOT NULL,
            UNIQUE (machine_id, name)
        ) STRICT""",
        """CREATE TABLE ride (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
            size_bytes INTEGER NOT NULL,
            file TEXT NOT NULL,
            format TEXT NOT NULL DEFAULT '',
            start_utc TEXT NOT NULL DEFAULT '',
            duration_s REAL,
            state TEXT NOT NULL CHECK (state IN ('waiting', 'ready', 'failed')),
            problem TEXT NOT NULL DEFAULT '',
            machine_id INTEGER REFERENCES machine (id) ON DELETE SET NULL,
            setup_id INTEGER REFERENCES setup (id) ON DELETE SET NULL,
            added_utc TEXT NOT NULL
        ) STRICT""",
        "CREATE INDEX ride_by_machine ON ride (machine_id, start_utc)",
        "CREATE INDEX ride_by_start ON ride (start_utc)",
        """CREATE TABLE condition (
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            name TEXT NOT NULL,
            value TEXT NOT NULL,
            PRIMARY KEY (ride_id, name)
        ) STRICT, WITHOUT ROWID""",
        """CREATE TABLE note (
            id INTEGER PRIMARY KEY,
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            words TEXT NOT NULL,
            written_utc TEXT NOT NULL
        ) STRICT""",
        "CREATE INDEX note_by_ride ON note (ride_id)",
        """CREATE TABLE mark (
            id INTEGER PRIMARY KEY,
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            kind TEXT NOT NULL CHECK (kind IN ('reverse', 'left_out')),
            start_s REAL NOT NULL,
            end_s REAL NOT NULL CHECK (end_s > start_s)
        ) STRICT""",
        "CREATE INDEX mark_by_ride ON mark (ride_id)",
        """CREATE TABLE result (
            id INTEGER PRIMARY KEY AUTOINCREMENT,
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            version TEXT NOT NULL,
            settings TEXT NOT NULL,
            document TEXT NOT NULL,
            made_utc TEXT NOT NULL,
            UNIQUE (ride_id, version)
        ) STRICT""",
        """CREATE TABLE figure (
            result_id INTEGER NOT NULL REFERENCES result (id) ON DELETE CASCADE,
            name TEXT NOT NULL,
            value REAL NOT NULL,
            low REAL NOT NULL,
            high REAL NOT NULL,
            PRIMARY KEY (result_id, name)
        ) STRICT, WITHOUT ROWID""",
        """CREATE TABLE attachment (
            result_id INTEGER NOT NULL REFERENCES result (id) ON DELETE CASCADE,
            name TEXT NOT NULL,
            data BLOB NOT NULL,
            PRIMARY KEY (result_id, name)
        ) STRICT""",
    ),
    (
        "ALTER TABLE result ADD COLUMN digest TEXT NOT NULL DEFAULT ''",
        "UPDATE result SET digest = sha256(settings, document)",
        "ALTER TABLE attachment ADD COLUMN digest TEXT NOT NULL DEFAULT ''",
        "UPDATE attachment SET digest = sha256(data)",
        # From a damaged export; no ride lasts that long.
        "UPDATE ride SET duration_s = NULL WHERE NOT abs(duration_s) < 1e9",
        "CREATE TABLE stamp (book TEXT NOT NULL, change INTEGER NOT NULL) STRICT",
        "INSERT INTO stamp (book, change) VALUES (lower(hex(randomblob(16))), 0)",
        "CREATE TABLE unwritten (what TEXT PRIMARY KEY) STRICT, WITHOUT ROWID",
        "CREATE TABLE removed (sha256 TEXT PRIMARY KEY) STRICT, WITHOUT ROWID",
        *_triggers(),
        f"{_NEXT} SELECT sha256 FROM ride UNION SELECT 'machines'",
    ),
    (
        """CREATE TABLE work (
            id INTEGER PRIMARY KEY,
            machine_id INTEGER NOT NULL REFERENCES machine (id) ON DELETE CASCADE,
            day TEXT NOT NULL,
            kind TEXT NOT NULL CHECK (kind IN ('change', 'part', 'decision', 'note')),
            words TEXT NOT NULL,
            price REAL CHECK (price >= 0),
            currency TEXT NOT NULL DEFAULT '',
            hours REAL CHECK (hours >= 0),
            added_utc TEXT NOT NULL
        ) STRICT""",
        "CREATE INDEX work_by_machine ON work (machine_id, day)",
        """CREATE TABLE photo (
            id INTEGER PRIMARY KEY,
            machine_id INTEGER NOT NULL REFERENCES machine (id) ON DELETE CASCADE,
            sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
            size_bytes INTEGER NOT NULL,
            file TEXT NOT NULL,
            kind TEXT NOT NULL CHECK (kind IN ('jpeg', 'png')),
            day TEXT NOT NULL,
            words TEXT NOT NULL DEFAULT '',
            added_utc TEXT NOT NULL,
            UNIQUE (machine_id, sha256)
        ) STRICT""",
        *_told_with_machines("work"),
        *_told_with_machines("photo"),
    ),
    (
        """CREATE TABLE kept (
            id INTEGER PRIMARY KEY,
            machine_id INTEGER NOT NULL REFERENCES machine (id) ON DELETE CASCADE,
            kind TEXT NOT NULL CHECK (kind IN ('comparison', 'prediction', 'options')),
            asked TEXT NOT NULL,
            words TEXT NOT NULL,
            title TEXT NOT NULL,
            answer TEXT NOT NULL,
            made_utc TEXT NOT NULL,
            UNIQUE (machine_id, kind, asked)
        ) STRICT""",
        *_told_with_machines("kept"),
    ),
    (
        """CREATE TABLE point (
            id INTEGER PRIMARY KEY,
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            words TEXT NOT NULL,
            ticked INTEGER NOT NULL CHECK (ticked IN (0, 1)),
            noted_utc TEXT NOT NULL,
            UNIQUE (ride_id, words)
        ) STRICT""",
        *(_told_of_rides("point", event, row) for event, row in _EVENTS),
        # What is written beside the originals tells of points from now on, or that there are none.
        f"{_NEXT} SELECT sha256 FROM ride",
    ),
    (
        # A rule of a table cannot be changed, so that each takes the place of the one it was.
        """CREATE TABLE named_mark (
            id INTEGER PRIMARY KEY,
            ride_id INTEGER NOT NULL REFERENCES ride (id) ON DELETE CASCADE,
            kind TEXT NOT NULL CHECK (kind IN ('reverse', 'left_out', 'mode')),
            name TEXT NOT NULL DEFAULT '' CHECK ((kind = 'mode') = (name <> '')),
            start_s REAL NOT NULL,
            end_s REAL NOT NULL CHECK (end_s > start_s)
        ) STRICT""",
        "INSERT INTO named_mark (id, ride_id, kind, start_s, end_s)"
        " SELECT id, ride_id, kind, start_s, end_s FROM mark",
        "DROP TABLE mark",
        "ALTER TABLE named_mark RENAME TO mark",
        "CREATE INDEX mark_by_ride ON mark (ride_id)",
        *(_told_of_rides("mark", event, row) for event, row in _EVENTS),
        """CREATE TABLE any_kept (
            id INTEGER PRIMARY KEY,
            machine_id INTEGER NOT NULL REFERENCES machine (id) ON DELETE CASCADE,
            kind TEXT NOT NULL
                CHECK (kind IN ('comparison', 'stated', 'modes', 'prediction', 'options')),
            asked TEXT NOT NULL,
            words TEXT NOT NULL,
            title TEXT NOT NULL,
            answer TEXT NOT NULL,
            made_utc TEXT NOT NULL,
            UNIQUE (machine_id, kind, asked)
        ) STRICT""",
        "INSERT INTO any_kept SELECT * FROM kept",
        "DROP TABLE kept",
        "ALTER TABLE any_kept RENAME TO kept",
        *_told_with_machines("kept"),
        # Marks are written with their names from now on.
        f"{_NEXT} SELECT sha256 FROM ride",
    ),
)


def version(connection: sqlite3.Connection) -> int:
    """Return the version of a book's tables, 0 for an empty file."""
    return int(connection.execute("PRAGMA user_version").fetchone()[0])


def update(connection: sqlite3.Connection, path: Path) -> None:
    """Bring a book's tables up to date, all steps or none, with a copy of it as it was.

    BookError if a newer ridelog wrote them, or if they are no book's.
    """
    wanted, seen = len(STEPS), version(connection)
    if seen > wanted:
        raise BookError(
            f"the ride book has version {seen}, this ridelog knows {wanted} at most.",
            "install the newer ridelog that wrote it; nothing was changed.",
        )
    if seen == wanted:
        return
    if seen > 0:
        _copy(connection, path, seen)
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have done it since: only what is read inside counts.
        for number in range(version(connection), wanted):
            for statement in STEPS[number]:
                connection.execute(statement)
            connection.execute(f"PRAGMA user_version = {number + 1}")
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def layout(connection: sqlite3.Connection) -> set[tuple[str, ...]]:
    """Return what a file holds: kind and name of each part, and the columns of its tables."""
    parts = connection.execute("SELECT type, name FROM sqlite_schema").fetchall()
    found = {(str(kind), str(name)) for kind, name in parts if not name.startswith("sqlite_")}
    columns = connection.execute(
        "SELECT 'column', s.name, c.name, c.type FROM sqlite_schema AS s,"
        " pragma_table_info(s.name) AS c WHERE s.type = 'table' AND s.name NOT LIKE 'sqlite~_%'"
        " ESCAPE '~'"
    )
    return found | {tuple(map(str, row)) for row in columns}


def layout_of(number: int) -> set[tuple[str, ...]]:
    """Return what a book of a version holds, as ``layout`` tells it."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
        fresh.create_function("sha256", -1, lambda *parts: "")
        for step in STEPS[:number]:
            for statement in step:
                fresh.execute(statement)
        return layout(fresh)


def _copy(connection: sqlite3.Connection, path: Path, seen: int) -> None:
    """Keep the book as it was before its tables change."""
    part = path.with_name(f"{path.name}.{secrets.token_hex(8)}.part")
    kept = path.with_name(f"{path.stem}-before-version-{seen + 1}{path.suffix}")
    try:
        os.close(os.open(part, os.O_CREAT | os.O_RDWR, 0o600))
        connection.execute("VACUUM INTO ?", (str(part),))
        with closing(sqlite3.connect(part)) as check:
            if version(check) != seen:
                raise BookError(
                    f"the copy made before the update has another version than {seen}.",
                    "try again; nothing was changed.",
                )
        os.replace(part, kept)
    finally:
        part.unlink(missing_ok=True)
