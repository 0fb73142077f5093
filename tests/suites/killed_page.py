"""The workshop page killed while logs come in over HTTP and are measured; for kills.py."""

import hashlib
import http.client
import json
import re
import sys
import threading
import time
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "tests" / "web"))

from live_page import Served  # noqa: E402  (needs the path above)

from ridelog.book.book import Book  # noqa: E402
from ridelog.book.check import check_book  # noqa: E402

LINES = (ROOT / "sample_tracks" / "before-2.nmea").read_bytes().splitlines(keepends=True)[:60]


class Uploader(threading.Thread):
    """Sends one log after the other until the page is gone; keeps what it was promised.

    ``promised`` holds the hashes, ``written`` the hashes of rides whose note was acknowledged.
    """

    def __init__(self, base: str, first: int) -> None:
        super().__init__()
        self._host = urlsplit(base).netloc
        self._first = first
        self.promised: list[str] = []
        self.written: list[str] = []

    def run(self) -> None:
        """Send logs and a note on each."""
        try:
            cookie, token = come_in(self._host)
            ours = {"Cookie": cookie, "Origin": f"http://{self._host}"}
            for number in range(self._first, self._first + 1000):
                data = b"".join(LINES) + b"\r\n# upload %d" % number
                place = f"/logs?{urlencode({'name': f'{number}.nmea'})}"
                status, body = ask(
                    self._host, "PUT", place, data, {**ours, "x-ridelog-token": token}
                )
                if status != 202:
                    continue
                said = json.loads(body)
                assert said["sha256"] == hashlib.sha256(data).hexdigest()
                self.promised.append(said["sha256"])
                form = urlencode({"token": token, "note": f"note {number}"}).encode()
                kind = {"Content-Type": "application/x-www-form-urlencoded"}
                place = f"/rides/{said['ride']}/details"
                if ask(self._host, "POST", place, form, {**ours, **kind})[0] == 303:
                    self.written.append(said["sha256"])
        except (OSError, http.client.HTTPException, ValueError):
            return  # killed, as intended


def ask(
    host: str, method: str, place: str, data: bytes, headers: dict[str, str]
) -> tuple[int, bytes]:
    """Ask the page once; return status and body."""
    link = http.client.HTTPConnection(host, timeout=20)
    try:
        link.request(method, place, data, headers)
        answer = link.getresponse()
        return answer.status, answer.read()
    finally:
        link.close()


def come_in(host: str) -> tuple[str, str]:
    """Return the cookie and the token of a browser that opens the page."""
    link = http.client.HTTPConnection(host, timeout=20)
    link.request("GET", "/")
    answer = link.getresponse()
    page = answer.read().decode()
    link.close()
    cookie = (answer.getheader("set-cookie") or "").split(";")[0]
    found = re.search(r'data-token="([^"]+)"', page)
    assert found
    return cookie, found[1]


def kill_the_page(place: Path, kills: int, rng: np.random.Generator) -> dict[str, int]:
    """Kill the page again and again, each time started on the same book; return what came of it."""
    folder = place / "book"
    promised: list[str] = []
    written: list[str] = []
    wrong = 0
    for number in range(kills):
        served = Served(folder)
        senders = [Uploader(served.base, 10_000 * number + 1000 * k) for k in range(2)]
        for sender in senders:
            sender.start()
        deadline = time.monotonic() + 20.0
        while time.monotonic() < deadline and not any(s.promised for s in senders):
            time.sleep(0.005)
        time.sleep(float(rng.uniform(0.0, 0.5)))
        served.kill()
        for sender in senders:
            sender.join()
            promised += sender.promised
            written += sender.written
        if (number + 1) % 10 == 0:
            print(f"  serve: {number + 1} kills, {wrong} with a loss", flush=True)
        lost = _lost(folder, promised, written)
        if lost:
            wrong += 1
            print(f"  FAULT: after kill {number + 1} of the page: {lost[:3]}", flush=True)
    return {
        "kills": kills,
        "with_a_loss": wrong,
        "uploads": len(promised),
        "notes": len(written),
        "measured": _measured(folder),
    }


def _lost(folder: Path, promised: list[str], written: list[str]) -> list[str]:
    with Book(folder) as book:
        lost = [f"ride {one}" for one in promised if book.rides.by_hash(one) is None]
        for one in written:
            ride = book.rides.by_hash(one)
            if ride is None or not book.details.notes(ride.id):
                lost.append(f"note of {one}")
    # A log whose upload was never acknowledged may lie there without a ride.
    named = [fault.what for fault in check_book(folder).faults]
    return lost + [what for what in named if not what.endswith("belongs to no ride.")]


def _measured(folder: Path) -> int:
    with Book(folder) as book:
        return len([ride for ride in book.rides.found(most=100_000) if ride.state == "ready"])
