"""Who may use the page: this machine, and telephones that showed a one-time code."""

import hmac
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

# Letters and digits that nobody mixes up when typing a code from a screen.
_ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
_CODE_LETTERS = 8
# A code lives ten minutes, works once, and bears few wrong tries. Own choice.
CODE_LIFE_S, _TRIES_A_CODE, _TRIES_A_CLIENT = 600.0, 20, 5
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


def same(given: str, expected: str) -> bool:
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
            right = same(given, self._code or "-" * _CODE_LETTERS) and alive
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


def code_tries(clock: Clock = time.monotonic) -> RateLimiter:
    """Return how often one client may try a code."""
    return RateLimiter(_TRIES_A_CLIENT, CODE_LIFE_S, clock)
