"""What the ride book notes of the battery goes into predictions on the command line too."""

from pathlib import Path
from typing import Any

import pytest

from ridelog.__main__ import main
from ridelog.book.book import Book
from ridelog.compare import predicted
from ridelog.core.errors import RideLogError
from ridelog.machine.setup_file import read_setup
from ridelog.workflow.book_ride import noted_charge

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"
SETUP = SAMPLES / "thistledrake-before.toml"
LOGS = (SAMPLES / "before-2.nmea", SAMPLES / "before-3.gpx")
COMMANDS = {
    "predict": ("predict", str(SETUP), "--change", "rear_teeth=56"),
    "options": ("options", str(SETUP), str(SAMPLES / "thistledrake-options.toml")),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a book in which one log stands with 80 %, another with nothing noted."""
    with Book(tmp_path / "book") as book:
        for log in LOGS:
            book.rides.add(book.store(log.read_bytes()), log.name)
        book.details.set_conditions(1, {"charge": "80 %"})
    return tmp_path / "book"


@pytest.fixture
def taken(monkeypatch: pytest.MonkeyPatch) -> list[Any]:
    """Return what predictions take for the charge of their rides; nothing is measured."""
    found: list[Any] = []

    def stopped(*_: object, conditions: Any, **__: object) -> None:
        found.append(conditions.rides_charge)
        raise RideLogError("stopped here.")

    for name in ("predict_from", "options_from"):
        monkeypatch.setattr(predicted, name, stopped)
    for part in ("machine", "choices"):
        monkeypatch.setattr(
            f"ridelog.cli.{part}.rides_measured", lambda sides, *_: [() for _ in sides]
        )
    return found


def leave(*words: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(words))
    return int(caught.value.code or 0)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_prediction_takes_the_charge_that_the_book_notes(
    command: str, folder: Path, taken: list[Any], capsys: pytest.CaptureFixture[str]
) -> None:
    asked = (*COMMANDS[command], "--ride", str(LOGS[0]))
    leave(*asked, "--book", str(folder))
    leave(*asked)
    with Book(folder) as book:
        on_the_page = noted_charge(book, [book.rides.get(1)], read_setup(SETUP))
    assert taken == [on_the_page, None] and on_the_page == (0.8, 0.04)
    assert "charge" not in capsys.readouterr().err


def test_what_the_book_does_not_tell_is_said(
    folder: Path, taken: list[Any], capsys: pytest.CaptureFixture[str]
) -> None:
    leave(*COMMANDS["predict"], "--ride", *map(str, LOGS), "--book", str(folder))
    assert taken == [None]
    seen = capsys.readouterr().err
    assert "The book tells no charge of before-3.gpx: it is taken as unknown." in seen


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        (("--ride", str(SAMPLES / "after-1.gpx")), 1, "after-1.gpx is not in the ride book"),
        (("--ride", "nowhere.gpx"), 1, "nowhere.gpx: there is no such file."),
        ((), 2, "no ride is given that a book could tell of."),
        (("--ride", str(LOGS[0]), "--volts", "53.1"), 2, "both --volts and --book say how full"),
    ],
)
def test_a_charge_that_cannot_be_looked_up(
    words: tuple[str, ...],
    status: int,
    told: str,
    folder: Path,
    taken: list[Any],
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert leave(*COMMANDS["predict"], *words, "--book", str(folder)) == status
    assert told in capsys.readouterr().err and not taken
