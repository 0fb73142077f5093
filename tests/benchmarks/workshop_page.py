"""How fast the workshop page answers, on request.

    python tests/benchmarks/workshop_page.py [--fixes 36000] [--rides 1000]

Measured against the page in a process of its own: from the end of the upload of a long log to its
first figures and to its whole result; a zoom into its trace; and with many rides in the book, the
list, a search and a machine's history. Prints seconds (aims: 3 s and 0.300 s).
"""

import argparse
import http.client
import json
import re
import sys
import tempfile
import time
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path += [str(ROOT / "tests" / "web"), str(ROOT / "tests" / "suites")]

from live_page import Served, browser  # noqa: E402  (needs the path above)
from random_rides import out_and_back  # noqa: E402
from receiver_presets import preset  # noqa: E402
from simulate import Place, gpx_text  # noqa: E402

from ridelog.book.book import Book  # noqa: E402
from ridelog.book.records import NewResult  # noqa: E402
from ridelog.core.estimate import Estimate  # noqa: E402

_DAY = 20
_WIDTHS = (360, 390, 1280)
_PAGES = (
    "/", "/rides/1", "/machines", "/machines/1", "/machines/1/setups/1",
    "/machines/1/setups/1/what-if", "/machines/1/setups/1/options",
    "/compare?before=1&before=2&after=4&after=5",
)  # fmt: skip


class Link:
    """One browser's connection, with its cookie and token."""

    def __init__(self, base: str) -> None:
        self.host = urlsplit(base).netloc
        self.cookie = ""
        page = self.ask("GET", "/")[1].decode()
        found = re.search(r'data-token="([^"]+)"', page)
        assert found
        self.token = found[1]

    def ask(self, method: str, path: str, body: bytes = b"") -> tuple[int, bytes]:
        """Return status and body of an answer."""
        link = http.client.HTTPConnection(self.host, timeout=300)
        headers = {"Cookie": self.cookie, "Origin": f"http://{self.host}"}
        if method != "GET":
            headers["x-ridelog-token"] = self.token
        link.request(method, path, body, headers)
        answer = link.getresponse()
        data = answer.read()
        cookie = answer.getheader("set-cookie")
        self.cookie = cookie.split(";")[0] if cookie else self.cookie
        link.close()
        return answer.status, data

    def timed(self, path: str, times: int = 7) -> float:
        """Return the median time of an answer. [s]"""
        seconds = []
        for _ in range(times):
            start = time.perf_counter()
            status, _ = self.ask("GET", path)
            seconds.append(time.perf_counter() - start)
            assert status == 200, path
        return float(np.median(seconds))


def long_log(fixes: int) -> bytes:
    """Return a GPX log of so many fixes at 10 Hz, made of a ride repeated."""
    rng = np.random.default_rng(7)
    ride = out_and_back(rng, plateau_s=20.0)
    log = preset("clean", 10.0, rng, reports_speed=True).observe(ride.truth, rng)
    text = gpx_text(log, Place())
    head, _, rest = text.partition("<trkpt")
    points = re.findall(r"<trkpt.*?</trkpt>", "<trkpt" + rest, flags=re.DOTALL)
    tail = rest.rpartition("</trkpt>")[2]
    start = np.datetime64("2024-06-08T09:00:00", "ms")
    rows = []
    for number in range(fixes):
        moment = start + np.timedelta64(100 * number, "ms")
        point = points[number % len(points)]
        rows.append(re.sub(r"<time>.*?</time>", f"<time>{moment}Z</time>", point))
    return (head + "\n".join(rows) + tail).encode()


def upload(link: Link, fixes: int) -> None:
    """Print the times of one long log."""
    data = long_log(fixes)
    time.sleep(6.0)  # the worker has loaded what it needs, as it has when a person comes
    start = time.perf_counter()
    status, said = link.ask("PUT", "/logs?name=long.gpx", data)
    sent = time.perf_counter()
    assert status == 202, said
    ride = json.loads(said)["ride"]
    shown: dict[str, float] = {}
    while "done" not in shown:
        task = json.loads(link.ask("GET", "/tasks")[1])[-1]
        assert task["state"] != "failed", task
        for name, there in (
            ("first", task["first"]),
            ("result", task["state"] in ("drawing", "done")),
            ("done", task["state"] == "done"),
        ):
            if there and name not in shown:
                shown[name] = time.perf_counter() - sent
        time.sleep(0.02)
    print(f"{fixes:,} fixes, {len(data) / 1e6:.1f} MB: upload {sent - start:.2f} s, then")
    print(f"  first figures after {shown['first']:.2f} s (bar 3 s)")
    print(f"  all figures after {shown['result']:.2f} s, page drawn after {shown['done']:.2f} s")
    print(f"  the page of the ride answers in {link.timed(f'/rides/{ride}'):.3f} s")
    print(f"  its charts in {link.timed(f'/rides/{ride}/chart'):.3f} s")
    whole = link.timed(f"/rides/{ride}/trace?columns=2000")
    close = link.timed(f"/rides/{ride}/trace?from=600&to=660&columns=2000")
    print(f"  its trace, whole {whole:.3f} s and a minute of it {close:.3f} s")


