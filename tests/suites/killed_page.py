"""The workshop page killed while logs come in over HTTP and are measured; for kills.py."""

import hashlib
import http.client
import json
import re
import subprocess
import sys
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "tests" / "web"))

from visitor import short_log  # noqa: E402  (needs the path above)

from ridelog.book.book import Book  # noqa: E402
from ridelog.book.check import check_book  # noqa: E402
from ridelog.workflow.book_ride import settings_of  # noqa: E402

# Fixes of a log: as few as have figures of several subjects, so that measuring is short.
FIXES = 150
MACHINE, SENDERS = "Thistledrake 2", 2
_MARK = ("left_out", 1.0, 2.0)


def log_bytes(number: int) -> bytes:
    """Return a log of its own for each number; all of them are of the same ride."""
    return short_log("after-2.nmea", FIXES) + b"\r\n# upload %d" % number


@dataclass
class Sent:
    """One log that an owner means to keep, and what the page has acknowledged of it."""

    number: int
    ride: int | None = None
    note: bool = False
    mark: bool = False

    @property
    def data(self) -> bytes:
        """The log."""
        return log_bytes(self.number)

    @property
    def done(self) -> bool:
        """Whether everything was acknowledged."""
        return self.ride is not None and self.note and self.mark


class Sender(threading.Thread):
    """Sends logs, and a note and a mark of each, until all are acknowledged or the page is gone."""

    def __init__(self, base: str, logs: list[Sent]) -> None:
        super().__init__()
        self._host = urlsplit(base).netloc
        self._logs = logs

    def run(self) -> None:
        """Send what is not acknowledged yet, as an owner does again after a break."""
        with suppress(OSError, http.client.HTTPException):  # killed, as intended
            self._ours, self._token = come_in(self._host)
            for sent in self._logs:
                self._send(sent)

    def _send(self, sent: Sent) -> None:
        if sent.ride is None:
            place = f"/logs?{urlencode({'name': f'{sent.number}.nmea', 'machine_name': MACHINE})}"
            headers = {**self._ours, "x-ridelog-token": self._token}
            status, body = ask(self._host, "PUT", place, sent.data, headers)
            assert status in (200, 202), (status, body)
            said = json.loads(body)
            assert said["sha256"] == hashlib.sha256(sent.data).hexdigest()
            sent.ride = said["ride"]
        kind, start_s, end_s = _MARK
        at = f"/rides/{sent.ride}"
        if not sent.note:
            # With the machine, which this form would take back without it.
            note = {"note": f"note {sent.number}", "machine": MACHINE}
            sent.note = self._form(f"{at}/details", **note)
        if not sent.mark:
            mark = {"kind": kind, "start": str(start_s), "end": str(end_s)}
            sent.mark = self._form(f"{at}/marks", **mark)

    def _form(self, place: str, **fields: str) -> bool:
        form = urlencode({"token": self._token, **fields}).encode()
        headers = {**self._ours, "Content-Type": "application/x-www-form-urlencoded"}
        status, body = ask(self._host, "POST", place, form, headers)
        assert status == 303, (status, body)
        return True


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


def come_in(host: str) -> tuple[dict[str, str], str]:
    """Return the headers and the token of a browser that opens the page."""
    link = http.client.HTTPConnection(host, timeout=20)
    link.request("GET", "/")
    answer = link.getresponse()
    page = answer.read().decode()
    link.close()
    cookie = (answer.getheader("set-cookie") or "").split(";")[0]
    found = re.search(r'data-token="([^"]+)"', page)
    assert found
    return {"Cookie": cookie, "Origin": f"http://{host}"}, found[1]


class Page:
    """A page of a process of its own that may be killed before it says where it is."""

    def __init__(self, folder: Path, logs: list[Sent]) -> None:
        self._errors = folder.with_name("errors.txt").open("ab")
        self.process = subprocess.Popen(
            [sys.executable, "-m", "ridelog", "serve", "--book", str(folder), "--port", "0"],
            stdout=subprocess.PIPE, stderr=self._errors, text=True, cwd=ROOT,
        )  # fmt: skip
        self.base = ""
        self._logs = logs
        self._senders: list[Sender] = []
        self._opener = threading.Thread(target=self._open)
        self._opener.start()

    def _open(self) -> None:
        assert self.process.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+", self.process.stdout.readline())
        if found:
            self._senders = [Sender(found[0], self._logs[k::SENDERS]) for k in range(SENDERS)]
            for sender in self._senders:
                sender.start()
            self.base = found[0]

    def all_sent(self) -> None:
        """Wait until the senders have come to their end."""
        self._opener.join()
        for sender in self._senders:
            sender.join()

    def kill(self) -> None:
        """End the process at once, as a power cut would."""
        self.process.kill()
        self.all_sent()
        self.process.wait(timeout=30)
        assert self.process.stdout is not None
        self.process.stdout.close()
        self._errors.close()


