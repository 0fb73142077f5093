"""What was computed of the rides, with the version and settings that made it."""

import json
import sqlite3

from ridelog.book.database import Tables, changing, sha256_of
from ridelog.book.records import NewResult, StoredResult, now_utc
from ridelog.core.errors import BookError
from ridelog.core.estimate import Estimate

_LATEST = "(SELECT max(id) FROM result WHERE ride_id = ?)"


class Results(Tables):
    """The results of one book; those of the latest version carry attachments."""

    def put(self, ride_id: int, new: NewResult) -> int:
        """Keep a result as the ride's latest, one of each version; return its number."""
        document = json.dumps(new.document, allow_nan=False, ensure_ascii=False)
        settings = json.dumps(new.settings, allow_nan=False, sort_keys=True)
        with changing(self._connection):
            self._known("ride", ride_id, "SELECT id FROM ride WHERE id = ?")
            self._do("DELETE FROM result WHERE ride_id = ? AND version = ?", ride_id, new.version)
            # Drawn pictures of older versions are of no use to anyone.
            self._do(
                "DELETE FROM attachment WHERE result_id IN"
                " (SELECT id FROM result WHERE ride_id = ?)",
                ride_id,
            )
            number = self._do(
                "INSERT INTO result (ride_id, version, settings, document, made_utc, digest)"
                " VALUES (?, ?, ?, ?, ?, ?)",
                ride_id, new.version, settings, document, now_utc(), sha256_of(settings, document),
            ).lastrowid  # fmt: skip
            self._connection.executemany(
                "INSERT INTO figure (result_id, name, value, low, high) VALUES (?, ?, ?, ?, ?)",
                [(number, name, f.value, f.low, f.high) for name, f in new.figures.items()],
            )
            self._connection.executemany(
                "INSERT INTO attachment (result_id, name, data, digest) VALUES (?, ?, ?, ?)",
                [(number, name, data, sha256_of(data)) for name, data in new.attachments.items()],
            )
        return int(number or 0)

    def attach(self, result_id: int, name: str, data: bytes) -> None:
        """Keep something beside a result, if the result is still there."""
        self._do(
            "INSERT OR REPLACE INTO attachment (result_id, name, data, digest)"
            " SELECT id, ?, ?, ? FROM result WHERE id = ?",
            name, data, sha256_of(data), result_id,
        )  # fmt: skip

    def latest(self, ride_id: int) -> StoredResult | None:
        """Return the newest result of a ride, or None."""
        row = self._row(f"SELECT * FROM result WHERE id = {_LATEST}", ride_id)
        return None if row is None else _stored(row)

    def all(self, ride_id: int) -> tuple[StoredResult, ...]:
        """Return the results of a ride, one of each version, the newest first."""
        rows = self._rows("SELECT * FROM result WHERE ride_id = ? ORDER BY id DESC", ride_id)
        return tuple(_stored(row) for row in rows)

    def attachment(self, ride_id: int, name: str) -> bytes | None:
        """Return an attachment of a ride's newest result, or None."""
        row = self._row(
            f"SELECT data, digest FROM attachment WHERE result_id = {_LATEST} AND name = ?",
            ride_id, name,
        )  # fmt: skip
        # A damaged one counts as none: it is drawn anew.
        sound = row is not None and row["digest"] in ("", sha256_of(row["data"]))
        return bytes(row["data"]) if row is not None and sound else None

    def figures(self, ride_ids: list[int]) -> dict[int, dict[str, Estimate]]:
        """Return the figures of several rides' newest results, by ride and name."""
        found: dict[int, dict[str, Estimate]] = {ride_id: {} for ride_id in ride_ids}
        marks = ",".join("?" * len(ride_ids))
        rows = self._rows(
            "SELECT result.ride_id AS ride_id, figure.name AS name, value, low, high FROM result"
            " JOIN figure ON figure.result_id = result.id"
            f" WHERE result.ride_id IN ({marks}) AND result.id ="
            " (SELECT max(id) FROM result AS newer WHERE newer.ride_id = result.ride_id)",
            *ride_ids,
        )
        for row in rows:
            found[row["ride_id"]][row["name"]] = Estimate(row["value"], row["low"], row["high"])
        return found

    def grades(self, ride_ids: list[int]) -> dict[int, str]:
        """Return how good the signal of several rides was, by ride, empty where nobody knows."""
        marks = ",".join("?" * len(ride_ids))
        rows = self._rows(
            "SELECT ride_id, CASE WHEN json_valid(document)"
            " THEN json_extract(document, '$.signal.grade') END"
            f" FROM result WHERE ride_id IN ({marks}) AND id ="
            " (SELECT max(id) FROM result AS newer WHERE newer.ride_id = result.ride_id)",
            *ride_ids,
        )
        return {ride_id: "" for ride_id in ride_ids} | {int(r[0]): str(r[1] or "") for r in rows}

    def not_of(self, version: str) -> tuple[int, ...]:
        """Return the rides whose newest result another version of ridelog made."""
        rows = self._rows(
            "SELECT ride_id FROM result WHERE version <> ? AND id ="
            " (SELECT max(id) FROM result AS newer WHERE newer.ride_id = result.ride_id)"
            " ORDER BY ride_id",
            version,
        )
        return tuple(int(row[0]) for row in rows)


def _stored(row: sqlite3.Row) -> StoredResult:
    kept = dict(row)
    if kept.pop("digest") not in ("", sha256_of(row["settings"], row["document"])):
        raise BookError(
            f"the figures of ride {row['ride_id']} in the book are damaged.",
            "run `ridelog book check`, which says how to mend it.",
        )
    return StoredResult(**{**kept, **{n: json.loads(row[n]) for n in ("settings", "document")}})
