"""A log that grows: nothing is written over, and what arrived stays."""

import errno
import os
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from ridelog.core.errors import OutputError
from ridelog.receiving.listening import Listening
from ridelog.receiving.recorder import SYNC_S, Recorder


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
    forced: list[int] = []  # the sizes at which it was done
    force = os.fsync

    def seen(descriptor: int) -> None:
        forced.append(os.fstat(descriptor).st_size)
        force(descriptor)

    recorder = Recorder(tmp_path / "a.nmea")
    monkeypatch.setattr("ridelog.receiving.recorder.os.fsync", seen)
    begin_s = time.monotonic()
    for _ in range(40):
        recorder.append(b"x")
        time.sleep(0.025)
    until(lambda: forced[-1:] == [40])
    longest_s = time.monotonic() - begin_s
    # At once for the first, then every SYNC_S of a second and not for every byte.
    assert forced[0] <= 2
    assert 3 <= len(forced) <= 2 + longest_s / SYNC_S
    recorder.append(b"")  # nothing new, nothing to be forced
    time.sleep(2.0 * SYNC_S)
    assert forced[-2:] != [40, 40]
    recorder.close()
    assert forced[-1] == 40


def test_a_slow_disk_keeps_nobody_from_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    done = threading.Event()
    recorder = Recorder(tmp_path / "a.nmea")
    monkeypatch.setattr("ridelog.receiving.recorder.os.fsync", lambda _: done.wait(30.0))
    for _ in range(100):
        recorder.append(b"y" * 100)
    assert (tmp_path / "a.nmea").stat().st_size == 10_000
    done.set()
    recorder.close()


def test_a_disk_that_fails_later_is_said_at_the_next_bytes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(descriptor: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    recorder = Recorder(tmp_path / "a.nmea")
    monkeypatch.setattr("ridelog.receiving.recorder.os.fsync", fail)
    recorder.append(b"$GPRMC")
    until(lambda: not recorder._forcing.is_alive())
    with pytest.raises(
        OutputError, match="the disk takes no more .Input/output error.; the first 6"
    ):
        recorder.append(b"$GPRMC")
    recorder.close()


def until(true: Callable[[], bool]) -> None:
    end_s = time.monotonic() + 20.0
    while not true():
        assert time.monotonic() < end_s
        time.sleep(0.01)


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


def test_a_ride_begins_with_a_whole_sentence_and_ends_when_it_is_told(tmp_path: Path) -> None:
    """Listening goes on; what is kept is what arrived between the two, from a sentence on."""
    here, there = socket.socketpair()

    class Line:
        name = "a socket"

        def read(self) -> bytes | None:
            there.settimeout(0.05)
            try:
                return there.recv(4096) or None
            except TimeoutError:
                return b""

        def close(self) -> None:
            there.close()

    listening = Listening(Line(), None)
    here.sendall(b"$GPRMC,before\r\n$GPRM")
    time.sleep(0.3)
    for name, cut, whole in (
        ("one.nmea", b"C,cut\r\n", b"$GPGGA,one\r\n$GPGGA,more\r\n"),
        ("two.ubx", b"\x01\x02", b"\xb5\x62\x01\x07$rest"),
    ):
        recorder = Recorder(tmp_path / name)
        listening.record(recorder)
        here.sendall(cut + whole[:9])
        time.sleep(0.2)
        here.sendall(whole[9:])
        until(lambda: (tmp_path / name).stat().st_size == len(whole))  # noqa: B023  # at once
        listening.record(None)
        recorder.close()
        here.sendall(b"after\r\n$GP")
        time.sleep(0.2)
        assert (tmp_path / name).read_bytes() == whole
    listening.stop()
    assert list(listening.readings())
    here.close()
