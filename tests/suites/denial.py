"""Those who only want to be in the way: does the owner's page still answer? On request.

    python tests/suites/denial.py [--hold 8] [--seed N] [--record]

Runs itself in a network of its own (Linux, `unshare`), where the page stands at one address and
attackers, owner and the owner's telephone at others. Connections that idle, stop in the middle of a
request, of a handshake or of a form; requests without a cookie; another site's requests for the
comparison; wrong codes; forged headers. During each the owner's page and the telephone's are asked
for again and again over new connections, from other addresses and from the attacker's own. Ends
with 1 if one took two seconds, if a session ended, or if anything was let in or computed.
"""

import argparse
import contextlib
import http.client
import multiprocessing
import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from functools import partial
from multiprocessing.synchronize import Event
from pathlib import Path
from urllib.parse import urlencode, urlsplit

from record import Record, add_options

ROOT = Path(__file__).resolve().parents[2]
sys.path += [str(ROOT / "tests" / "web")]

from live_page import Served  # noqa: E402  (needs the path above)
from visitor import short_log  # noqa: E402

from ridelog.web.admission import CODE_LIFE_S  # noqa: E402

LOCAL, PAGE, ATTACKER, PHONE, OTHER = (
    "127.0.0.1",
    "10.77.0.1",
    "10.77.0.2",
    "10.77.0.3",
    "10.77.0.4",
)
LONGEST_S = 2.0
COMPARISON = "/compare?before=1&after=2"
INSIDE = "RIDELOG_DENIAL_INSIDE"


def enter_a_network_of_its_own() -> None:
    """Start this suite again where addresses can be had freely; return once it runs there."""
    if INSIDE in os.environ:
        for words in (
            "link set lo up",
            *(f"addr add {address}/24 dev lo" for address in (PAGE, ATTACKER, PHONE, OTHER)),
            # RFC 5737: where ridelog looks to learn its own address.
            f"route add 192.0.2.0/24 dev lo src {PAGE}",
        ):
            subprocess.run(["ip", *words.split()], check=True)
        return
    unshare = shutil.which("unshare")
    if unshare is None or shutil.which("ip") is None:
        sys.exit("denial.py needs Linux with unshare and ip.")
    os.environ[INSIDE] = "yes"
    os.execv(unshare, [unshare, "-rn", sys.executable, *sys.argv])


@dataclass
class Client:
    """One browser at one address, which opens a new connection for every request."""

    source: str
    place: str
    port: int
    encrypted: bool = False
    cookie: str = ""
    token: str = ""

    @property
    def base(self) -> str:
        """Return the page's address as this client sees it."""
        return f"{'https' if self.encrypted else 'http'}://{self.place}:{self.port}"

    def connect(self) -> socket.socket:
        """Return an open connection, encrypted where the page is."""
        raw = socket.create_connection((self.place, self.port), 20.0, (self.source, 0))
        if not self.encrypted:
            return raw
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        return context.wrap_socket(raw)

    def ask(self, method: str, path: str, body: str = "", **headers: str) -> tuple[int, str, str]:
        """Return status, text and the place that a redirect names; 0 if nothing came."""
        link = http.client.HTTPConnection(self.place, self.port, timeout=20.0)
        try:
            link.sock = self.connect()
            sent = {"Cookie": self.cookie, **{k.replace("_", "-"): v for k, v in headers.items()}}
            if method != "GET":
                sent |= {
                    "Origin": self.base, "Content-Type": "application/x-www-form-urlencoded",
                }  # fmt: skip
            link.request(method, path, body.encode("latin-1"), {k: v for k, v in sent.items() if v})
            answer = link.getresponse()
            text = answer.read().decode("utf-8", "replace")
        except (OSError, http.client.HTTPException):
            return 0, "", ""
        finally:
            link.close()
        if (cookie := answer.getheader("set-cookie", "")).startswith(f"ridelog_{self.port}="):
            self.cookie = cookie.split(";")[0]
        if token := re.search(r'data-token="([^"]+)"', text):
            self.token = token[1]
        return answer.status, text, answer.getheader("location", "")

    def form(self, path: str, **fields: str) -> int:
        """Send a form; return its status."""
        return self.ask("POST", path, urlencode({"token": self.token, **fields}))[0]


