"""What a command ends with: 1 the input cannot give an answer, 2 the command line is wrong.

The split is README's ("Exit status"); common practice for 2, no source.
"""

import socket
from pathlib import Path

import pytest

from ridelog.__main__ import main

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"
RIDE, SETUP = str(SAMPLES / "before-2.nmea"), str(SAMPLES / "thistledrake-before.toml")
COMPARE = ("compare", "--before", RIDE, "--after", str(SAMPLES / "after-1.gpx"))


def leave(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


@pytest.mark.parametrize(
    ("words", "flag"),
    [
        (("predict", SETUP, "--change", "x"), "--change"),
        (("predict", SETUP, "--change", "front_teeth=ten"), "--change"),
        (("predict", SETUP, "--change", "rear_teeth=4000"), "--change"),
        (("predict", SETUP, "--change", "nothing=3"), "--change"),
        (("predict", SETUP), "--change"),
        (("predict", SETUP, "--sweep", "rear_teeth"), "--sweep"),
        (("predict", SETUP, "--sweep", "rear_teeth=9:8:1"), "--sweep"),
        (("predict", SETUP, "--change", "rear_teeth=56", "--window", "0-20 parsec"), "--window"),
        (("predict", SETUP, "--change", "rear_teeth=56", "--units", "knots"), "--units"),
        ((*COMPARE, "--noted-after", "rider"), "--noted-after"),
        ((*COMPARE, "--noted-before", "=Ida"), "--noted-before"),
        ((*COMPARE, "--setup-before", SETUP), "--setup-before"),
        ((*COMPARE, "--paper", "a3"), "--paper"),
        ((*COMPARE, "--units", "m/s"), "--units"),
        (("report", RIDE, "--window", "20-0 km/h"), "--window"),
        (("report", RIDE, "--rollout", "1 mile"), "--rollout"),
        (("report", RIDE, "--reaction", "9"), "--reaction"),
        (("report", RIDE, "--advised-speed", "fast"), "--advised-speed"),
        (("report", RIDE, "--reverse", "12:03"), "--reverse"),
        (("report", RIDE, "--track-width", "wide"), "--track-width"),
        (("report", RIDE, "--track-width", "0.6"), "--track-width"),
        (("book", "add", RIDE, "--setup", "10 teeth"), "--setup"),
    ],
)
def test_an_option_that_cannot_be_is_wrong_use(
    words: tuple[str, ...], flag: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = ("--book", str(tmp_path)) if words[0] == "book" else ()
    assert leave(*words, *book) == 2
    seen = capsys.readouterr()
    assert f"'{flag}'" in seen.err and "Traceback" not in seen.err and seen.out == ""


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("ride.gpx", "no log", ("signal",)),
        ("ride.gpx", "", ("report",)),
        ("kart.toml", "front_teeth = 'many'", ("setup", "check")),
        ("result.json", "{}", ("verify", "--logs", ".")),
    ],
)
def test_input_without_an_answer_is_status_one(
    name: str, text: str, words: tuple[str, ...], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / name).write_text(text)
    assert leave(*words, str(tmp_path / name)) == 1
    assert capsys.readouterr().err.startswith("ridelog: ")


def test_a_place_that_may_not_be_used_is_wrong_use(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    taken = tmp_path / "taken.json"
    taken.write_text("mine")
    assert leave("signal", RIDE, "--json", str(taken)) == 2
    assert leave("signal", RIDE, "--json", str(tmp_path / "no folder" / "x.json")) == 2
    assert leave("trace", RIDE, "--csv", str(tmp_path)) == 2
    assert leave("report", RIDE, "--out", str(taken)) == 2
    assert leave("book", "export", str(tmp_path), "--book", str(tmp_path / "book")) != 0
    assert taken.read_text() == "mine"
    assert "there already" in capsys.readouterr().err


def test_a_port_that_is_taken_is_wrong_use(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        assert leave("serve", "--port", str(port), "--book", str(tmp_path)) == 2
    assert str(port) in capsys.readouterr().err
