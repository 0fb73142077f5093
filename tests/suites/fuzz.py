"""Requests that no page of ours sends, over every route: is any answered by 500? On request.

    python tests/suites/fuzz.py [--requests 10000] [--seed N] [--record]

Routes, methods, numbers, queries, headers, cookies, tokens and bodies are drawn at random from what
is right, nearly right and wrong, as a browser of this machine with and without its cookie, as a
telephone that showed a code and as one that did not. An exception that leaves the application
counts as a mistake too, and so does a page that calls one of ridelog's. Ends with 1 if there was
any.
"""

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import numpy as np
from record import Record, add_options

ROOT = Path(__file__).resolve().parents[2]
sys.path += [str(ROOT / "tests" / "web")]

from visitor import (  # noqa: E402  (needs the path above)
    HOST,
    LAN_HOST,
    SAMPLES,
    Visitor,
    app_in,
    queue_of,
    short_log,
    wait_until_measured,
)

from ridelog.book.book import Book  # noqa: E402
from ridelog.web.app import routes  # noqa: E402

METHODS = ("GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH", "TRACE", "X")
# Numbers and words at the edges of what int, float, str.isdigit, SQLite, clocks and paths take:
# superscripts are digits to str.isdigit and none to int; 2**63 is beyond SQLite's integers.
WORDS = (
    "", " ", "0", "1", "2", "3", "-1", "00", "1.5", "1e9", "nan", "inf", "-inf", "²", "٣", "½",
    "１", "99999", str(2**31), str(2**63), str(2**64), "9" * 40, "1_0", "0x1", "+1", "null", "None",
    "true", "x", "M" * 80, "M" * 81, "M" * 200, "M" * 201, "M" * 5000, "..", "../..", "/",
    "//evil.example",
    "\\", "%", "%00", "%2e%2e", "\x00", "\r\nset-cookie: a=b", "<script>alert(1)</script>", "'\"`",
    "{{ 7 * 7 }}", "'; DROP TABLE ride; --", "\ud800", "\u202e", "é" * 90, "🛵", "1:23", "0:20.1",
    "1:2:3:4", "2024-06-09", "0000-00-00", "9999-99-99", "kmh", "mph", "knots", "yes", "reverse",
    "left_out", "a4", "us-letter", "front_teeth=11", "rear_teeth", "front_teeth=²", "[masses]\nx=1",
    "= 1", "name = \"x\"", "sheet.pdf", "page.css", "result.json", "app.py", "rear_teeth=56",
)  # fmt: skip
NAMES = (
    "find", "machine", "page", "before", "after", "ride", "workshop", "note", "paper", "asked",
    "saved", "more", "sweep", "changes", "front_teeth", "rear_teeth", "battery_cells",
    "battery_limit_a", "shade", "from", "to", "columns", "name", "back", "token", "code", "unit",
    "kind", "start", "end", "mark", "task", "sure", "setup", "since", "toml", "rider", "wind", "x",
    "model_config", "__class__", "start_s", "",
)  # fmt: skip
SLOW = ("/report.html", "/what-if", "/compare", "/compare/{name}", "/again", "/marks")
HEADERS = (
    ("origin", ("null", "http://evil.example", f"http://{HOST}", f"https://{LAN_HOST}", "", "é")),
    ("referer", ("http://evil.example/", f"http://{HOST}/machines", "", "x")),
    ("sec-fetch-site", ("none", "same-origin", "same-site", "cross-site", "x", "")),
    ("sec-fetch-mode", ("navigate", "no-cors", "cors", "x")),
    ("accept", ("application/json", "text/html", "", "*/*;q=²")),
    ("content-type", ("application/x-www-form-urlencoded", "multipart/form-data", "text/plain")),
    ("content-length", ("0", "-1", "²", "9" * 30, "x")),
    ("cookie", ("", "x", "ridelog_8437=", "ridelog_8437=²", "ridelog_8437=a.b", "=;", "a" * 9000)),
    ("x-forwarded-for", ("127.0.0.1", "evil")),
    ("x-ridelog-token", ("", "x", "²")),
    ("host", ("", "evil.example", "127.0.0.1", "localhost:8437", "[::1]:8437", ":", "²")),
    ("range", ("bytes=0-", "bytes=9-1", "x")),
)  # fmt: skip


