"""The tables of the book, version by version; a released step is never changed again."""

# Step k brings a book from version k to k + 1. Statements run one by one inside one transaction:
# ``executescript`` would commit first.
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
)
