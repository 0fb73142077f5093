"""Killed at random instants, does anything acknowledged get lost? On request.

    python tests/suites/kills.py [--kills 50] [--uploads 50] [--seed N]

First part: a process that adds logs to a book is killed again and again. Second part: the workshop
page itself is killed while logs come in over HTTP, then started again on the same book; after every
kill each acknowledged ride must be there, each original must match its hash, and nothing
half-written may show. Prints how many rides were acknowledged and lost (none may be).
"""

import argparse
import hashlib
import http.client
import json
import re
import secrets
import sys
import tempfile
import threading
import time
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path += [str(ROOT / "tests" / "book"), str(ROOT / "tests" / "web")]

from killed import add_until_killed, check_after_kills  # noqa: E402  (needs the path above)
from live_page import Served  # noqa: E402

from ridelog.book.book import Book  # noqa: E402

LOG = (ROOT / "sample_tracks" / "before-2.nmea").read_bytes()


class Uploader(threading.Thread):
    """Sends one log after the other until the page is gone; keeps the hashes it was promised."""

    def __init__(self, base: str, first: int, most: int) -> None:
        super().__init__()
        self._host = urlsplit(base).netloc
        self._numbers = range(first, first + most)
        self.promised: list[str] = []

    def run(self) -> None:
        """Send logs."""
        try:
            cookie, token = come_in(self._host)
            for number in self._numbers:
                data = LOG + b"\r\n# upload %d" % number
                link = http.client.HTTPConnection(self._host, timeout=20)
                link.request(
                    "PUT",
                    f"/logs?{urlencode({'name': f'{number}.nmea'})}",
                    data,
                    {
                        "Cookie": cookie,
                        "Origin": f"http://{self._host}",
                        "x-ridelog-token": token,
                    },
                )
                answer = link.getresponse()
                said = json.loads(answer.read())
                link.close()
                if answer.status == 202:
                    assert said["sha256"] == hashlib.sha256(data).hexdigest()
                    self.promised.append(said["sha256"])
        except (OSError, http.client.HTTPException, ValueError):
            return  # killed, as intended


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


def kill_the_page(folder: Path, uploads: int, rng: np.random.Generator) -> tuple[int, int]:
    """Return how many uploads were promised and how many kills it took."""
    promised: list[str] = []
    kills = number = 0
    while len(promised) < uploads:
        served = Served(folder)
        senders = [Uploader(served.base, number + 1000 * k, 1000) for k in range(3)]
        number += 10_000
        for sender in senders:
            sender.start()
        deadline = time.monotonic() + 20.0
        while time.monotonic() < deadline and not any(s.promised for s in senders):
            time.sleep(0.005)
        time.sleep(float(rng.uniform(0.0, 0.25)))
        served.kill()
        kills += 1
        for sender in senders:
            sender.join()
            promised += sender.promised
        check_after_kills(folder, promised)
    return len(promised), kills


def main() -> None:
    """Kill, restart, count."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=50)
    parser.add_argument("--uploads", type=int, default=50)
    parser.add_argument("--seed", type=int, default=secrets.randbelow(10**6))
    given = parser.parse_args()
    print(f"seed {given.seed}")
    rng = np.random.default_rng(given.seed)
    with tempfile.TemporaryDirectory() as place:
        folder, promised = Path(place) / "adding", []
        for number in range(given.kills):
            promised += add_until_killed(folder, str(number), float(rng.uniform(0.0, 0.1)))
            check_after_kills(folder, promised)
        print(f"adding: {given.kills} kills, {len(promised)} rides acknowledged, 0 lost")
        count, kills = kill_the_page(Path(place) / "page", given.uploads, rng)
        with Book(Path(place) / "page") as book:
            there = book.rides.count()
        print(f"uploading: {kills} kills, {count} uploads acknowledged, 0 lost ({there} rides)")


if __name__ == "__main__":
    main()
