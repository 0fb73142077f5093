"""A slow line between a browser and the page: late, thin, and cut once inside an upload."""

import asyncio
import re
import threading
from dataclasses import dataclass, field

# As a telephone at the edge of a workshop's network. Own choice. [s, bytes a second]
_LATE_S, _UP, _DOWN = 0.1, 60_000, 250_000
_PART = 4_096


@dataclass
class SlowLine:
    """A proxy for one browser; ``cut`` names the log whose first upload is cut after some bytes."""

    cut: str = ""
    after_bytes: int = 8_192
    cuts: int = 0
    address: str = ""
    _ready: threading.Event = field(default_factory=threading.Event)

    def __enter__(self) -> "SlowLine":
        self._thread = threading.Thread(target=lambda: asyncio.run(self._run()), daemon=True)
        self._thread.start()
        assert self._ready.wait(10.0)
        return self

    def __exit__(self, *error: object) -> None:
        self._loop.call_soon_threadsafe(self._over.set)
        self._thread.join(10.0)

    async def _run(self) -> None:
        self._loop, self._over = asyncio.get_running_loop(), asyncio.Event()
        server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
        self.address = f"http://127.0.0.1:{server.sockets[0].getsockname()[1]}"
        self._ready.set()
        await self._over.wait()
        server.close()

    async def _serve(self, here: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
        """Pass one request on, and its answer back, each part as late as the line is slow."""
        on = None
        try:
            head = (await here.readuntil(b"\r\n\r\n")).decode("latin-1")
            found = re.match(r"(\w+) http://([\d.]+):(\d+)(\S*) ", head)
            if found is None:
                return  # what the browser itself asks of the world
            method, host, port, path = found.groups()
            there, on = await asyncio.open_connection(host, int(port))
            await asyncio.sleep(_LATE_S)
            lines = [x for x in head.split("\r\n")[1:-2] if not x.lower().startswith("proxy-")]
            lines = [x for x in lines if not x.lower().startswith("connection:")]
            asked = [f"{method} {path} HTTP/1.1", *lines, "Connection: close", "", ""]
            on.write("\r\n".join(asked).encode("latin-1"))
            length = re.search(r"(?im)^content-length: (\d+)", head)
            if not await self._up(here, on, path, int(length[1]) if length else 0):
                on.transport.abort()
                back.transport.abort()
                return
            # Who waits for news and goes away hangs up at the other end too.
            gone = asyncio.create_task(here.read())
            down = asyncio.create_task(self._down(there, back))
            await asyncio.wait([gone, down], return_when=asyncio.FIRST_COMPLETED)
            for task in (gone, down):
                task.cancel()
        except (OSError, asyncio.IncompleteReadError):
            pass  # whoever asked went away, or the page did
        finally:
            for end in (on, back):
                if end is not None:
                    end.close()

    async def _down(self, there: asyncio.StreamReader, back: asyncio.StreamWriter) -> None:
        while part := await there.read(_PART):
            back.write(part)
            await back.drain()
            await asyncio.sleep(len(part) / _DOWN)

    async def _up(
        self, here: asyncio.StreamReader, on: asyncio.StreamWriter, path: str, size: int
    ) -> bool:
        """Pass a body on; return whether the line held."""
        sent = 0
        while sent < size and (part := await here.read(min(_PART, size - sent))):
            on.write(part)
            sent += len(part)
            await asyncio.sleep(len(part) / _UP)
            if self.cut and f"name={self.cut}" in path and sent >= self.after_bytes:
                self.cut, self.cuts = "", self.cuts + 1
                return False
        return True
