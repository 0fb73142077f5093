"""Who may hold connections: a few for each address, and none that keeps silent.

One that is too many costs its own side: the most useless connection of the same address is ended,
so that those who hold hundreds turn away nobody, not even another program at their own address.
"""

import asyncio
import ssl
import time
from collections.abc import Mapping
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

# Connections of one address and of all: a browser opens some six (RFC 9112, section 9.4, leaves the
# number to prudence), a process may hold 1,024 files on common systems. Own choice.
_MOST_A_PEER, _MOST = 48, 256
# How long a new connection may take to its handshake and its first whole request, and one that
# was answered to its next. Own choice. [s]
_HANDSHAKE_S, _FIRST_REQUEST_S, _NEXT_REQUEST_S = 5.0, 10.0, 20.0
# What a connection that asks at once needs to be read. Own choice. [s]
_MOMENT_S = 0.2


class Gate:
    """Knows every open connection by its address, and which of them can go.

    Whoever comes has a moment to ask before the crowd is thinned, so that one who does so at once
    is never taken for one of those who idle; twice the number is the end at any time.
    """

    def __init__(self, most_a_peer: int = _MOST_A_PEER, most: int = _MOST) -> None:
        self._most_a_peer, self._most = most_a_peer, most
        self._held: dict[str, set[GatedProtocol]] = {}
        self._thinning = False

    def enter(self, comer: "GatedProtocol") -> None:
        """Take a connection in; one of the same crowd may have to go, perhaps itself."""
        own = self._held.setdefault(comer.peer, set())
        own.add(comer)
        if len(own) > 2 * self._most_a_peer:
            self._end_one(own, comer)
        elif self.count() > 2 * self._most:
            self._end_one(max(self._held.values(), key=len), comer)
        if not self._thinning and (len(own) > self._most_a_peer or self.count() > self._most):
            self._thinning = True
            comer.loop.call_later(_MOMENT_S, self._thin)

    def leave(self, goer: "GatedProtocol") -> None:
        """Forget a connection."""
        held = self._held.get(goer.peer, set())
        held.discard(goer)
        if not held:
            self._held.pop(goer.peer, None)

    def count(self) -> int:
        """Return how many connections are open."""
        return sum(len(held) for held in self._held.values())

    def _thin(self) -> None:
        self._thinning = False
        for held in list(self._held.values()):
            while len(held) > self._most_a_peer and self._end_one(held):
                pass
        while self.count() > self._most and self._end_one(max(self._held.values(), key=len)):
            pass

    def _end_one(self, crowd: "set[GatedProtocol]", comer: "GatedProtocol | None" = None) -> bool:
        """End the most useless connection of a crowd, or the newest if all are at work."""
        others = [one for one in crowd if one is not comer and one.use < GatedProtocol.AT_WORK]
        loser = min(others, key=lambda one: (one.use, one.since), default=comer)
        if loser is None:
            return False
        loser.end()
        return True


class GatedProtocol(H11Protocol):
    """One connection: let in by the gate, secured if its address asks for it, timed until it asks.

    ``gate`` and ``contexts`` (by the address on which a connection came in) belong to a server:
    see ``gated``.
    """

    gate: Gate
    contexts: Mapping[str, ssl.SSLContext]
    # What a connection is good for: it never asked or waits between requests of a stranger, or of
    # someone let in; a stranger's request is answered; one of someone let in is.
    SILENT, KNOWN, STRANGE, AT_WORK = range(4)

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self.peer, self.since = "", time.monotonic()
        self._raw: asyncio.Transport | None = None
        self._timer: asyncio.TimerHandle | None = None
        self._early = b""
        self._securing: asyncio.Task[None] | None = None

    @property
    def use(self) -> int:
        """How much would be lost with this connection."""
        if self.cycle is None:
            return self.SILENT
        known = self.scope.get("state", {}).get("session") is not None
        if self._is_asking():
            return self.AT_WORK if known else self.STRANGE
        return self.KNOWN if known else self.SILENT

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Pass the gate; then speak HTTP, after a handshake where the address asks for one."""
        self.peer = str((transport.get_extra_info("peername") or ("unknown",))[0])
        self._raw = transport
        self._wait(_FIRST_REQUEST_S)
        self.gate.enter(self)
        if transport.is_closing():
            return
        address = str((transport.get_extra_info("sockname") or ("",))[0])
        context = self.contexts.get(address)
        if context is None:
            super().connection_made(transport)
        else:
            self._securing = self.loop.create_task(self._secure(transport, context))

    async def _secure(self, raw: asyncio.Transport, context: ssl.SSLContext) -> None:
        try:
            secured = await self.loop.start_tls(
                raw, self, context, server_side=True, ssl_handshake_timeout=_HANDSHAKE_S
            )
        except OSError:  # no TLS, a refused certificate, or nothing at all in time
            secured = None
        if secured is None:
            self.end()
            return
        super().connection_made(secured)
        # What came with the end of the handshake came before anyone was there to read it.
        early, self._early = self._early, b""
        if early:
            self.data_received(early)

    def data_received(self, data: bytes) -> None:
        """Read on; the time to a whole request is not prolonged by parts of it."""
        if self.transport is None:
            self._early += data
            return
        super().data_received(data)
        if self._is_asking():
            self._wait(None)

    def send_400_response(self, msg: str) -> None:
        """Refuse what is no HTTP; what still works on an answer learns that nobody waits for it."""
        if self.cycle is not None and not self.cycle.response_complete:
            self.cycle.disconnected = True
            self.cycle.message_event.set()
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE):
            super().send_400_response(msg)
        else:  # an answer was begun, and a second one would be taken for a part of it
            self.transport.close()

    def on_response_complete(self) -> None:
        """Wait for the next request, which has its own time."""
        super().on_response_complete()
        self.since = time.monotonic()
        self._wait(None if self._is_asking() else _NEXT_REQUEST_S)

    def connection_lost(self, exc: Exception | None) -> None:
        """Forget the connection."""
        self._wait(None)
        self.gate.leave(self)
        if self.transport is not None:
            super().connection_lost(exc)

    def end(self) -> None:
        """End the connection at once."""
        self._wait(None)
        # A handshake that fails ends without ``connection_lost``.
        self.gate.leave(self)
        if self._securing is not None:
            self._securing.cancel()
        if self._raw is not None:
            self._raw.abort()

    def _is_asking(self) -> bool:
        return self.cycle is not None and not self.cycle.response_complete

    def _wait(self, longest_s: float | None) -> None:
        if self._timer is not None:
            self._timer.cancel()
        self._timer = None if longest_s is None else self.loop.call_later(longest_s, self.end)


def gated(gate: Gate, contexts: Mapping[str, ssl.SSLContext]) -> type[GatedProtocol]:
    """Return the protocol of a server with its gate, and its contexts by local address."""

    class Bound(GatedProtocol):
        pass

    Bound.gate, Bound.contexts = gate, contexts
    return Bound
