"""Connections that are held for nothing turn nobody away: real sockets on this machine."""

import asyncio
import logging
import socket
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from ridelog.web import connections
from ridelog.web.certificate import certificate_for
from ridelog.web.connections import Gate, gated

ATTACKER, OWNER = "127.0.0.2", "127.0.0.1"
REQUEST = b"GET / HTTP/1.1\r\nHost: here\r\n\r\n"


async def echo(scope: Any, receive: Any, send: Any) -> None:
    """Answer at once; under /long only after a while, under /let-in as to someone let in, under
    /read once the request is read."""
    if scope["path"] == "/read":
        while (await receive()).get("more_body"):
            pass
    if scope["path"].startswith("/let-in"):
        scope["state"]["session"] = "a session"
    await send(
        {"type": "http.response.start", "status": 200, "headers": [(b"content-length", b"2")]}
    )
    if scope["path"].endswith("/long"):
        await asyncio.sleep(1.5)
    await send({"type": "http.response.body", "body": b"ok"})


class Running:
    """A server in a thread of its own."""

    def __init__(self, gate: Gate, context: ssl.SSLContext | None = None) -> None:
        self.gate = gate
        self.listener = socket.create_server((OWNER, 0))
        self.port = int(self.listener.getsockname()[1])
        config = uvicorn.Config(
            echo, http=gated(gate, {OWNER: context} if context else {}), loop="asyncio",
            ws="none", lifespan="off", log_level="critical", proxy_headers=False,
        )  # fmt: skip
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, args=([self.listener],))
        self.thread.start()
        until(lambda: self.server.started)

    def connect(self, source: str) -> socket.socket:
        return socket.create_connection((OWNER, self.port), 5.0, (source, 0))

    def ask(self, source: str, path: str = "/") -> bytes:
        with self.connect(source) as link:
            link.sendall(REQUEST.replace(b"/ ", path.encode() + b" ", 1))
            return link.recv(4096)

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(10.0)
        assert not self.thread.is_alive()


def until(happens: Callable[[], object]) -> None:
    end = time.monotonic() + 20.0
    while not happens():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.01)


def is_ended(link: socket.socket) -> bool:
    link.settimeout(20.0)
    try:
        return link.recv(1) == b""
    except ConnectionResetError:
        return True


@pytest.fixture
def start() -> Iterator[Callable[..., Running]]:
    running: list[Running] = []

    def begin(*given: Any) -> Running:
        running.append(Running(*given))
        return running[-1]

    yield begin
    for one in running:
        one.stop()


def test_two_hundred_idle_connections_turn_away_nobody(start: Callable[..., Running]) -> None:
    running = start(Gate())
    held = [running.connect(ATTACKER) for _ in range(200)]
    until(lambda: running.gate.count() <= 48)
    for source in (OWNER, "127.0.0.3", ATTACKER):
        assert running.ask(source).startswith(b"HTTP/1.1 200"), source
    assert sum(is_ended(link) for link in held[:150]) == 150, "the oldest went"
    for link in held:
        link.close()


def test_who_asks_at_once_is_heard_among_a_crowd_of_the_same_address(
    start: Callable[..., Running],
) -> None:
    running = start(Gate(most_a_peer=8))
    ended = threading.Event()
    links: list[socket.socket] = []

    def crowd() -> None:
        while not ended.is_set():
            links.append(running.connect(OWNER))
            time.sleep(0.005)

    rush = threading.Thread(target=crowd)
    rush.start()
    try:
        answers: list[bytes] = []
        while len(answers) < 50 or len(links) < 16:  # however busy this machine is
            answers.append(running.ask(OWNER))
    finally:
        ended.set()
        rush.join()
        for link in links:
            link.close()
    assert all(answer.startswith(b"HTTP/1.1 200") for answer in answers)


def test_what_stops_to_be_http_in_the_middle_is_no_mistake_of_ours(
    start: Callable[..., Running], caplog: pytest.LogCaptureFixture
) -> None:
    """The application waits for the rest, has begun its answer, or has answered already."""
    running = start(Gate())
    logger = logging.getLogger("uvicorn.error")
    logger.setLevel(logging.ERROR)
    logger.addHandler(caplog.handler)
    begun = b" HTTP/1.1\r\nHost: here\r\nTransfer-Encoding: chunked\r\n\r\n"
    ok, bad = b"HTTP/1.1 200", b"HTTP/1.1 400"
    answers = {b"/read": bad, b"/long": ok, b"/": ok}
    try:
        for path, answer in answers.items():
            with running.connect(OWNER) as link:
                link.sendall(b"POST " + path + begun)
                time.sleep(0.1)
                link.sendall(b"zz\r\n")
                link.settimeout(20.0)
                assert b"".join(iter(lambda: link.recv(4096), b"")).startswith(answer)
        with running.connect(OWNER) as link:
            link.sendall(b"POST /read" + begun + b"zz\r\n")
            assert link.recv(4096).startswith(b"HTTP/1.1 400")
        assert running.ask(OWNER).startswith(b"HTTP/1.1 200")
        time.sleep(0.2)
    finally:
        logger.removeHandler(caplog.handler)
        logger.setLevel(logging.CRITICAL)
    assert not caplog.records, caplog.text


