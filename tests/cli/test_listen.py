"""The command that listens, as a process of its own beside real lines."""

import json
import os
import pty
import re
import signal
import subprocess
import sys
import threading
import time
import tty
from pathlib import Path

import pytest

from ridelog.cli.main import app

ROOT = Path(__file__).parents[2]
LOG = (ROOT / "sample_tracks" / "after-2.nmea").read_bytes()


def listening(*words: str, folder: Path, stdin: int | None = None) -> "subprocess.Popen[bytes]":
    return subprocess.Popen(
        [sys.executable, "-m", "ridelog", "listen", *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT), "XDG_DATA_HOME": str(folder / "data")},
        stdin=subprocess.DEVNULL if stdin is None else stdin,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def wait_for_size(place: Path, size_bytes: int) -> None:
    end_s = time.monotonic() + 60.0
    while time.monotonic() < end_s:
        if place.exists() and place.stat().st_size >= size_bytes:
            return
        time.sleep(0.05)
    pytest.fail(f"{place} did not grow to {size_bytes} bytes")


def test_a_receiver_on_a_serial_line_is_kept_byte_for_byte(tmp_path: Path) -> None:
    here, there = pty.openpty()
    tty.setraw(there)
    process = listening(f"{os.ttyname(there)}@115200", "--out", "a.nmea", "--json", "-",
                        folder=tmp_path)  # fmt: skip
    wait_for_size(tmp_path / "a.nmea", 0)
    sent = LOG[:30_000]
    threading.Thread(target=os.write, args=(here, sent), daemon=True).start()
    wait_for_size(tmp_path / "a.nmea", len(sent))
    time.sleep(1.0)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=60)
    os.close(here)
    os.close(there)
    assert process.returncode == 0, err
    assert (tmp_path / "a.nmea").read_bytes() == sent
    assert b"Wrote a.nmea" in err
    told = [json.loads(line) for line in out.splitlines()]
    assert set(told[-1]) == {
        "utc", "state", "reason", "satellites", "hdop", "speed_mps", "fixes", "since_s", "lost",
    }  # fmt: skip
    assert {reading["state"] for reading in told} <= {"no fix", "settling", "ready"}
    assert told[-1]["fixes"] > 100


def test_standard_input_ends_the_listening(tmp_path: Path) -> None:
    out, into = os.pipe()
    process = listening("-", "--out", "a.nmea", folder=tmp_path, stdin=out)
    os.close(out)
    with os.fdopen(into, "wb") as stream:
        stream.write(LOG[:9_000])
    printed, err = process.communicate(timeout=60)
    assert process.returncode == 0, err
    assert (tmp_path / "a.nmea").read_bytes() == LOG[:9_000]
    assert re.search(rb"(ready|settling): .*  12 satellites  HDOP 0.9  ", printed)


def test_a_ride_without_a_name_stands_in_the_book(tmp_path: Path) -> None:
    out, into = os.pipe()
    process = listening("-", "--machine", "Thistledrake 2", folder=tmp_path, stdin=out)
    os.close(out)
    with os.fdopen(into, "wb") as stream:
        stream.write(LOG)
    printed, err = process.communicate(timeout=120)
    assert process.returncode == 0, err
    (kept,) = tmp_path.glob("ride-*.nmea")
    assert kept.read_bytes() == LOG
    assert re.search(rb"Ride 1: ride-[\d-]+\.nmea added, top speed 5\d", printed)


def test_a_killed_listener_leaves_every_whole_line(tmp_path: Path) -> None:
    out, into = os.pipe()
    process = listening("-", "--out", "a.nmea", folder=tmp_path, stdin=out)
    os.close(out)
    with os.fdopen(into, "wb", buffering=0) as stream:
        stream.write(LOG[:5_000])
        wait_for_size(tmp_path / "a.nmea", 5_000)
        process.kill()
        process.communicate()
    assert (tmp_path / "a.nmea").read_bytes() == LOG[:5_000]


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (["/dev/no-such-line"], 1, "the line cannot be opened"),
        (["-", "--for", "soon"], 2, "is no length of time"),
        (["-", "--for", "0s"], 2, "is no length of time"),
        (["-", "--json", "states.json"], 2, "only - (standard output) is possible"),
        (["-", "--out", "silent.nmea"], 1, "Nothing arrived from the receiver"),
    ],
)
def test_what_cannot_be_is_said(words: list[str], status: int, says: str, tmp_path: Path) -> None:
    process = listening(*words, folder=tmp_path)
    _, err = process.communicate(timeout=60)
    assert process.returncode == status
    assert says in " ".join(err.decode().replace("│", " ").split())
    assert b"Traceback" not in err
    assert not list(tmp_path.glob("*.nmea"))


def test_a_log_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "a.nmea").write_bytes(b"mine")
    process = listening("-", "--out", "a.nmea", folder=tmp_path)
    _, err = process.communicate(timeout=60)
    assert process.returncode == 1
    assert b"never written over" in err
    assert (tmp_path / "a.nmea").read_bytes() == b"mine"


def test_the_command_is_listed() -> None:
    assert "listen" in {command.callback.__name__ for command in app.registered_commands
                        if command.callback is not None}  # fmt: skip
