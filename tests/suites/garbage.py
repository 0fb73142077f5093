"""Bytes that are no requests, sent to the page's sockets: is any answered by 500? On request.

    python tests/suites/garbage.py [--messages 10000] [--seed N] [--record]

Runs itself in a network of its own, as denial.py does. Noise; right requests with bytes changed,
left out, doubled or cut off, as the owner, as a telephone that was let in and as neither; requests
whose length, pieces, headers or first line are wrong; other protocols; each in one piece or many,
left in the middle, half closed or reset; to the plain address, to the encrypted one, and to that
without encryption. Ends with 1 if anything is answered by 500, if the page does not answer within
two seconds in between, if it wrote of an exception, or if it keeps connections.
"""

import argparse
import re
import socket
import struct
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TypeVar
from urllib.parse import urlencode

import numpy as np
from denial import Client, Workshop, enter_a_network_of_its_own
from record import Record, add_options
from visitor import short_log

Thing = TypeVar("Thing")
LONGEST_S = 2.0
# How long an answer is waited for; what is unfinished gets none.
_PATIENCE_S = 0.15
_LENGTHS = (
    "-1",
    "0",
    "5",
    "99999999999",
    "1e3",
    "0x10",
    " 5",
    "5, 5",
    "5,6",
    "",
    "٣",
    "+5",
    "9" * 60,
)
_SIZES = (b"5\r\nabcde\r\n0\r\n\r\n", b"fffffffffffffffff\r\n", b"-1\r\n", b"5\r\nab", b"\r\n\r\n",
          b"5;x=\"\r\nabcde\r\n", b"5\nabcde\n0\n\n", b"zz\r\n", b"0\r\nx: y\r\n" * 50)  # fmt: skip
_LINES = (
    b"GET", b"GET / HTTP/9.9", b"GET / HTTP/1.0", b"GET  / HTTP/1.1", b"get / HTTP/1.1", b"/",
    b"GET / HTTP/1.1 x", b"G\x00T / HTTP/1.1", b"GET /\x00 HTTP/1.1", b"GET /\xff\xfe HTTP/1.1",
    b"CONNECT evil.example:443 HTTP/1.1", b"GET http://evil.example/ HTTP/1.1", b"* * HTTP/1.1",
    b"OPTIONS * HTTP/1.1", b"GET //evil.example HTTP/1.1", b"GET /../../etc/passwd HTTP/1.1",
    b"GET /%ff%00%zz HTTP/1.1", b"GET ?x HTTP/1.1", b"GET " + b"/a" * 40_000 + b" HTTP/1.1",
    b"GET /rides/" + b"9" * 5000 + b" HTTP/1.1", b"PRI * HTTP/2.0", b"GET /#x HTTP/1.1",
    b"\r\n\r\n\r\nGET / HTTP/1.1", "GET /é HTTP/1.1".encode(), b"GET / HTTP/1.1\r", b"\xff" * 50,
)  # fmt: skip
_HEADERS = (
    b"no colon", b": empty", b"a b: c", b"x: \x00", b"x: \xff\xfe", b"x:\ty\r\n z", b"host: x",
    b"host: \xc3\xa9", b"x: " + b"y" * 70_000, b"transfer-encoding: chunked, chunked",
    b"transfer-encoding: gzip", b"transfer-encoding: identity", b"expect: 100-continue",
    b"upgrade: websocket\r\nconnection: upgrade", b"upgrade: h2c\r\nconnection: upgrade",
    b"connection: \xff", b"cookie: \xff=\xfe; =;", b"cookie: " + b"a=b; " * 900, b"range: bytes=-",
    b"\r\n: x", b"x: y\nz: w", b"sec-fetch-site: \xe9", b"origin: \xff", b"referer: http://[",
    b"\x0bx: y", b"content-type: multipart/form-data; boundary=\xff", b"a: b\r\n" * 3000,
)  # fmt: skip
_OTHERS = (
    b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\x00\x00\x00\x04\x00\x00\x00\x00\x00",
    b"SSH-2.0-OpenSSH_9.0\r\n", b"\x16\x03\x01\x00\xa5\x01\x00\x00\xa1\x03\x03" + bytes(40),
    b"EHLO x\r\nMAIL FROM:<a@b>\r\n", b"\x00" * 4000, b"{}\n", b"\x15\x03\x03\x00\x02\x02\x28",
    b"*1\r\n$4\r\nPING\r\n", b"\x80\x2e\x01\x00\x02", b"GET /\r\n",
)  # fmt: skip


