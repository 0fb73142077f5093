"""Who may use the page: this machine, and telephones that showed a one-time code.

Every request passes ``SecurityMiddleware`` first: who asks, from where, and how much.
"""

import hmac
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from typing import Any

from starlette.applications import Starlette
from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import Message, Receive, Scope, Send

# Bokeh sets styles on elements; scripts stay strict. The page works without any other address.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; connect-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
# A page that was made to stand alone has no script and asks for nothing.
ALONE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"
_HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "geolocation=(), camera=(), microphone=()",
    "cache-control": "no-store",
}
_SAFE = ("GET", "HEAD")
# What a telephone may ask for before it has shown its code.
_OPEN = ("/enter", *(f"/static/{n}" for n in ("page.css", "colours.css", "enter.js", "times.js")))
TOKEN_HEADER = "x-ridelog-token"
# Letters and digits that nobody mixes up when typing a code from a screen.
_ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
_CODE_LETTERS = 8
# A code lives ten minutes, works once, and bears few wrong tries. Own choice.
CODE_LIFE_S, _TRIES_A_CODE, TRIES_A_CLIENT = 600.0, 20, 5
_MOST_SESSIONS, _MOST_CLIENTS = 500, 2_000
# A telephone stays let in for a working day.
_SESSION_LIFE_S = 12 * 3600.0

Clock = Callable[[], float]


@dataclass
class Session:
    """One browser: ``token`` guards its changes, ``local`` says that it is on this machine."""

    key: str
    token: str
    local: bool
    until: float


class Sessions:
    """The browsers that are let in; kept in memory only."""

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._sessions: OrderedDict[str, Session] = OrderedDict()

    def new(self, *, local: bool) -> Session:
        """Let a browser in."""
        session = Session(
            secrets.token_urlsafe(32), secrets.token_urlsafe(32), local,
            self._clock() + _SESSION_LIFE_S,
        )  # fmt: skip
        with self._lock:
            self._sessions[session.key] = session
            while len(self._sessions) > _MOST_SESSIONS:
                self._sessions.popitem(last=False)
        return session

    def find(self, key: str, *, local: bool) -> Session | None:
        """Return the session of a cookie, if it belongs to such a client."""
        with self._lock:
            session = self._sessions.get(key)
            if session is None or session.until < self._clock() or session.local != local:
                return None
            self._sessions.move_to_end(key)
            return session


def same_secret(given: str, expected: str) -> bool:
    """Return whether two secrets are equal, in a time that tells nothing."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), expected.encode())


class PairingCodes:
    """One-time codes for telephones: short life, single use, few tries."""

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._code = ""
        self._until = 0.0
        self._wrong = 0

    def new(self) -> str:
        """Return a fresh code; the one before it is worth nothing from now on."""
        with self._lock:
            self._code = "".join(secrets.choice(_ALPHABET) for _ in range(_CODE_LETTERS))
            self._until = self._clock() + CODE_LIFE_S
            self._wrong = 0
            return self._code

    def use(self, given: str) -> bool:
        """Return whether a code is right, which uses it up."""
        given = "".join(given.upper().split())[:64]
        with self._lock:
            alive = bool(self._code) and self._clock() <= self._until
            right = same_secret(given, self._code or "-" * _CODE_LETTERS) and alive
            if not right:
                self._wrong += 1
            if right or self._wrong >= _TRIES_A_CODE:
                self._code = ""
            return right


class RateLimiter:
    """How often each client may do something: a bucket that refills."""

    def __init__(self, most: int, each_s: float, clock: Clock = time.monotonic) -> None:
        self._most, self._each_s, self._clock = float(most), each_s, clock
        self._lock = threading.Lock()
        self._buckets: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def allow(self, client: str) -> bool:
        """Return whether this client may do it now, and count it."""
        now = self._clock()
        with self._lock:
            left, then = self._buckets.get(client, (self._most, now))
            left = min(self._most, left + (now - then) / self._each_s * self._most)
            allowed = left >= 1.0
            self._buckets[client] = (left - 1.0 if allowed else left, now)
            self._buckets.move_to_end(client)
            while len(self._buckets) > _MOST_CLIENTS:
                self._buckets.popitem(last=False)
        return allowed


class SecurityMiddleware:
    """Middleware: host, origin, session, rate; adds the headers that keep a page to itself.

    ``hosts`` are the values of Host that are served, with port; ``requests`` says how often a
    client from the network may ask.
    """

    def __init__(
        self, app: Starlette, *, hosts: frozenset[str], sessions: Sessions, requests: RateLimiter
    ) -> None:
        self.inner, self._hosts = app, hosts
        self._sessions, self._requests = sessions, requests

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass or refuse it with a sentence."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.inner(scope, receive, send)
            return
        headers = Headers(scope=scope)
        client = str((scope.get("client") or ("unknown", 0))[0])
        local = _is_loopback(client)
        host = headers.get("host", "").lower()
        session = self._session(headers, host, local)
        cookie = ""
        answer: Any = None
        if host not in self._hosts:
            answer = _refusal(421, "This address is not served here.")
        elif local != _is_loopback(host.rsplit(":", 1)[0].strip("[]")):
            answer = _refusal(421, "This address is not served here.")
        elif not local and not self._requests.allow(client):
            answer = _refusal(429, "Too many requests. Wait a minute and try again.")
        elif scope["method"] not in _SAFE and not _same_origin(headers, host):
            answer = _refusal(403, "This request comes from another page and is refused.")
        elif session is None:
            if local:
                session = self._sessions.new(local=True)
                cookie = session_cookie(host, session)
            elif scope["path"] not in _OPEN:
                answer = (
                    RedirectResponse("/enter", 303)
                    if scope["method"] in _SAFE
                    else _refusal(403, "Enter the code first.")
                )
        scope.setdefault("state", {})["session"] = session
        scope["state"]["client"], scope["state"]["local"] = client, local

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                sent = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    if name not in sent:
                        sent[name] = value
                if cookie:
                    sent.append("set-cookie", cookie)
            await send(message)

        await (answer or self.inner)(scope, receive, send_with_headers)

    def _session(self, headers: Headers, host: str, local: bool) -> Session | None:
        try:
            jar = SimpleCookie(headers.get("cookie", "")[:8192])
        except CookieError:
            return None
        morsel = jar.get(cookie_name(host))
        return self._sessions.find(morsel.value, local=local) if morsel else None


def token_is_right(session: Session | None, given: str) -> bool:
    """Return whether a change carries the token of the page it was made on."""
    return session is not None and same_secret(given, session.token)


def cookie_name(host: str) -> str:
    """Return the cookie's name: ports of one host share their cookies, so it names the port."""
    port = host.rsplit(":", 1)[-1]
    return f"ridelog_{port if port.isdigit() else '80'}"


def session_cookie(host: str, session: Session) -> str:
    """Return the header that lets a browser in."""
    # Not "Secure": on plain HTTP in the workshop's network browsers would drop it.
    return f"{cookie_name(host)}={session.key}; Path=/; HttpOnly; SameSite=Strict"


def _same_origin(headers: Headers, host: str) -> bool:
    """Return whether a change comes from a page of this very address."""
    origin = headers.get("origin")
    site = headers.get("sec-fetch-site")
    return origin == f"http://{host}" and site in (None, "same-origin", "none")


def _is_loopback(address: str) -> bool:
    try:
        return address == "localhost" or ip_address(address).is_loopback
    except ValueError:
        return False


def _refusal(status: int, words: str) -> PlainTextResponse:
    return PlainTextResponse(words + "\n", status)