def kill_the_page(place: Path, kills: int, rng: np.random.Generator) -> dict[str, int]:
    """Kill the page again and again, each time started on the same book; return what came of it.

    Each start gets two new logs and whatever the one before did not acknowledge. The instants are
    drawn from the whole way: loading, taking logs in, measuring them, drawing their pages.
    """
    folder = place / "book"
    logs = [Sent(number) for number in range(SENDERS)]
    start = time.monotonic()
    page = Page(folder, logs)
    page.all_sent()
    _all_measured(page.base)
    lasts_s = time.monotonic() - start
    page.kill()
    wrong = _look(folder, logs, 0)
    for number in range(kills):
        logs += [Sent(len(logs) + k) for k in range(SENDERS)]
        page = Page(folder, [sent for sent in logs if not sent.done])
        time.sleep(float(rng.uniform(0.0, lasts_s)))
        page.kill()
        wrong += _look(folder, logs, number + 1)
        if (number + 1) % 10 == 0:
            print(f"  serve: {number + 1} kills, {wrong} with a loss", flush=True)
    page = Page(folder, [sent for sent in logs if not sent.done])
    page.all_sent()
    for sent in logs:  # figures of before a mark follow once their ride is looked at
        ask(urlsplit(page.base).netloc, "GET", f"/rides/{sent.ride}", b"", {})
    _all_measured(page.base)
    page.kill()
    wrong += _look(folder, logs, kills + 1, whole=True)
    return {"kills": kills, "with_a_loss": wrong, "logs": len(logs)}


def _all_measured(base: str) -> None:
    while True:
        found = ask(urlsplit(base).netloc, "GET", "/tasks", b"", {})[1]
        if all(task["state"] in ("done", "failed") for task in json.loads(found)):
            return
        time.sleep(0.5)


def _look(folder: Path, logs: list[Sent], kill: int, *, whole: bool = False) -> int:
    """Return 1 if anything is lost that was acknowledged; all of it was in the end."""
    try:
        lost = _lost(folder, logs, whole)
    except Exception as error:  # whatever stops the look is a loss as well
        lost = [repr(error)]
    if lost:
        print(f"  FAULT: after kill {kill} of the page: {lost[:3]}", flush=True)
    return bool(lost)


def _lost(folder: Path, logs: list[Sent], whole: bool) -> list[str]:
    if not folder.exists():
        return []
    lost = []
    seen: list[Any] = []
    with Book(folder) as book:
        for sent in logs:
            ride = book.rides.by_hash(hashlib.sha256(sent.data).hexdigest())
            if ride is None:
                lost += [f"ride {sent.number}"] * (sent.ride is not None or whole)
                continue
            if book.original(ride.sha256) != sent.data:
                lost.append(f"log {sent.number}")
            if ride.machine != MACHINE:
                lost.append(f"machine of {sent.number}")
            if sent.note and f"note {sent.number}" not in {
                note.words for note in book.details.notes(ride.id)
            }:
                lost.append(f"note of {sent.number}")
            marks = {(mark.kind, mark.start_s, mark.end_s) for mark in book.details.marks(ride.id)}
            if sent.mark and _MARK not in marks:
                lost.append(f"mark of {sent.number}")
            result = book.results.latest(ride.id)
            if whole and (result is None or ride.state != "ready" or not sent.done):
                lost.append(f"figures of {sent.number}")
            elif whole and result is not None:
                # A mark that was sent again, its answer being lost, leaves out the same second.
                if result.settings["left_out_s"] != settings_of(book, ride).as_json()["left_out_s"]:
                    lost.append(f"the mark in the figures of {sent.number}")
                seen.append(book.results.figures([ride.id])[ride.id])
    lost += ["figures differ" for one in seen if one != seen[0] or not one]
    # A log whose upload was never acknowledged may lie there without a ride until it is sent again.
    named = [fault.what for fault in check_book(folder).faults]
    return lost + [what for what in named if whole or not what.endswith("belongs to no ride.")]
