"""What was asked of a machine stays in the book, each question once, and survives the database."""

import json
from pathlib import Path

import pytest

from ridelog.book.book import DATABASE, Book
from ridelog.book.check import check_book
from ridelog.book.exchange import export_book, import_book
from ridelog.book.rebuild import rebuild
from ridelog.core.errors import BookError

ASKED = {"before": ["0" * 64], "after": ["1" * 64, "2" * 64]}


def put(book: Book, machine: int, **other: object) -> None:
    told: dict[str, object] = {
        "asked": ASKED, "words": {"price": "40"}, "title": "64 teeth to 56 teeth",
        "answer": "Faster by 5 km/h.", "made_utc": "2024-06-09T10:00:00Z", **other,
    }  # fmt: skip
    kind = str(told.pop("kind", "comparison"))
    asked = told.pop("asked")
    assert isinstance(asked, dict)
    book.kept.put(machine, kind, asked, **told)  # type: ignore[arg-type]  # as told above


def test_each_question_is_kept_once_with_its_latest_answer(tmp_path: Path) -> None:
    with Book(tmp_path) as book:
        one, two = (book.machines.named(name).id for name in ("Thistledrake 2", "Gorsehopper"))
        put(book, one)
        put(book, one, kind="prediction", asked={"setup": "64 teeth"}, made_utc="2024-06-10")
        put(book, two)
        # The order in which rides were named makes another question, that of the words does not.
        put(book, one, asked={"after": ASKED["after"], "before": ASKED["before"]}, answer="Slower.")
        assert [(a.kind, a.answer) for a in book.kept.of(one)] == [
            ("prediction", "Faster by 5 km/h."), ("comparison", "Slower."),
        ]  # fmt: skip
        (kept,) = book.kept.of(two)
        assert kept.asked == ASKED and kept.words == {"price": "40"}
        book.kept.remove(one, kept.id)
        assert len(book.kept.of(two)) == 1, "another machine's is not taken away by its number"
        book.kept.remove(two, kept.id)
        assert book.kept.of(two) == ()
        with pytest.raises(BookError, match="'gossip' is no kind of answer"):
            put(book, one, kind="gossip")
        with pytest.raises(BookError, match="what was asked: the text has"):
            put(book, one, asked={"before": ["0" * 30_000]})


def test_the_same_answer_again_writes_nothing(tmp_path: Path) -> None:
    with Book(tmp_path) as book:
        machine = book.machines.named("Thistledrake 2").id
        put(book, machine)
        before = (tmp_path / "words" / "book.json").read_bytes()
        put(book, machine, made_utc="2025-01-01T00:00:00Z")
        assert (tmp_path / "words" / "book.json").read_bytes() == before


def test_the_oldest_of_too_many_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("ridelog.book.kept._MOST_OF_A_MACHINE", 3)
    with Book(tmp_path) as book:
        machine = book.machines.named("Thistledrake 2").id
        for day in (3, 1, 2, 5, 4):
            put(book, machine, asked={"before": [str(day)]}, made_utc=f"2024-06-0{day}")
        kept = [answer.made_utc[-1] for answer in book.kept.of(machine)]
        assert kept == ["5", "4", "3"]


def test_answers_survive_the_database_and_an_export(tmp_path: Path) -> None:
    folder = tmp_path / "book"
    with Book(folder) as book:
        machine = book.machines.named("Thistledrake 2").id
        put(book, machine)
        put(book, machine, kind="options", asked={"setup": "64 teeth", "query": "price_0=40"})
        told = book.kept.of(machine)
        export_book(book, tmp_path / "out")
        written = json.loads((folder / "words" / "machines.json").read_text())
        assert [a["kind"] for a in written["machines"][0]["kept"]] == ["options", "comparison"]
    assert not check_book(folder).faults
    (folder / DATABASE).write_bytes(b"spoilt")
    rebuild(folder)
    with Book(folder) as book, Book(tmp_path / "other") as other:
        import_book(other, tmp_path / "out")
        import_book(other, tmp_path / "out")
        for each in (book, other):
            found = each.kept.of(each.machines.named("Thistledrake 2").id)
            assert [(a.kind, a.asked, a.words, a.title, a.answer, a.made_utc) for a in found] == [
                (a.kind, a.asked, a.words, a.title, a.answer, a.made_utc) for a in told
            ]