@dataclass(eq=False)
class Watch(threading.Thread):
    """Asks for a page again and again, each time over a new connection."""

    clients: list[Client]
    times_s: list[float] = field(default_factory=list)
    failed: int = 0

    def __post_init__(self) -> None:
        super().__init__()
        self.over = threading.Event()

    def run(self) -> None:
        """Ask until it is over."""
        while not self.over.is_set():
            for client in self.clients:
                start = time.monotonic()
                status, text, _ = client.ask("GET", "/machines")
                self.times_s.append(time.monotonic() - start)
                self.failed += status != 200 or "Add a machine" not in text
            self.over.wait(0.2)


def hold(over: Event, open_one: Callable[[], socket.socket], count: int, send: bytes) -> None:
    """Hold connections that never say more than this; any that is ended is opened again."""
    links: list[socket.socket] = []
    while not over.is_set():
        if len(links) >= count:
            links.pop(0).close()
        with contextlib.suppress(OSError):
            links.append(open_one())
            if send:
                links[-1].sendall(send)
        if len(links) >= count:
            over.wait(0.01)


def repeat(over: Event, ask: Callable[[], object]) -> None:
    """Ask the same thing again and again."""
    while not over.is_set():
        ask()


@contextlib.contextmanager
def done_meanwhile(work: Callable[..., None], processes: int, *given: object) -> Iterator[None]:
    """Do something in processes of their own, which do not slow the watch as threads would."""
    context = multiprocessing.get_context("fork")
    over = context.Event()
    workers = [context.Process(target=work, args=(over, *given)) for _ in range(processes)]
    for one in workers:
        one.start()
    try:
        yield
    finally:
        over.set()
        for one in workers:
            one.join()


def held(open_one: Callable[[], socket.socket], send: bytes = b"") -> AbstractContextManager[None]:
    """Hold two hundred connections."""
    return done_meanwhile(hold, 1, open_one, 200, send)


def repeated(ask: Callable[[], object], processes: int = 4) -> AbstractContextManager[None]:
    """Ask from several processes."""
    return done_meanwhile(repeat, processes, ask)


class Workshop:
    """A page with two rides, its owner, the owner's telephone, and those in the way."""

    def __init__(self, folder: Path) -> None:
        self.served = Served(folder, "--lan")
        port = int(urlsplit(self.served.base).port or 0)
        self.owner = Client(LOCAL, LOCAL, port)
        self.owner.ask("GET", "/")
        for name in ("before-2.nmea", "after-2.nmea"):
            body = short_log(name).decode("latin-1")
            headers = {"x_ridelog_token": self.owner.token}
            assert self.owner.ask("PUT", f"/logs?name={name}", body, **headers)[0] == 202
        while '"done"' not in (said := self.owner.ask("GET", "/tasks")[1]) or 'ing"' in said:
            time.sleep(0.5)
        self.phone = Client(PHONE, PAGE, port, encrypted=True)
        assert self.phone.form("/enter", code=self.code()) == 303
        assert self.phone.ask("GET", "/")[0] == 200
        self.near = Client(LOCAL, LOCAL, port)
        self.far = Client(ATTACKER, PAGE, port, encrypted=True)

    def code(self) -> str:
        """Return a new code from the owner's page."""
        text = self.owner.ask("POST", "/phone/code", urlencode({"token": self.owner.token}))[1]
        return text.partition('class="code">')[2][:8]

    def alive(self) -> int:
        """Return how many of both sessions can still change something."""
        return sum(
            client.form("/units", unit="kmh", back="/") == 303
            for client in (self.owner, self.phone)
        )


Attack = Callable[[], AbstractContextManager[None]]