def test_many_addresses_together_turn_away_nobody(start: Callable[..., Running]) -> None:
    running = start(Gate(most_a_peer=48, most=60))
    held = [running.connect(f"127.0.1.{n % 40 + 1}") for n in range(160)]
    until(lambda: running.gate.count() <= 60)
    assert running.ask(OWNER).startswith(b"HTTP/1.1 200")
    until(lambda: running.gate.count() <= 60)
    for link in held:
        link.close()


def test_work_for_someone_let_in_is_not_ended_for_those_who_idle(
    start: Callable[..., Running],
) -> None:
    running = start(Gate(most_a_peer=4))
    with running.connect(ATTACKER) as working:
        working.sendall(REQUEST.replace(b"/ ", b"/let-in/long ", 1))
        working.settimeout(10.0)
        answer = working.recv(4096)  # its head comes at once
        held = [running.connect(ATTACKER) for _ in range(20)]
        until(lambda: running.gate.count() <= 4)
        while not answer.endswith(b"ok"):
            part = working.recv(4096)
            assert part, "the answer was cut off"
            answer += part
    for link in held:
        link.close()


@pytest.mark.parametrize("sent", [b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: here\r\n"])
def test_who_does_not_ask_in_time_is_cut_off(
    start: Callable[..., Running], monkeypatch: pytest.MonkeyPatch, sent: bytes
) -> None:
    monkeypatch.setattr(connections, "_FIRST_REQUEST_S", 0.3)
    running = start(Gate())
    with running.connect(OWNER) as link:
        link.sendall(sent)
        assert is_ended(link)
    until(lambda: running.gate.count() == 0)


def test_a_request_that_was_answered_is_given_time_for_the_next_one_only(
    start: Callable[..., Running], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connections, "_NEXT_REQUEST_S", 0.5)
    running = start(Gate())
    with running.connect(OWNER) as link:
        link.sendall(REQUEST.replace(b"\r\n\r\n", b"\r\nContent-Length: 9999\r\n\r\n"))
        assert link.recv(4096).startswith(b"HTTP/1.1 200")
        ended = threading.Event()

        def trickle() -> None:
            try:
                while not ended.is_set():
                    link.sendall(b"x")
                    time.sleep(0.05)
            except OSError:
                pass

        drops = threading.Thread(target=trickle)
        drops.start()
        rest = b"ok"
        try:
            while rest and not is_ended(link):
                pass
        finally:
            ended.set()
            drops.join()
    until(lambda: running.gate.count() == 0)


def test_several_requests_on_one_connection(start: Callable[..., Running]) -> None:
    running = start(Gate())
    with running.connect(OWNER) as link:
        link.sendall(3 * REQUEST)
        answer = b""
        link.settimeout(10.0)
        while answer.count(b"\r\n\r\nok") < 3:
            part = link.recv(4096)
            assert part
            answer += part


def test_encrypted_for_those_who_ask_and_for_nobody_who_stays_silent(
    start: Callable[..., Running], tmp_path: Path
) -> None:
    certificate = certificate_for(tmp_path, OWNER)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate.path)
    running = start(Gate(), context)
    held = [running.connect(ATTACKER) for _ in range(200)]
    until(lambda: running.gate.count() <= 48)
    # Only this certificate is trusted, and the address must be in it.
    client = ssl.create_default_context(cadata=certificate.path.read_text())
    for source in (OWNER, ATTACKER):
        with (
            running.connect(source) as raw,
            client.wrap_socket(raw, server_hostname=OWNER) as secured,
        ):
            secured.sendall(REQUEST)
            assert secured.recv(4096).startswith(b"HTTP/1.1 200"), source
    assert b"HTTP" not in running.ask(OWNER), "plain HTTP gets no answer there"
    for link in held:
        link.close()


def test_a_handshake_that_does_not_end_is_cut_off(
    start: Callable[..., Running], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connections, "_HANDSHAKE_S", 0.3)
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.load_cert_chain(certificate_for(tmp_path, OWNER).path)
    running = start(Gate(), context)
    with running.connect(OWNER) as link:
        assert is_ended(link)
    until(lambda: running.gate.count() == 0)
