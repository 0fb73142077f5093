"""The command line in this process: options, messages, exit status, what lands where."""

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from ridelog.__main__ import main

SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"
RIDE = str(SAMPLES / "before-2.nmea")


def leave(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


def test_json_on_standard_output_stands_alone(capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    assert leave("report", RIDE, "--json", "-") == 0
    seen = capsysbinary.readouterr()
    assert json.loads(seen.out)["schema"] == "ridelog.ride/2"
    assert leave("signal", RIDE, "--json", "-") == 0
    assert json.loads(capsysbinary.readouterr().out)["schema"] == "ridelog.signal/2"


def test_trace_on_standard_output_stands_alone(capsysbinary: pytest.CaptureFixture[bytes]) -> None:
    assert leave("trace", RIDE, "--csv", "-") == 0
    seen = capsysbinary.readouterr()
    assert seen.out.startswith(b"# origin of east_m and north_m")
    truth = json.loads((SAMPLES / "truth.json").read_text())["rides"]["before-2.nmea"]
    assert seen.out.count(b"\n") == 2 + truth["fixes"]


def test_units_change_words_and_never_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    one, other = tmp_path / "one.json", tmp_path / "other.json"
    assert leave("report", RIDE, "--json", str(one)) == 0
    assert " km/h" in capsys.readouterr().out
    assert leave("report", RIDE, "--json", str(other), "--units", "mph") == 0
    text = capsys.readouterr().out
    assert re.search(r"Top speed +[0-9.]+ mph \([0-9.]+ to [0-9.]+\)\n", text)
    assert one.read_bytes() == other.read_bytes()


def test_the_folder_holds_page_pictures_and_result(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "new" / "folder"
    assert leave("report", RIDE, "--out", str(out)) == 0
    names = {path.name for path in out.iterdir()}
    assert names >= {"path.png", "result.json", "ride.html", "signal.png", "speed.png"}
    # Every analysis may add pictures of its own, and nothing else.
    assert {path.suffix for path in out.iterdir()} == {".png", ".html", ".json"}
    assert len([name for name in names if not name.endswith(".png")]) == 2
    assert f"Wrote {out / 'ride.html'}" in capsys.readouterr().err
    before = {path: path.read_bytes() for path in out.iterdir()}
    assert leave("report", RIDE, "--out", str(out)) == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert f"{out / 'ride.html'}: this file is there already and is left as it was." in seen.err
    assert leave("report", RIDE, "--out", str(out), "--force") == 0
    assert {path: path.read_bytes() for path in out.iterdir()} == before


def test_a_file_in_place_of_the_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "out").write_text("mine")
    assert leave("report", RIDE, "--out", str(tmp_path / "out"), "--force") == 2
    assert "this is a file, not a folder. What to do: give the name of a folder." in (
        capsys.readouterr().err
    )


def test_the_log_is_never_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "ride.nmea"
    log.write_bytes(Path(RIDE).read_bytes())
    assert leave("trace", str(log), "--csv", str(log), "--force") == 2
    assert "this is the log itself" in capsys.readouterr().err
    assert log.read_bytes() == Path(RIDE).read_bytes()


def test_a_log_that_is_not_there(capsys: pytest.CaptureFixture[str]) -> None:
    for command in (["report"], ["signal"], ["trace", "--csv", "-"]):
        assert leave(command[0], "nowhere.gpx", *command[1:]) == 1
        seen = capsys.readouterr()
        assert seen.out == ""
        assert seen.err == (
            "ridelog: nowhere.gpx: there is no such file. "
            "What to do: check the name and the folder.\n"
        )


def test_wrong_use_is_status_two(capsys: pytest.CaptureFixture[str]) -> None:
    assert leave("report", RIDE, "--units", "knots") == 2
    assert "'knots' is not one of 'km/h', 'mph'" in " ".join(capsys.readouterr().err.split())
    assert leave("trace", RIDE) == 2
    assert "--csv" in capsys.readouterr().err
    assert leave("fly", RIDE) == 2
    assert leave() == 2


def test_a_name_that_steers_terminals_is_shown_harmless(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert leave("report", "evil\x1b[2Jname.gpx") == 1
    assert "\x1b" not in capsys.readouterr().err


def test_it_says_which_version_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    project = tomllib.loads(Path("pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert leave("--version") == 0
    assert capsys.readouterr().out == f"ridelog {project['version']}\n"


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"what the weather was\n", "it begins 'what the weather was'"),
        # ISO/IEC 10918-1, B.1.1.3: a JPEG picture starts with the marker FF D8.
        (b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01\x02\x00", "it is no text"),
    ],
)
def test_what_is_no_log_is_told_in_words(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: bytes, words: str
) -> None:
    (tmp_path / "ride").write_bytes(content)
    assert leave("report", str(tmp_path / "ride")) == 1
    assert f"no log that ridelog reads ({words})." in capsys.readouterr().err


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert leave("--help") == 0
    text = capsys.readouterr().out
    for command in ("report", "trace", "signal"):
        assert f"  {command} " in text


def test_an_output_that_is_full_is_a_sentence(tmp_path: Path) -> None:
    full = Path("/dev/full")
    if not full.exists():
        pytest.skip("this system has no device that is always full")
    for command in (["report", str(RIDE)], ["report", str(RIDE), "--json", "-"], ["--help"]):
        with full.open("wb") as stream:
            done = subprocess.run(
                [sys.executable, "-m", "ridelog", *command], stdout=stream, stderr=subprocess.PIPE,
                text=True, check=False,
            )  # fmt: skip
        assert done.returncode == 1, command
        assert done.stderr.endswith(
            "ridelog: the output: no space left on device. "
            "What to do: see that the disk is there and has room, then do this again.\n"
        ), done.stderr
