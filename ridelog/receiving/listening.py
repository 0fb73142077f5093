"""Listening: one thread reads and keeps what arrives, another judges it."""

import queue
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from ridelog.core.errors import RideLogError
from ridelog.receiving.line import ReceiverLine
from ridelog.receiving.recorder import Recorder

if TYPE_CHECKING:
    from ridelog.receiving.monitor import Reading

# How often the state is told; and the silence that ends an epoch, while the state may change with
# every fix: sentences of one follow each other closer than that even at 4,800 baud, and serial
# adapters hold bytes back for some 16 ms (common practice, no source). [s]
TELL_S, _SILENCE_S = 0.25, 0.05
# How a sentence begins, NMEA 0183, and a message, UBX.
_BEGINS = (b"$", b"\xb5\x62")


@dataclass
class Listening:
    """One listening: iterate over ``readings`` until the source ends or ``stop`` is called.

    Attributes
    ----------
    source, recorder : closed at the end; without a recorder nothing is kept.
    problem : why the line or the disk failed, None if nothing did.
    """

    source: ReceiverLine
    recorder: Recorder | None
    problem: RideLogError | None = None
    _ending: threading.Event = field(default_factory=threading.Event)

    def __post_init__(self) -> None:
        self._keeping = threading.Lock()
        self._begins = False
        # Judging may take longer than a receiver's buffer lasts, so reading does not wait for it.
        self._arrived: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def readings(self, for_s: float | None = None) -> Iterator["Reading"]:
        """Yield the receiver's state every TELL_S, and a last time when nothing more comes."""
        end_s = None if for_s is None else time.monotonic() + for_s
        # Loading what judges takes a second: the receiver is being read by then.
        from ridelog.receiving.monitor import Monitor

        self._monitor = Monitor()
        try:
            while not self._ending.is_set() and (end_s is None or time.monotonic() < end_s):
                left_s = TELL_S if end_s is None else max(0.0, end_s - time.monotonic())
                self._wait(min(TELL_S, left_s))
                yield self._reading()
            self.stop()
            self._reader.join()
            yield self._reading()
        finally:
            self.stop()
            self._reader.join()
            self.source.close()

    def record(self, recorder: Recorder | None) -> None:
        """Keep what arrives from now on, from the first whole sentence or message; None ends it.

        The one before is left to whoever gave it.
        """
        with self._keeping:
            self.recorder, self._begins = recorder, recorder is not None

    def stop(self) -> None:
        """End the listening; what has arrived is kept."""
        self._ending.set()

    def _wait(self, longest_s: float) -> None:
        """Wait for the next look; while the receiver is not ready, for an epoch at most."""
        if self._monitor.ready:
            self._ending.wait(longest_s)
            return
        end_s, patience_s = time.monotonic() + longest_s, longest_s
        with suppress(queue.Empty):
            while patience_s > 0.0:
                data = self._arrived.get(timeout=patience_s)
                now_s = time.monotonic()
                self._monitor.feed(data, now_s)
                patience_s = min(_SILENCE_S, end_s - now_s)

    def _reading(self) -> "Reading":
        now_s = time.monotonic()
        while not self._arrived.empty():
            self._monitor.feed(self._arrived.get(), now_s)
        self._monitor.feed(b"", now_s)
        return self._monitor.reading(now_s)

    def _from_its_begin(self, data: bytes) -> bytes:
        """Return what is to be kept of the bytes that arrived, all of them once a ride runs."""
        if not self._begins:
            return data
        begins = [at for at in map(data.find, _BEGINS) if at >= 0]
        self._begins = not begins
        return data[min(begins) :] if begins else b""

    def _read(self) -> None:
        try:
            while not self._ending.is_set():
                data = self.source.read()
                if data is None:
                    break
                with self._keeping:
                    if self.recorder is not None:
                        self.recorder.append(self._from_its_begin(data))
                if data:
                    self._arrived.put(data)
        except RideLogError as error:
            self.problem = error
        finally:
            try:
                if self.recorder is not None:
                    self.recorder.close()
            except RideLogError as error:
                self.problem = self.problem or error
            self._ending.set()
