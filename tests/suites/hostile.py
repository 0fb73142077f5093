"""Uploads that nobody means well with, at full size against a running page. On request.

    python tests/suites/hostile.py [--gib 1]

A gibibyte of zeros (with its size declared, and without), bombs of a gibibyte, deep XML, entities,
10,000 tracks, a token that never ends, names with tricks, wrong types, uploads that break off or
stand still, foreign Host and Origin. Prints for each what the page said, how long it took, and the
largest memory of the server and of its work bench; ends with 1 if anything was not refused in
words, left a file behind, went beyond the bounds, or stopped the page.
"""

import argparse
import http.client
import json
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

ROOT = Path(__file__).resolve().parents[2]
sys.path += [str(ROOT / "tests" / "web"), str(ROOT / "tests" / "suites")]

import hostile_logs  # noqa: E402  (needs the path above)
from killed_page import come_in  # noqa: E402
from live_page import Served  # noqa: E402

MIB = 1024**2
# Own choice: what a small workshop machine can spare. The bench holds the log it is measuring.
MOST_SERVER_MIB, MOST_BENCH_MIB = 300, 2048


class Memory(threading.Thread):
    """The largest resident memory of the server and of its children since the last reading."""

    def __init__(self, pid: int) -> None:
        super().__init__(daemon=True)
        self._pid = pid
        self._peaks = [0, 0]
        self.start()

    def run(self) -> None:
        """Look twenty times a second until the server has gone."""
        while (own := _resident_mib(self._pid)) > 0:
            children = Path(f"/proc/{self._pid}/task/{self._pid}/children")
            try:
                pids = [int(word) for word in children.read_text().split()]
            except OSError:
                pids = []
            bench = max((_resident_mib(pid) for pid in pids), default=0)
            self._peaks = [max(self._peaks[0], own), max(self._peaks[1], bench)]
            time.sleep(0.05)

    def reading(self) -> tuple[int, int]:
        """Return both peaks in MiB and begin anew."""
        (server, bench), self._peaks = self._peaks, [0, 0]
        return server, bench