class Sender:
    """Draws messages and sends them."""

    def __init__(self, rng: np.random.Generator, shop: Workshop) -> None:
        self._rng, self._shop = rng, shop
        self._kinds: dict[str, Callable[[Client], bytes]] = {
            "noise": lambda client: self._noise(3000),
            "right but for some bytes": lambda client: self._changed(self._right(client)),
            "wrong length or pieces": self._lengths,
            "wrong first line": lambda client: self.one_of(_LINES) + b"\r\n" + self._rest(client),
            "wrong header": self._header,
            "another protocol": lambda client: self.one_of(_OTHERS) + self._noise(60),
            "several at once": self._several,
        }
        self.kinds = tuple(self._kinds)

    def one_of(self, things: tuple[Thing, ...]) -> Thing:
        """Return one of some things."""
        return things[int(self._rng.integers(len(things)))]

    def chance(self, share: float) -> bool:
        """Return True in such a share of times."""
        return bool(self._rng.random() < share)

    def client(self) -> tuple[str, Client]:
        """Return who sends, by name, and from where."""
        owner, phone = self._shop.owner, self._shop.phone
        # Below what one address may ask in a minute.
        other = f"10.77.0.{int(self._rng.integers(10, 250))}"
        return self.one_of(
            (
                ("this machine, with its cookie", owner),
                ("this machine, without", replace(owner, cookie="", token="")),
                ("telephone, let in", replace(phone, source=other)),
                ("telephone, not let in", replace(phone, source=other, cookie="", token="")),
                ("network, not encrypted", replace(phone, source=other, encrypted=False)),
            )
        )

    def message(self, kind: str, client: Client) -> bytes:
        """Return what is sent."""
        return self._kinds[kind](client)

    def pieces(self, data: bytes) -> Iterator[bytes]:
        """Yield a message as it is sent, in one piece or a few."""
        cuts = sorted(int(k) for k in self._rng.integers(0, len(data) + 1, 3))
        cuts = cuts if self.chance(0.3) else []
        for start, end in zip([0, *cuts], [*cuts, len(data)], strict=True):
            yield data[start:end]

    def _noise(self, most: int) -> bytes:
        return self._rng.bytes(int(self._rng.integers(1, most)))

    def _right(self, client: Client) -> bytes:
        """Return a request that is right in everything."""
        token = client.token
        note = urlencode({"token": token, "note": "pulled left", "machine": "Thistledrake 2"})
        log = short_log("before-2.nmea", 2) + b"\r\n# %d" % int(self._rng.integers(10**9))
        method, path, body = self.one_of(
            (
                ("GET", "/", b""), ("GET", "/rides/1", b""), ("GET", "/machines", b""),
                ("GET", "/rides/1/chart?shade=dark", b""), ("GET", "/tasks", b""),
                ("GET", "/static/page.css", b""), ("POST", "/rides/1/details", note.encode()),
                ("POST", "/units", urlencode({"token": token, "unit": "mph"}).encode()),
                ("POST", "/enter", urlencode({"token": token, "code": "WRONGONE"}).encode()),
                ("PUT", "/logs?name=garbage.nmea", log),
            )
        )  # fmt: skip
        head = f"{method} {path} HTTP/1.1\r\n".encode()
        return head + self._rest(client, len(body)) + body

    def _rest(self, client: Client, size: int | None = None, more: bytes = b"") -> bytes:
        lines = [
            f"Host: {client.place}:{client.port}", f"Cookie: {client.cookie}",
            f"Origin: {client.base}", f"x-ridelog-token: {client.token}",
            "Content-Type: application/x-www-form-urlencoded",
            *([f"Content-Length: {size}"] if size is not None else []),
        ]  # fmt: skip
        return "\r\n".join(lines).encode() + (b"\r\n" + more if more else b"") + b"\r\n\r\n"

    def _changed(self, data: bytes) -> bytes:
        changed = bytearray(data)
        for _ in range(int(self._rng.integers(1, 5))):
            at, end = sorted(int(k) for k in self._rng.integers(0, len(changed) + 1, 2))
            end = min(end, at + 20)
            kind = int(self._rng.integers(5))
            if kind == 0:
                changed[at : at + 1] = self._rng.bytes(1)
            elif kind == 1:
                del changed[at:end]
            elif kind == 2:
                changed[at:at] = changed[at:end] * int(self._rng.integers(1, 40))
            elif kind == 3:
                changed[at:at] = self._rng.bytes(int(self._rng.integers(1, 9)))
            elif self.chance(0.3):
                del changed[at:]
        return bytes(changed)

    def _lengths(self, client: Client) -> bytes:
        method = self.one_of((b"POST /rides/1/details", b"PUT /logs?name=a.gpx", b"GET /"))
        length = b"Content-Length: " + self.one_of(_LENGTHS).encode()
        pieces = b"Transfer-Encoding: chunked"
        more = self.one_of((length, pieces, length + b"\r\n" + pieces, length + b"\r\n" + length))
        body = self.one_of(_SIZES) if self.chance(0.6) else self._noise(80)
        return method + b" HTTP/1.1\r\n" + self._rest(client, more=more) + body

    def _header(self, client: Client) -> bytes:
        return b"GET /machines HTTP/1.1\r\n" + self._rest(client, more=self.one_of(_HEADERS))

    def _several(self, client: Client) -> bytes:
        count = int(self._rng.integers(2, 30))
        parts = [self._right(client) for _ in range(count)]
        parts[int(self._rng.integers(count))] = self._changed(parts[0])
        return b"".join(parts)


