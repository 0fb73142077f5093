"""Where a receiver's sentences come from: a serial line, the network, standard input, a log."""

import os
import re
import select
import socket
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Protocol

import numpy as np

from ridelog.core.errors import ReceiverError
from ridelog.core.text import shown_name
from ridelog.importer.ubx_messages import holds_motion, read_messages

# What common receivers send at when nobody has set them; NMEA 0183 itself has 4,800.
# common practice, no source
USUAL_BAUD = 9600
# Longest wait for something to arrive, so that whoever waits is told of it soon. [s]
WAIT_S = 0.2
_MOST_BYTES = 1 << 16
_MOST_BAUD = 4_000_000
_CONNECT_S = 10.0
_DAY_S = 86_400.0
# A clock that runs back by more than this has passed midnight. [s]
_HALF_DAY_S = 43_200.0
_WEEK_S = 604_800.0
_EPOCH = re.compile(rb"\$..(?:RMC|GGA|GNS),(\d\d)(\d\d)(\d\d(?:\.\d{1,9})?),")


class ReceiverLine(Protocol):
    """Something that sends bytes until it ends.

    ``read`` returns what has arrived, b"" if nothing did within WAIT_S, None when the source has
    ended. ReceiverError if the line fails.
    """

    name: str

    def read(self) -> bytes | None:
        """Return what has arrived."""

    def close(self) -> None:
        """Let the line go."""


def open_source(words: str) -> ReceiverLine:
    """Return the source that words name.

    Parameters
    ----------
    words : str
        A serial device, with ``@`` and its speed behind it if it is not USUAL_BAUD; tcp://host:port;
        udp://:port; ``-`` for standard input.

    Raises
    ------
    ReceiverError
        If the words name none of these, or it cannot be opened.
    """
    if words == "-":
        return _Stream("standard input", sys.stdin.fileno())
    scheme, found, rest = words.partition("://")
    if found:
        host, _, port = rest.rpartition(":")
        if scheme not in ("tcp", "udp") or not port.isdecimal() or not 0 < int(port) < 65_536:
            raise ReceiverError(
                f"{shown_name(words)} names no receiver.",
                "write tcp://host:port to fetch from a server, udp://:port to wait for datagrams.",
            )
        return _tcp(words, host, int(port)) if scheme == "tcp" else _udp(words, host, int(port))
    return _serial(words)


def _tcp(words: str, host: str, port: int) -> ReceiverLine:
    try:
        line = socket.create_connection((host.strip("[]"), port), timeout=_CONNECT_S)
    except OSError as error:
        raise ReceiverError(
            f"{shown_name(words)}: no connection ({error.strerror or error}).",
            "check that the receiver serves there and that both are on one network.",
        ) from error
    return _Socket(shown_name(words), line, ends=True)


def _udp(words: str, host: str, port: int) -> ReceiverLine:
    line = socket.socket(socket.AF_INET6 if ":" in host else socket.AF_INET, socket.SOCK_DGRAM)
    try:
        line.bind((host.strip("[]"), port))
    except OSError as error:
        line.close()
        raise ReceiverError(
            f"{shown_name(words)}: nothing can be received there ({error.strerror or error}).",
            "choose another port, or stop the program that has it.",
        ) from error
    return _Socket(shown_name(words), line, ends=False)


def _serial(words: str) -> ReceiverLine:
    device, at, speed = words.rpartition("@")
    if not at or not speed.isdecimal():
        device, speed = words, str(USUAL_BAUD)
    if not 0 < int(speed) <= _MOST_BAUD:
        raise ReceiverError(
            f"{shown_name(words)}: a line of {speed} baud there is not.",
            "write the speed that the receiver is set to, such as @9600 or @115200.",
        )
    if Path(device).is_file():
        raise ReceiverError(
            f"{shown_name(device)} is a file, not a receiver.",
            "add --replay to play it in its own time, or read it with `ridelog signal`.",
        )
    import serial  # only here: few users have a serial receiver on the line

    try:
        port = serial.Serial(device, int(speed), timeout=WAIT_S)
    except (serial.SerialException, OSError, ValueError) as error:
        raise ReceiverError(
            f"{shown_name(device)}: the line cannot be opened ({_told_by(error)}).",
            "check that the receiver is plugged in, its name, and that you may use it "
            "(on Linux the group dialout may).",
        ) from error
    return _Serial(f"{shown_name(device)} at {speed} baud", port)


