"""What was asked of a machine, each question once, with its latest answer in a sentence."""

import json
import sqlite3

from ridelog.book.database import Tables, changing
from ridelog.book.records import ANSWER_KINDS, KeptAnswer, checked_text, now_utc
from ridelog.core.errors import BookError

# A title is a line, an answer a sentence or two; the oldest of more answers than that go. Own
# choices.
_MOST_TITLE, _MOST_ANSWER, _MOST_ASKED, _MOST_OF_A_MACHINE = 400, 1_000, 20_000, 200


class Kept(Tables):
    """The answers of one book, by machine."""

    def of(self, machine_id: int) -> tuple[KeptAnswer, ...]:
        """Return what was asked of a machine, the latest first."""
        rows = self._rows(
            "SELECT * FROM kept WHERE machine_id = ? ORDER BY made_utc DESC, id DESC", machine_id
        )
        return tuple(_answer(row) for row in rows)

    def get(self, number: int) -> KeptAnswer:
        """Return one answer; BookError if there is none with this number."""
        return _answer(self._known("answer", number, "SELECT * FROM kept WHERE id = ?"))

    def put(
        self,
        machine_id: int,
        kind: str,
        asked: dict[str, object],
        *,
        words: dict[str, str],
        title: str,
        answer: str,
        made_utc: str = "",
    ) -> None:
        """Keep an answer; what was asked before takes the new one, unless it is the same.

        BookError if the kind is none, or what was asked is too long.
        """
        if kind not in ANSWER_KINDS:
            raise BookError(f"{kind[:40]!r} is no kind of answer.", "look at the list again.")
        title = " ".join(checked_text("title", title[:_MOST_TITLE]).split())
        answer = " ".join(checked_text("answer", answer[:_MOST_ANSWER]).split())
        text, said = (json.dumps(x, sort_keys=True, ensure_ascii=False) for x in (asked, words))
        text, said = (checked_text("what was asked", x, _MOST_ASKED) for x in (text, said))
        with changing(self._connection):
            old = self._row(
                "SELECT words, title, answer FROM kept WHERE machine_id = ? AND kind = ?"
                " AND asked = ?",
                machine_id, kind, text,
            )  # fmt: skip
            if old is not None and tuple(old) == (said, title, answer):
                return
            self._do(
                "INSERT INTO kept (machine_id, kind, asked, words, title, answer, made_utc)"
                " VALUES (?, ?, ?, ?, ?, ?, ?) ON CONFLICT (machine_id, kind, asked) DO UPDATE"
                " SET words = excluded.words, title = excluded.title, answer = excluded.answer,"
                " made_utc = excluded.made_utc",
                machine_id, kind, text, said, title, answer, made_utc or now_utc(),
            )  # fmt: skip
            self._do(
                "DELETE FROM kept WHERE machine_id = ? AND id NOT IN (SELECT id FROM kept"
                " WHERE machine_id = ? ORDER BY made_utc DESC, id DESC LIMIT ?)",
                machine_id, machine_id, _MOST_OF_A_MACHINE,
            )  # fmt: skip

    def remove(self, machine_id: int, number: int) -> None:
        """Keep an answer no longer; it can be asked again."""
        self._do("DELETE FROM kept WHERE machine_id = ? AND id = ?", machine_id, number)


def _answer(row: sqlite3.Row) -> KeptAnswer:
    return KeptAnswer(**{**dict(row), **{n: json.loads(row[n]) for n in ("asked", "words")}})