class Fuzzer:
    """Draws requests for one application."""

    def __init__(self, rng: np.random.Generator) -> None:
        self._rng = rng
        self._routes = [(route.path, sorted(route.methods or ())) for route in routes()]

    def one_of(self, things: Any) -> Any:
        """Return one of some things."""
        return things[int(self._rng.integers(len(things)))]

    def chance(self, share: float) -> bool:
        """Return True in such a share of times."""
        return bool(self._rng.random() < share)

    def word(self) -> str:
        """Return a word at some edge, or two of them in one."""
        word = self.one_of(WORDS)
        return word + self.one_of(WORDS) if self.chance(0.05) else str(word)

    def address(self) -> tuple[str, str]:
        """Return a method and an address: a route's, numbers that may be there, any query."""
        path, methods = self.one_of(self._routes)
        if self.chance(0.9) and path.endswith(SLOW):  # seconds of computing each
            path, methods = self.one_of(self._routes)
        method = self.one_of(methods if self.chance(0.9) else METHODS)
        while "{" in path:
            before, _, rest = path.partition("{")
            after = rest.partition("}")[2]
            value = self.one_of(("1", "2")) if self.chance(0.75) else self.word()
            path = before + quote(value.encode("utf-8", "replace"), safe="/²") + after
        if self.chance(0.05):
            path += quote(self.word().encode("utf-8", "replace"))
        path = path.encode("ascii", "replace").decode()
        return method, f"{path}?{self.form(4)}" if self.chance(0.6) else path

    def form(self, most: int, **given: str) -> str:
        """Return a few fields as a form or a query writes them."""
        count = int(self._rng.integers(most + 1))
        fields = [(self.one_of(NAMES), self.word()) for _ in range(count)]
        return urlencode([*given.items(), *fields], errors="replace")

    def ask(self, visitor: Visitor, *, careful: bool) -> tuple[str, str, int, str]:
        """Send one request; return method, path, status and what it said.

        ``careful`` ones carry what our own pages send beside the values that are drawn.
        """
        method, path = self.address()
        headers = {}
        body = bytes(self._rng.integers(0, 256, int(self._rng.integers(300)), dtype=np.uint8))
        if careful:
            headers = {
                "origin": f"{visitor.scheme}://{visitor.host}",
                "content-type": "application/x-www-form-urlencoded",
                "x-ridelog-token": visitor.token,
            }
            if method != "PUT" or self.chance(0.1):
                body = self.form(8, token=visitor.token).encode()
        for name, values in HEADERS:
            if self.chance(0.02 if careful else 0.2):
                headers[name] = self.one_of(values).encode("latin-1", "replace").decode("latin-1")
        answer = visitor.ask(method, path, body, headers=headers, leaves=self.chance(0.02))
        return method, path, answer.status, answer.body[:20_000].decode("utf-8", "replace")


def workshop(folder: Path) -> Any:
    """Return an application on a book with two measured rides, a machine and two set-ups."""
    app = app_in(folder, lan=True)
    queue_of(app).start()
    visitor = Visitor(app)
    visitor.get("/")
    for name in ("before-2.nmea", "after-2.nmea"):
        assert visitor.put(name, short_log(name)).status == 202
    wait_until_measured(visitor, 600.0)
    toml = (SAMPLES / "thistledrake-before.toml").read_text(encoding="utf-8")
    with Book(folder) as book:
        for ride, setup in ((1, "64 teeth"), (2, "56 teeth")):
            book.assign(ride, "Thistledrake 2", setup)
        book.machines.change_setup(1, name="64 teeth", since_utc="", toml=toml)
    return app


def telephone(app: Any, address: str) -> Visitor:
    """Return a telephone that has come in with a code of this machine's page."""
    local, phone = Visitor(app), Visitor(app, LAN_HOST, address, "https")
    local.get("/phone")
    code = local.post("/phone/code").text.partition('class="code">')[2][:8]
    assert phone.post("/enter", code=code).status == 303
    phone.get("/")
    return phone


def main() -> None:
    """Draw requests, count answers."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--requests", type=int, default=10_000)
    add_options(parser, "fuzz")
    chosen = parser.parse_args()
    record = Record("fuzz", chosen, rides=chosen.requests)
    fuzzer = Fuzzer(np.random.default_rng(chosen.seed))
    counts: dict[str, Counter[str]] = {}
    mistakes = 0
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "book"
        app = workshop(folder)
        owner, phone = Visitor(app), telephone(app, "192.168.7.44")
        owner.get("/")
        start = time.monotonic()
        for number in range(chosen.requests):
            address = f"192.168.{7 + number % 200}.{1 + number % 250}"  # below what one may ask
            who, visitor = (
                ("this machine, with its cookie", owner),
                ("this machine, without", Visitor(app)),
                ("telephone, let in", phone),
                ("telephone, not let in", Visitor(app, LAN_HOST, address, "https")),
            )[number % 4]
            phone.client = f"192.168.6.{1 + number // 4 % 250}"
            seen = counts.setdefault(who, Counter())
            cookies, token = dict(visitor.cookies), visitor.token
            try:
                method, path, status, said = fuzzer.ask(visitor, careful=fuzzer.chance(0.7))
            except Exception as error:
                method, path, status, said = "", "", 500, repr(error)
            visitor.cookies, visitor.token = cookies, token
            seen["requests"] += 1
            seen[f"{status // 100}xx"] += 1
            if status == 500 or status < 200 or "made a mistake here" in said:
                seen["mistakes"] += 1
                mistakes += 1
                print(f"  MISTAKE {status} {who}: {method} {path[:300]}: {said[-300:]}")
            if number % 1000 == 999:
                print(f"  {number + 1} requests, {time.monotonic() - start:.0f} s", flush=True)
        queue_of(app).stop()
    for who, seen in counts.items():
        record.add(
            sender=who, requests=seen["requests"], answered=seen["2xx"], led_on=seen["3xx"],
            refused=seen["4xx"], busy=seen["5xx"] - seen["mistakes"], mistakes=seen["mistakes"],
        )  # fmt: skip
    record.save()
    sys.exit(1 if mistakes else 0)


if __name__ == "__main__":
    main()
