"""Who is let in: browsers of this machine, and telephones that showed a one-time code."""

import hmac
import math
import secrets
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass

# Letters and digits that nobody mixes up when typing a code from a screen.
_ALPHABET = "ABCDEFGHJKMNPQRSTUVWXYZ23456789"
_CODE_LETTERS = 8
# A code lives ten minutes and works once. Own choice.
CODE_LIFE_S = 600.0
# Wrong codes that cost no wait; then the wait doubles up to the longest. A peer that gave none for
# an hour begins anew. Own choice: 12 guesses in the life of a code, of 31**8 codes.
_FREE_TRIES, _LONGEST_WAIT_S, _FORGOTTEN_S = 3, 600.0, 3600.0
_MOST_SESSIONS, _MOST_CLIENTS = 500, 2_000
# A telephone stays let in for a working day.
_SESSION_LIFE_S = 12 * 3600.0

Clock = Callable[[], float]


@dataclass(frozen=True)
class Session:
    """One browser: ``token`` guards its changes, ``local`` says that it is on this machine."""

    key: str
    token: str
    local: bool
    until: float = math.inf


class Sessions:
    """The browsers that are let in, in memory only.

    Those of this machine prove themselves by a signed key, so nothing is kept of them and nobody
    can be pushed out by others that come; of telephones only those that showed a code are kept.
    """

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self._clock = clock
        self._secret = secrets.token_bytes(32)
        self._lock = threading.Lock()
        self._telephones: OrderedDict[str, Session] = OrderedDict()

    def of_this_machine(self) -> Session:
        """Let a browser of this machine in; valid as long as the server runs."""
        return self._signed(secrets.token_urlsafe(16))

    def of_a_telephone(self) -> Session:
        """Let a telephone in that showed a code."""
        now = self._clock()
        session = Session(
            secrets.token_urlsafe(32), secrets.token_urlsafe(32), False, now + _SESSION_LIFE_S
        )
        with self._lock:
            for old in [s for s in self._telephones.values() if s.until < now]:
                del self._telephones[old.key]
            self._telephones[session.key] = session
            while len(self._telephones) > _MOST_SESSIONS:
                self._telephones.popitem(last=False)
        return session

    def find(self, key: str, *, local: bool) -> Session | None:
        """Return the session of a cookie, if it belongs to such a client."""
        if local:
            session = self._signed(key.partition(".")[0])
            return session if same_secret(key, session.key) else None
        with self._lock:
            kept = self._telephones.get(key)
            if kept is None or kept.until < self._clock():
                return None
            self._telephones.move_to_end(key)
            return kept

    def _signed(self, name: str) -> Session:
        signs = (
            hmac.digest(self._secret, f"{what} {name}".encode("utf-8", "replace"), "sha256").hex()
            for what in ("key", "token")
        )
        return Session(f"{name}.{next(signs)}", next(signs), True)


def same_secret(given: str, expected: str) -> bool:
    """Return whether two secrets are equal, in a time that tells nothing."""
    return hmac.compare_digest(
        given.encode("utf-8", "replace"), expected.encode("utf-8", "replace")
    )


class PairingCodes:
    """One-time codes for telephones: short life, single use; wrong ones cost the guesser alone."""

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._code = ""
        self._until = 0.0

    def new(self) -> str:
        """Return a fresh code; the one before it is worth nothing from now on."""
        with self._lock:
            self._code = "".join(secrets.choice(_ALPHABET) for _ in range(_CODE_LETTERS))
            self._until = self._clock() + CODE_LIFE_S
            return self._code

    def use(self, given: str) -> bool:
        """Return whether a code is right, which uses it up."""
        given = "".join(given.upper().split())[:64]
        with self._lock:
            alive = bool(self._code) and self._clock() <= self._until
            right = same_secret(given, self._code or "-" * _CODE_LETTERS) and alive
            if right:
                self._code = ""
            return right


@dataclass(frozen=True)
class _Tries:
    wrong: int
    last: float
    until: float


class WrongTries:
    """How long each client that gave wrong codes has to wait before the next."""

    def __init__(self, clock: Clock = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._tries: OrderedDict[str, _Tries] = OrderedDict()

    def wait_s(self, client: str) -> float:
        """Return how long this client has to wait yet; 0 if it may try now."""
        with self._lock:
            tries = self._tries.get(client)
            return max(0.0, tries.until - self._clock()) if tries else 0.0

    def note(self, client: str, *, right: bool) -> None:
        """Count a try that was made."""
        now = self._clock()
        with self._lock:
            before = self._tries.pop(client, None)
            if right:
                return
            wrong = 1 if before is None or now - before.last > _FORGOTTEN_S else before.wrong + 1
            wait = min(2.0 ** min(wrong - _FREE_TRIES, 20), _LONGEST_WAIT_S)
            self._tries[client] = _Tries(wrong, now, now + (wait if wrong > _FREE_TRIES else 0.0))
            while len(self._tries) > _MOST_CLIENTS:
                self._tries.popitem(last=False)


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