def send(sender: Sender, client: Client, data: bytes) -> list[int]:
    """Send a message in some way; return the statuses that came back."""
    got = b""
    try:
        link = client.connect()
    except OSError:
        return []
    with link:
        link.settimeout(_PATIENCE_S)
        with suppress(OSError):
            for piece in sender.pieces(data):
                link.sendall(piece)
            if sender.chance(0.1):
                link.shutdown(socket.SHUT_WR)
            if sender.chance(0.1):  # a reset instead of an end
                link.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
                return []
        with suppress(OSError):
            while part := link.recv(65536):
                got += part
    return [int(status) for status in re.findall(rb"HTTP/1\.1 (\d{3}) ", got)]


def main() -> None:
    """Send messages, count answers, look whether the page still stands."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--messages", type=int, default=10_000)
    add_options(parser, "garbage")
    chosen = parser.parse_args()
    enter_a_network_of_its_own()
    record = Record("garbage", chosen, rides=chosen.messages)
    counts: dict[tuple[str, str], Counter[str]] = {}
    slowest_s, faults = 0.0, []
    with tempfile.TemporaryDirectory() as place:
        shop = Workshop(Path(place) / "book")
        sender = Sender(np.random.default_rng(chosen.seed), shop)
        held = Path(f"/proc/{shop.served.process.pid}/fd")
        before = len(list(held.iterdir()))
        try:
            for number in range(chosen.messages):
                kind = sender.kinds[number % len(sender.kinds)]
                who, client = sender.client()
                data = sender.message(kind, client)
                statuses = send(sender, client, data)
                seen = counts.setdefault((kind, who), Counter())
                seen["messages"] += 1
                seen.update(f"{status // 100}xx" for status in statuses)
                seen["none"] += not statuses
                if 500 in statuses:
                    seen["mistakes"] += 1
                    faults.append(f"500: {kind}, {who}: {data[:600]!r}")
                if number % 50 == 49:
                    start = time.monotonic()
                    status, text, _ = shop.owner.ask("GET", "/machines")
                    took_s = time.monotonic() - start
                    slowest_s = max(slowest_s, took_s)
                    if status != 200 or "Add a machine" not in text or took_s >= LONGEST_S:
                        faults.append(f"after {number + 1}: {status} in {took_s:.1f} s")
                if number % 1000 == 999:
                    print(f"  {number + 1} messages, slowest {slowest_s:.2f} s", flush=True)
            time.sleep(25.0)  # longer than a silent connection may last
            if (after := len(list(held.iterdir()))) > before + 10:
                faults.append(f"{after} open files, {before} before")
            if shop.alive() < 2:
                faults.append("a session ended")
        finally:
            shop.served.stop()
        said = shop.served.errors.read_text()
        if "Traceback" in said or "mistake" in said:
            faults.append(f"it wrote: {said[-3000:]}")
    for (kind, who), seen in sorted(counts.items()):
        record.add(
            message=kind, sender=who, messages=seen["messages"], answered=seen["2xx"],
            led_on=seen["3xx"], refused=seen["4xx"], busy=seen["5xx"] - seen["mistakes"],
            ended=seen["none"], mistakes=seen["mistakes"],
        )  # fmt: skip
    record.add(message="the owner's page in between", slowest_s=slowest_s, mistakes=len(faults))
    record.save()
    for fault in faults:
        print(f"  FAULT: {fault}")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
