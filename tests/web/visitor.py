"""A browser without a screen: asks the application directly, keeps cookies, fills forms."""

import asyncio
import json
import re
import time
from dataclasses import dataclass, field
from html import unescape
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from ridelog.book.book import Book
from ridelog.web.app import make_app
from ridelog.web.job_queue import JobQueue
from ridelog.web.security import SecurityMiddleware
from ridelog.web.worker import Worker

HOST = "127.0.0.1:8437"
LAN_HOST = "192.168.7.5:8437"
SAMPLES = Path(__file__).resolve().parents[2] / "sample_tracks"


def short_log(name: str, fixes: int = 300) -> bytes:
    """Return the first fixes of a sample, which are measured in a fraction of the time."""
    lines = (SAMPLES / name).read_bytes().splitlines(keepends=True)
    starts = [k for k, line in enumerate(lines) if line[3:6] == b"RMC"]
    return b"".join(lines[: starts[fixes]])


@dataclass
class Answer:
    status: int
    headers: dict[str, str]
    body: bytes
    cookies: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        return self.body.decode("utf-8")

    @property
    def words(self) -> str:
        """What a reader sees of a page, spaces joined."""
        bare = re.sub(r"<(script|style).*?</\1>", " ", self.text, flags=re.DOTALL)
        return " ".join(unescape(re.sub(r"<[^>]*>", " ", bare)).split())

    def json(self) -> Any:
        return json.loads(self.body)


class Visitor:
    """One browser at one address."""

    def __init__(
        self,
        app: SecurityMiddleware,
        host: str = HOST,
        client: str = "127.0.0.1",
        scheme: str = "http",
    ) -> None:
        self.app, self.host, self.client, self.scheme = app, host, client, scheme
        self.cookies: dict[str, str] = {}
        self.token = ""

    def ask(
        self,
        method: str,
        path: str,
        body: bytes | list[bytes] = b"",
        *,
        headers: dict[str, str] | None = None,
        leaves: bool = False,
    ) -> Answer:
        """Ask once; with ``leaves`` the connection ends after the last part of the body."""
        sent = {"host": self.host, **(headers or {})}
        if self.cookies:
            sent["cookie"] = "; ".join(f"{k}={v}" for k, v in self.cookies.items())
        parts = body if isinstance(body, list) else [body]
        answer = asyncio.run(self._call(method, path, parts, sent, leaves))
        for cookie in answer.cookies:
            name, _, value = cookie.split(";")[0].partition("=")
            self.cookies[name] = value
        token = re.search(r'data-token="([^"]+)"', answer.body.decode("utf-8", "replace"))
        self.token = token[1] if token else self.token
        return answer

    def get(self, path: str) -> Answer:
        return self.ask("GET", path)

    def post(self, path: str, **form: str) -> Answer:
        """Send a form of a page that this browser has read."""
        body = urlencode({"token": self.token, **form}).encode()
        headers = {
            "origin": f"{self.scheme}://{self.host}",
            "content-type": "application/x-www-form-urlencoded",
        }
        return self.ask("POST", path, body, headers=headers)

    def put(self, name: str, data: bytes | list[bytes], **headers: str) -> Answer:
        """Drop a log."""
        sent = {"origin": f"{self.scheme}://{self.host}", "x-ridelog-token": self.token, **headers}
        return self.ask("PUT", f"/logs?{urlencode({'name': name})}", data, headers=sent)

    async def _call(
        self, method: str, path: str, parts: list[bytes], headers: dict[str, str], leaves: bool
    ) -> Answer:
        bare, _, query = path.partition("?")
        scope = {
            "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": method,
            "scheme": self.scheme, "path": bare, "raw_path": bare.encode(), "root_path": "",
            "query_string": query.encode(), "client": (self.client, 50_000),
            "headers": [(k.encode("latin-1"), v.encode("latin-1")) for k, v in headers.items()],
        }  # fmt: skip
        waiting = [
            {"type": "http.request", "body": part, "more_body": leaves or k < len(parts) - 1}
            for k, part in enumerate(parts)
        ]
        answer = Answer(0, {}, b"")
        answered = asyncio.Event()

        async def receive() -> dict[str, Any]:
            if waiting:
                return waiting.pop(0)
            if not leaves:
                await answered.wait()
            return {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            if message["type"] == "http.response.start":
                answer.status = message["status"]
                for key, value in message["headers"]:
                    name, text = key.decode("latin-1"), value.decode("latin-1")
                    answer.headers[name] = text
                    if name == "set-cookie":
                        answer.cookies.append(text)
            else:
                answer.body += message.get("body", b"")
                if answer.body or not message.get("more_body"):
                    answered.set()

        await self.app(scope, receive, send)
        return answer


def app_in(folder: Path, *, lan: bool = False, worker: Worker | None = None) -> SecurityMiddleware:
    """Return an application on a book; its queue stands still until ``queue_of`` starts it."""
    Book(folder).close()  # made before anyone asks, as `serve` does
    return make_app(
        folder,
        hosts=frozenset({HOST, "localhost:8437", *([LAN_HOST] if lan else [])}),
        lan_address=f"https://{LAN_HOST}" if lan else None,
        fingerprint="AB:CD" if lan else "",
        worker=worker,
    )


def queue_of(app: SecurityMiddleware) -> JobQueue:
    """Return the queue behind an application."""
    queue: JobQueue = app.inner.state.server.queue
    return queue


def wait_until_measured(visitor: Visitor, longest_s: float = 90.0) -> list[dict[str, Any]]:
    """Return the tasks once every one of them has ended."""
    end = time.monotonic() + longest_s
    while time.monotonic() < end:
        tasks: list[dict[str, Any]] = visitor.get("/tasks").json()
        if all(task["state"] in ("done", "failed") for task in tasks):
            return tasks
        time.sleep(0.1)
    raise AssertionError(f"not measured within {longest_s} s: {tasks}")