def _resident_mib(pid: int) -> int:
    try:
        lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    except OSError:
        return 0
    found = [int(line.split()[1]) // 1024 for line in lines if line.startswith("VmRSS")]
    return found[0] if found else 0


class Sender:
    """One browser's way to put logs, however wrong they are."""

    def __init__(self, base: str) -> None:
        self.host = urlsplit(base).netloc
        self._ours, self.token = come_in(self.host)

    def headers(self, **other: str) -> dict[str, str]:
        """Return what our own page would send."""
        return {**self._ours, "x-ridelog-token": self.token, **other}

    def put(self, name: str, parts: Iterator[bytes], size: int | None) -> tuple[int, Any]:
        """Send parts, chunked if no size is told, until an answer comes; status and JSON."""
        link = http.client.HTTPConnection(self.host, timeout=600)
        headers = self.headers(**({"Content-Length": str(size)} if size is not None else {}))
        try:
            link.request(
                "PUT", f"/logs?{urlencode({'name': name})}", parts, headers,
                encode_chunked=size is None,
            )  # fmt: skip
        except (BrokenPipeError, ConnectionResetError):
            pass  # it stopped listening, as it should; the answer may be there all the same
        try:
            answer = link.getresponse()
            return answer.status, json.loads(answer.read())
        except (OSError, http.client.HTTPException):
            return 0, {"problem": "the connection was closed without an answer"}
        finally:
            link.close()

    def get(self, path: str) -> tuple[int, bytes]:
        """Ask for a page."""
        link = http.client.HTTPConnection(self.host, timeout=60)
        link.request("GET", path, headers=self._ours)
        answer = link.getresponse()
        data = answer.read()
        link.close()
        return answer.status, data

    def verdict(self, task: int, longest_s: float = 900.0) -> tuple[str, str]:
        """Return how a task ended, and its sentence."""
        end = time.monotonic() + longest_s
        while time.monotonic() < end:
            for one in json.loads(self.get("/tasks")[1]):
                if one["number"] == task and one["state"] in ("done", "failed"):
                    return one["state"], one["problem"] or "is measured"
            time.sleep(0.1)
        return "hangs", "no end"

    def leave(self, name: str, seconds: float, share: int = 200_000) -> None:
        """Promise a megabyte, send a part of it, wait, and go away."""
        head = f"PUT /logs?{urlencode({'name': name})} HTTP/1.1\r\nHost: {self.host}\r\n"
        head += "".join(f"{key}: {value}\r\n" for key, value in self.headers().items())
        head += f"Content-Length: {MIB}\r\n\r\n"
        address, port = self.host.split(":")
        with socket.create_connection((address, int(port)), timeout=30) as link:
            link.sendall(head.encode() + bytes(share))
            time.sleep(seconds)


def zeros(size: int) -> Iterator[bytes]:
    """Read zeros from the machine itself, a megabyte at a time."""
    with Path("/dev/zero").open("rb") as source:
        for _ in range(size // MIB):
            yield source.read(MIB)


def endless_token() -> Iterator[bytes]:
    """A GPX whose first attribute goes on for 120 MiB."""
    yield b'<?xml version="1.0"?>\n<gpx version="1.1" creator="'
    for _ in range(120):
        yield b"x" * MIB


def one_part(make: Callable[[], bytes]) -> Iterator[bytes]:
    """Make a small file when it is its turn, in one piece."""
    yield make()


def files(gib: float) -> Iterator[tuple[str, Callable[[], Iterator[bytes]], int | None, int]]:
    """Yield name, content, the size that is declared, and the status that is due."""
    size = int(gib * 1024) * MIB
    yield "declared-zeros.gpx", lambda: zeros(size), size, 413
    yield "zeros.gpx", lambda: zeros(size), None, 413
    yield "just-below.gpx", lambda: zeros(127 * MIB), None, 202
    small: list[tuple[str, Callable[[], bytes]]] = [
        ("bomb.zip", lambda: hostile_logs.zip_bomb(int(gib * 1024))),
        ("bomb.gz", lambda: hostile_logs.gzip_bomb(int(gib * 1024))),
        ("deep.gpx", lambda: hostile_logs.deep_xml(5_000_000)),
        ("entities.gpx", hostile_logs.entity_bomb),
        ("outside.gpx", hostile_logs.outside_entity),
        ("tracks.gpx", hostile_logs.many_tracks),
        ("../../../../etc/cron.d/x", lambda: b"no log"),
        ("<script>alert(1)</script>.gpx", lambda: b"no log either"),
        ("a\x00b\r\nset-cookie: x.gpx", lambda: b"nor this"),
    ]
    small += [(name, partial(bytes, data)) for name, data in hostile_logs.wrong_types()]
    for name, make in small:
        yield name, partial(one_part, make), None, 202
    yield "token.gpx", endless_token, None, 202


def foreign(sender: Sender) -> Iterator[tuple[str, int, int]]:
    """Yield requests of others: what they are, the status given, the status due."""
    for what, headers, due in (
        ("foreign Host", {"Host": "evil.example"}, 421),
        ("foreign Origin", {"Origin": "http://evil.example"}, 403),
        ("Origin null", {"Origin": "null"}, 403),
        ("no token", {"x-ridelog-token": ""}, 403),
        ("no cookie", {"Cookie": ""}, 403),
    ):
        link = http.client.HTTPConnection(sender.host, timeout=60)
        link.request("PUT", "/logs?name=a.gpx", b"log", sender.headers(**headers))
        answer = link.getresponse()
        answer.read()
        yield what, answer.status, due
        link.close()


def main() -> None:
    """Attack, look, count."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--gib", type=float, default=1.0)
    gib = parser.parse_args().gib
    faults: list[str] = []

    def note(what: str, is_good: bool) -> None:
        if not is_good:
            faults.append(what)
            print(f"  FAULT: {what}")

    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "book"
        served = Served(folder)
        memory = Memory(served.process.pid)
        sender = Sender(served.base)
        time.sleep(5.0)  # the bench has loaded what it needs
        print(f"at rest: {memory.reading()} MiB (server, bench)")
        for name, parts, size, due in files(gib):
            start = time.monotonic()
            status, said = sender.put(name, parts(), size)
            state, words = "refused", str(said.get("problem", ""))
            if status in (200, 202) and said["task"] is not None:
                state, words = sender.verdict(said["task"])
            peaks = memory.reading()
            spent = time.monotonic() - start
            print(f"{name!r}: {status}, {state} in {spent:.1f} s, {peaks} MiB: {words[:150]}")
            note(f"{name!r} was answered with {status}, not {due}", status == due)
            note(f"{name!r} has no sentence", bool(words) and "made a mistake" not in words)
            note(f"{name!r}: {peaks} MiB", peaks[0] < MOST_SERVER_MIB and peaks[1] < MOST_BENCH_MIB)
            note(f"{name!r} left a part", not list((folder / "incoming").iterdir()))
            note(f"after {name!r} the page is gone", sender.get("/")[0] == 200)
        for number in range(30):
            sender.leave(f"cut-{number}.gpx", 0.0, share=1 + 30_000 * number)
        time.sleep(2.0)  # all of them have been noticed as gone
        standing = [
            threading.Thread(target=sender.leave, args=(f"still-{number}.gpx", 6.0))
            for number in range(8)
        ]
        for one in standing:
            one.start()
        time.sleep(3.0)
        status, said = sender.put("ninth.gpx", iter([b"log"]), 3)
        print(f"a ninth beside eight that stand still: {status}, {said.get('problem')}")
        note("the ninth was let in", status == 503)
        for one in standing:
            one.join()
        time.sleep(1.0)
        note("an upload that broke off left a part", not list((folder / "incoming").iterdir()))
        note("after aborted uploads the page is gone", sender.get("/")[0] == 200)
        print(f"30 cut short, 8 stood still: {memory.reading()} MiB")
        for what, given, due in foreign(sender):
            print(f"{what}: {given}")
            note(f"{what} was answered with {given}, not {due}", given == due)
        strangers = [path.name for path in folder.rglob("*") if "cron" in path.name]
        note(f"files outside their names: {strangers}", not strangers)
        served.stop()
        said_at_last = served.errors.read_text()
        note(f"the server wrote: {said_at_last[-500:]}", "Traceback" not in said_at_last)
    print(f"{len(faults)} faults")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