def attacks(shop: Workshop) -> Iterator[tuple[str, Attack, Callable[[], int]]]:
    """Yield what is done, how, and how many times it was let in or computed."""
    near, far = shop.near, shop.far
    raw = Client(ATTACKER, PAGE, far.port)
    got = multiprocessing.get_context("fork").Value("q", 0)

    def count(wanted: bool) -> None:
        with got.get_lock():
            got.value += wanted

    def none() -> int:
        found, got.value = int(got.value), 0
        return found

    begun = b"GET / HTTP/1.1\r\nHost: x\r\nX: "
    form = (
        f"POST /enter HTTP/1.1\r\nHost: {PAGE}:{far.port}\r\nOrigin: {far.base}\r\nContent-Type: "
        "application/x-www-form-urlencoded\r\nContent-Length: 9999\r\n\r\ncode="
    ).encode()
    yield "none", contextlib.nullcontext, none
    yield "200 idle, near", lambda: held(near.connect), none
    yield "200 idle, far, no handshake", lambda: held(raw.connect), none
    yield "200 idle, far, handshake", lambda: held(far.connect), none
    yield "200 half requests, near", lambda: held(near.connect, begun), none
    yield "200 half requests, far", lambda: held(far.connect, begun), none
    yield "200 half forms, far", lambda: held(far.connect, form), none
    bare = Client(LOCAL, LOCAL, near.port)

    def without_cookie() -> None:
        bare.cookie = ""
        bare.ask("GET", "/machines")

    yield "no cookie, near", lambda: repeated(without_cookie), none
    yield "no cookie, far", lambda: repeated(lambda: count(far.ask("GET", "/")[0] == 200)), none

    def compares(client: Client, **headers: str) -> None:
        client.cookie = ""
        text = client.ask("GET", COMPARISON, **headers)[1]
        count("What the change did" in text)

    for what, headers in (
        ("said by the browser", {"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "no-cors"}),
        ("followed", {"Sec_Fetch_Site": "cross-site", "Sec_Fetch_Mode": "navigate"}),
        ("with its referrer", {"Referer": "http://evil.example/"}),
        ("without a word", {}),
    ):
        ask = partial(compares, bare, **headers)
        yield f"comparison from elsewhere, {what}", partial(repeated, ask), none

    def guess() -> None:
        count(far.form("/enter", code="WRONGONE") not in (403, 429))

    yield "wrong codes", lambda: repeated(guess), none

    def forged() -> None:
        words = {"X_Forwarded_For": LOCAL, "X_Real_Ip": LOCAL, "Forwarded": f"for={LOCAL}"}
        count(far.ask("GET", "/machines", **words)[0] == 200)

    yield "forged addresses", lambda: repeated(forged), none


def main() -> None:
    """Be in the way, and look."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hold", type=float, default=8.0, help="how long each is kept up [s]")
    add_options(parser, "denial")
    chosen = parser.parse_args()
    enter_a_network_of_its_own()
    record = Record("denial", chosen, rides=1)
    faults = 0
    with tempfile.TemporaryDirectory() as place:
        shop = Workshop(Path(place) / "book")
        code, made = shop.code(), time.monotonic()
        try:
            for what, attack, let_in in attacks(shop):
                if what == "wrong codes":
                    code, made = shop.code(), time.monotonic()
                watch = Watch([shop.owner, shop.phone])
                with attack():
                    watch.start()
                    time.sleep(chosen.hold)
                    watch.over.set()
                    watch.join()
                slowest, alive, came = max(watch.times_s), shop.alive(), let_in()
                faults += slowest >= LONGEST_S or watch.failed > 0 or alive < 2 or came > 0
                record.add(
                    attack=what, pages=len(watch.times_s), failed=watch.failed, slowest_s=slowest,
                    sessions=alive, let_in=came,
                )  # fmt: skip
            assert time.monotonic() - made < CODE_LIFE_S
            newcomer = Client(OTHER, PAGE, shop.far.port, encrypted=True)
            status = newcomer.form("/enter", code=code)
            print(f"the owner's code after all wrong ones: {status}")
            faults += status != 303
        finally:
            shop.served.stop()
        said = shop.served.errors.read_text()
        faults += "Traceback" in said
        print(said[-1000:])
    record.save()
    print(f"{faults} faults")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