def day(link: Link) -> None:
    """Print the times of twenty logs that come in at once, of one machine in two set-ups."""
    samples = sorted((ROOT / "sample_tracks").glob("*-?.*"))
    samples = [path for path in samples if path.suffix in (".gpx", ".nmea")]
    time.sleep(6.0)  # as above
    start = time.perf_counter()
    for number in range(_DAY):
        path = samples[number % len(samples)]
        # The same log again would be the same ride; space after it changes nothing that is read.
        data = path.read_bytes() + b"\r\n" * (number // len(samples))
        setup = "64+teeth" if path.name.startswith("before") else "56+teeth"
        said = f"machine_name=Thistledrake+2&setup_name={setup}&name={number}-{path.name}"
        status, answer = link.ask("PUT", f"/logs?{said}", data)
        assert status == 202, answer
    shown = {"first figures": 0.0, "all figures": 0.0, "pictures": 0.0}
    while not all(shown.values()):
        tasks = json.loads(link.ask("GET", "/tasks")[1])
        assert all(task["state"] != "failed" for task in tasks), tasks
        there = {
            "first figures": all(task["first"] for task in tasks),
            "all figures": all(task["state"] in ("drawing", "done") for task in tasks),
            "pictures": all(task["state"] == "done" for task in tasks),
        }
        now = time.perf_counter() - start
        shown = {name: shown[name] or (now if there[name] else 0.0) for name in shown}
        time.sleep(0.02)
    words = ", ".join(f"{name} of all {seconds:.1f} s" for name, seconds in shown.items())
    print(f"{_DAY} logs of 4 minutes: {words}")


def heights(base: str) -> None:
    """Print how high the pages of that day are, and what sticks out to the side."""
    with browser() as opened:
        for width in _WIDTHS:
            page = opened.new_page(viewport={"width": width, "height": 800})
            for path in _PAGES:
                page.goto(base + path, timeout=300_000)
                if path.startswith("/rides/"):
                    page.locator("#charts[data-drawn]").wait_for(timeout=60_000)
                high, wide = page.evaluate(
                    "[document.documentElement.scrollHeight, document.documentElement.scrollWidth]"
                )
                print(f"  {path} at {width} px: {high} px" + (" (too wide)" * (wide > width)))
            page.close()


def fill(folder: Path, rides: int) -> None:
    """Put rides with figures into a book, as an hour-long season would leave them."""
    rng = np.random.default_rng(8)
    document = {"schema": "ridelog.ride/2", "filler": ["x" * 40] * 250}
    with Book(folder) as book:
        machines = [book.machines.named(f"Machine {k}") for k in range(4)]
        for number in range(rides):
            ride, _ = book.rides.add(book.store(b"log %d" % number), f"ride-{number}.gpx")
            day = np.datetime64("2022-01-01T09:00:00") + np.timedelta64(17 * number, "h")
            book.rides.describe(ride.id, format="gpx-1.1", start_utc=f"{day}Z", duration_s=600.0)
            machine = machines[number % 4]
            setup = book.machines.setup_named(machine.id, f"{9 + number // 100 % 5} teeth")
            book.rides.move(ride.id, machine.id, setup.id)
            book.details.set_conditions(ride.id, {"rider": f"Rider {number % 9}", "wind": "west"})
            top = float(rng.normal(10.0, 0.5))
            book.results.put(
                ride.id,
                NewResult(
                    "0.1.0", {}, document, {"best_1s_mps": Estimate(top, top - 0.1, top + 0.1)},
                    {"trace": bytes(40_000)},
                ),
            )  # fmt: skip


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fixes", type=int, default=36_000)
    parser.add_argument("--rides", type=int, default=1_000)
    parser.add_argument("--only", choices=("day", "book"))
    given = parser.parse_args()
    if given.only != "book":
        with tempfile.TemporaryDirectory() as place:
            served = Served(Path(place) / "book")
            try:
                day(Link(served.base))
                heights(served.base)
            finally:
                served.stop()
    if given.only == "day":
        return
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "book"
        fill(folder, given.rides)
        served = Served(folder)
        try:
            link = Link(served.base)
            print(f"{given.rides:,} rides in the book (bar 0.300 s each):")
            for name, path in (
                ("list", "/"),
                ("last page of the list", f"/?page={-(-given.rides // 50)}"),
                ("search", "/?find=teeth+rider+3"),
                ("search that finds nothing", "/?find=nothing+like+this"),
                ("machines", "/machines"),
                ("a machine's history", "/machines/1"),
            ):
                print(f"  {name}: {link.timed(path):.3f} s")
            upload(link, given.fixes)
        finally:
            served.stop()


if __name__ == "__main__":
    main()
