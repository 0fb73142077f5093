"""Lines on which a suite is the receiver: a serial one, TCP, UDP."""

import os
import pty
import socket
import tty
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass

from ridelog.receiving.line import ReceiverLine, open_source

_DATAGRAM_BYTES = 1400


@dataclass(frozen=True)
class Line:
    """What is listened to, and how the suite writes into it; ``end`` ends a stream."""

    source: ReceiverLine
    write: Callable[[bytes], None]
    end: Callable[[], None] = lambda: None


@contextmanager
def _serial() -> Iterator[Line]:
    here, there = pty.openpty()
    tty.setraw(there)

    def write(data: bytes) -> None:
        left = memoryview(data)
        while left:
            left = left[os.write(here, left[:1024]) :]

    try:
        yield Line(open_source(f"{os.ttyname(there)}@115200"), write)
    finally:
        os.close(here)
        os.close(there)


@contextmanager
def _tcp() -> Iterator[Line]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        source = open_source(f"tcp://127.0.0.1:{server.getsockname()[1]}")
        peer, _ = server.accept()
        with peer:
            yield Line(source, peer.sendall, peer.close)


@contextmanager
def _udp() -> Iterator[Line]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    source = open_source(f"udp://127.0.0.1:{port}")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as peer:

        def write(data: bytes) -> None:
            for k in range(0, len(data), _DATAGRAM_BYTES):
                peer.sendto(data[k : k + _DATAGRAM_BYTES], ("127.0.0.1", port))

        yield Line(source, write)


LINES: dict[str, Callable[[], AbstractContextManager[Line]]] = {
    "serial line": _serial, "tcp": _tcp, "udp": _udp,
}  # fmt: skip
