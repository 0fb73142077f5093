"""Where sentences come from: real serial lines, real sockets, a log in its own time."""

import os
import pty
import socket
import threading
import tty
from pathlib import Path

import pytest

from ridelog.core.errors import ReceiverError
from ridelog.receiving.line import Replay, open_source, paced

SAMPLES = Path(__file__).parents[2] / "sample_tracks"
LINES = b"$GNRMC,093000.000,A\r\n$GNGGA,093000.000,1\r\n"


def heard(source: object, least: int) -> bytes:
    data = b""
    while len(data) < least:
        part = source.read()  # type: ignore[attr-defined]
        if part is None:
            break
        data += part
    return data


def test_a_serial_line_is_read_byte_for_byte() -> None:
    here, there = pty.openpty()
    tty.setraw(there)
    source = open_source(f"{os.ttyname(there)}@115200")
    try:
        assert source.read() == b""
        os.write(here, LINES + b"\x00\xff")
        assert heard(source, len(LINES) + 2) == LINES + b"\x00\xff"
        assert source.name.endswith("at 115200 baud")
        os.close(here)
        with pytest.raises(ReceiverError, match="the line broke off"):
            for _ in range(3):
                source.read()
    finally:
        source.close()
        os.close(there)


def test_a_tcp_server_is_read_until_it_closes() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        source = open_source(f"tcp://127.0.0.1:{server.getsockname()[1]}")
        peer, _ = server.accept()
        with peer:
            peer.sendall(LINES)
            assert heard(source, len(LINES)) == LINES
        assert source.read() is None
        source.close()


def test_datagrams_are_read_and_an_empty_one_is_no_end() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    source = open_source(f"udp://127.0.0.1:{port}")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as peer:
        peer.sendto(LINES, ("127.0.0.1", port))
        peer.sendto(b"", ("127.0.0.1", port))
        assert heard(source, len(LINES)) == LINES
        assert source.read() == b""
        assert source.read() == b""
    source.close()


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("/dev/no-such-line", "the line cannot be opened (No such file or directory)"),
        ("tcp://127.0.0.1:1", "no connection (Connection refused)"),
        ("tcp://127.0.0.1", "names no receiver"),
        ("udp://:70000", "names no receiver"),
        ("http://example.org:80", "names no receiver"),
        ("/dev/ttyUSB0@0", "a line of 0 baud there is not"),
    ],
)
def test_what_cannot_be_listened_to_is_said(words: str, says: str) -> None:
    with pytest.raises(ReceiverError) as caught:
        open_source(words)
    assert says in str(caught.value)
    assert caught.value.advice


def test_a_taken_port_is_said() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.1", 0))
        with pytest.raises(ReceiverError, match="nothing can be received there"):
            open_source(f"udp://127.0.0.1:{other.getsockname()[1]}")


def test_a_log_as_a_receiver_is_told_how_to_replay_it() -> None:
    with pytest.raises(ReceiverError, match="add --replay"):
        open_source(str(SAMPLES / "after-2.nmea"))
    with pytest.raises(ReceiverError, match="the log cannot be read"):
        Replay(SAMPLES / "none.nmea")


@pytest.mark.parametrize(("name", "rate_hz"), [("after-2.nmea", 10.0), ("before-2.nmea", 5.0)])
def test_a_log_is_cut_at_its_times_and_stays_whole(name: str, rate_hz: float) -> None:
    log = (SAMPLES / name).read_bytes()
    parts = list(paced(log))
    assert b"".join(part for _, part in parts) == log
    at_s = [at for at, _ in parts]
    assert at_s[0] == 0.0
    assert at_s[10] == pytest.approx(10.0 / rate_hz)


def test_midnight_and_a_clock_set_back_do_not_stop_a_replay() -> None:
    def sentence(tod: str) -> bytes:
        return b"$GPRMC,%s,A\r\n" % tod.encode()

    times = ["235959", "000001", "000000", "000004"]
    parts = list(paced(b"start\r\n" + b"".join(map(sentence, times))))
    # What stands before the first time goes first; the clock that is set back costs no time.
    assert [at for at, _ in parts] == [0.0, 0.0, 2.0, 6.0]
    assert parts[2][1] == sentence("000001") + sentence("000000")


def test_a_replay_takes_the_time_of_its_log(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    now_s = [100.0]
    monkeypatch.setattr("ridelog.receiving.line.time.monotonic", lambda: now_s[0])
    slept: list[float] = []

    def sleep(length_s: float) -> None:
        slept.append(length_s)
        now_s[0] += length_s

    monkeypatch.setattr("ridelog.receiving.line.time.sleep", sleep)
    log = tmp_path / "one.nmea"
    log.write_bytes(b"$GPRMC,120000,A\r\n$GPRMC,120001,A\r\n")
    source = Replay(log)
    parts = [source.read() for _ in range(7)]
    source.close()
    assert parts[0] == b"$GPRMC,120000,A\r\n"
    assert b"$GPRMC,120001,A\r\n" in parts
    assert parts[-1] is None
    assert sum(slept) == pytest.approx(1.0)


def test_standard_input_ends(monkeypatch: pytest.MonkeyPatch) -> None:
    out, into = os.pipe()
    with os.fdopen(out, "rb") as stream:
        monkeypatch.setattr("sys.stdin", stream)
        source = open_source("-")
        assert source.read() == b""

        def write() -> None:
            os.write(into, LINES)
            os.close(into)

        writer = threading.Thread(target=write)
        writer.start()
        assert heard(source, len(LINES)) == LINES
        writer.join()
        assert source.read() is None
        source.close()
