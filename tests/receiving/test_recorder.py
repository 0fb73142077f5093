"""A log that grows: nothing is written over, and what arrived stays."""

import os
import resource
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from ridelog.core.errors import OutputError
from ridelog.receiving.recorder import Recorder


def test_bytes_arrive_as_they_are(tmp_path: Path) -> None:
    recorder = Recorder(tmp_path / "a.nmea")
    for part in (b"$GP", b"\x00\xff", b"\r\n"):
        recorder.append(part)
    # Without being closed: whoever is killed now has lost nothing.
    assert (tmp_path / "a.nmea").read_bytes() == b"$GP\x00\xff\r\n"
    recorder.close()
    recorder.close()
    assert recorder.size_bytes == 7


def test_a_file_that_is_there_stays(tmp_path: Path) -> None:
    place = tmp_path / "a.nmea"
    place.write_bytes(b"mine")
    with pytest.raises(OutputError, match="never written over"):
        Recorder(place)
    assert place.read_bytes() == b"mine"
    with pytest.raises(OutputError, match="cannot be written there"):
        Recorder(tmp_path / "none" / "a.nmea")


def test_waiting_bytes_are_forced_to_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    now_s: list[float] = [0.0]
    forced: list[int] = []
    monkeypatch.setattr("ridelog.receiving.recorder.time.monotonic", lambda: now_s[0])
    monkeypatch.setattr("ridelog.receiving.recorder.os.fsync", forced.append)
    recorder = Recorder(tmp_path / "a.nmea")
    forced.clear()  # the folder's own
    for now_s[0] in (0.1, 0.4, 0.6, 0.7):
        recorder.append(b"x")
    assert len(forced) == 1
    now_s[0] = 1.2
    recorder.append(b"")  # nothing new arrived, but something waits
    assert len(forced) == 2
    recorder.append(b"")
    recorder.sync_when_due()
    assert len(forced) == 2
    recorder.close()


def test_a_full_disk_is_said_and_what_was_written_stays(tmp_path: Path) -> None:
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, before[1]))
    try:
        recorder = Recorder(tmp_path / "a.nmea")
        recorder.append(b"y" * 990)
        with pytest.raises(OutputError, match="the disk takes no more .* first 1,000 bytes"):
            recorder.append(b"z" * 20)
        recorder.close()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)
    assert (tmp_path / "a.nmea").read_bytes() == b"y" * 990 + b"z" * 10


def test_a_killed_process_loses_nothing_that_it_had_taken(tmp_path: Path) -> None:
    place = tmp_path / "a.nmea"
    code = (
        "import sys, pathlib, time\n"
        "from ridelog.receiving.recorder import Recorder\n"
        f"recorder = Recorder(pathlib.Path({str(place)!r}))\n"
        "recorder.append(b'$GPRMC\\r\\n'); print('kept', flush=True); time.sleep(60)\n"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"kept\n"
        os.kill(process.pid, signal.SIGKILL)
    assert place.read_bytes() == b"$GPRMC\r\n"