def _told_by(error: Exception) -> str:
    """Return what the system said of a failed line, without the library's own wrapping."""
    number = getattr(error, "errno", None)
    return os.strerror(number) if number else str(error)


class _Socket:
    def __init__(self, name: str, line: socket.socket, *, ends: bool) -> None:
        self.name, self._line, self._ends = name, line, ends
        line.settimeout(WAIT_S)

    def read(self) -> bytes | None:
        try:
            data = self._line.recv(_MOST_BYTES)
        except TimeoutError:
            return b""
        except OSError as error:
            raise _broken(self.name, error) from error
        # An empty datagram is no end; an empty stream is.
        return None if self._ends and not data else data

    def close(self) -> None:
        self._line.close()


class _Serial:
    def __init__(self, name: str, port: "serial.Serial") -> None:  # type: ignore[name-defined]  # noqa: F821  # imported late
        self.name, self._port = name, port

    def read(self) -> bytes | None:
        try:
            data = self._port.read(1)
            return bytes(data + self._port.read(self._port.in_waiting)) if data else b""
        except (OSError, TypeError) as error:  # TypeError: pyserial, on a line closed meanwhile
            raise _broken(self.name, error) from error

    def close(self) -> None:
        self._port.close()


class _Stream:
    def __init__(self, name: str, descriptor: int) -> None:
        self.name, self._descriptor = name, descriptor

    def read(self) -> bytes | None:
        ready, _, _ = select.select([self._descriptor], [], [], WAIT_S)
        return (os.read(self._descriptor, _MOST_BYTES) or None) if ready else b""

    def close(self) -> None:
        """Leave standard input open: it belongs to the process."""


def _broken(name: str, error: Exception) -> ReceiverError:
    return ReceiverError(
        f"{name}: the line broke off ({_told_by(error)}).",
        "check the cable and the receiver's power, then listen again.",
    )


class Replay:
    """A recorded NMEA log, sent again in its own time: for trying without a receiver."""

    def __init__(self, log: Path) -> None:
        self.name = f"{shown_name(log.name)}, replayed"
        try:
            self._parts = paced(log.read_bytes())
        except OSError as error:
            raise ReceiverError(
                f"{shown_name(str(log))}: the log cannot be read ({error.strerror or error}).",
                "give the name of an NMEA log.",
            ) from error
        self._begun_s: float | None = None
        self._next = next(self._parts, None)

    def read(self) -> bytes | None:
        """Return what is due by now."""
        if self._next is None:
            return None
        now_s = time.monotonic()
        self._begun_s = now_s if self._begun_s is None else self._begun_s
        due_s, data = self._next
        wait_s = self._begun_s + due_s - now_s
        if wait_s > WAIT_S:
            time.sleep(WAIT_S)
            return b""
        time.sleep(max(0.0, wait_s))
        self._next = next(self._parts, None)
        return data

    def close(self) -> None:
        """Nothing is held open."""


def paced(log: bytes) -> Iterator[tuple[float, bytes]]:
    """Yield the parts of an NMEA or UBX log, each with the time at which it was sent. [s]

    A part begins with what brings a new time; together they are the log.
    """
    if holds_motion(log):
        yield from _paced_messages(log)
        return
    at_s, last_s, part = 0.0, None, bytearray()
    for line in log.splitlines(keepends=True):
        found = _EPOCH.search(line)
        if found:
            hours, minutes, seconds = found.groups()
            now_s = 3600.0 * int(hours) + 60.0 * int(minutes) + float(seconds)
            step_s = 0.0 if last_s is None else now_s - last_s
            step_s += _DAY_S if step_s < -_HALF_DAY_S else 0.0
            if step_s > 0.0 or (last_s is None and part):
                yield at_s, bytes(part)
                part.clear()
                at_s += step_s
            last_s = now_s
        part += line
    if part:
        yield at_s, bytes(part)


def _paced_messages(log: bytes) -> Iterator[tuple[float, bytes]]:
    """Yield the parts of a UBX log, each of which begins with a message of a position."""
    found = read_messages("replay", log)
    placed = found["NAV-PVT"] if len(found["NAV-PVT"]) else found["NAV-POSLLH"]
    at_s, begin = 0.0, 0
    for at, step_s in zip(placed.at[1:], np.diff(placed["iTOW"]) / 1000.0, strict=True):
        step_s = float(step_s) + (_WEEK_S if step_s < -_WEEK_S / 2 else 0.0)
        if step_s > 0.0:
            yield at_s, log[begin:at]
            at_s, begin = at_s + step_s, int(at)
    yield at_s, log[begin:]
