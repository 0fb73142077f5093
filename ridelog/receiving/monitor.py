"""Is the receiver ready: judged on what came last, by the rules that judge a finished log."""

from collections import deque
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Literal

import numpy as np

from ridelog.analysis.signal.measure import carries_figures, weakness
from ridelog.core.errors import NotEnoughDataError, RideLogError
from ridelog.core.flags import Flag
from ridelog.core.text import count_words
from ridelog.core.track import IntArray, Track
from ridelog.core.units import SpeedUnit
from ridelog.filtering.quality import (
    JUMPS_SHARE,
    POOR_HDOP,
    seen_poorly,
    steady_span_s,
    still_better,
    usual_interval_s,
)
from ridelog.importer import log_from_bytes
from ridelog.workflow.measure import motion_of_bytes

State = Literal["no fix", "settling", "ready"]
# How much of the past is judged: what came before the last so many seconds no longer counts.
_TAIL_S = 20.0
# A receiver of 25 fixes a second with five sentences each sends a third of this in that time.
_MOST_TAIL_BYTES = 1 << 18
# Without a fix for so long, or for three of its own intervals, the receiver has lost it.
_LOST_S, _LOST_INTERVALS = 3.0, 3.0
# How often the tail is read, and how often its motion is estimated, which costs more. [s]
_READ_S, _READ_READY_S, _JUDGE_S, _JUDGE_READY_S = 0.1, 1.0, 0.5, 10.0


@dataclass(frozen=True)
class Reading:
    """What the receiver says now.

    Attributes
    ----------
    utc : time of the last fix, None before the first.
    state, reason : whether a ride may begin, and what it waits for.
    satellites, hdop, speed_mps : of the last fix, None where it does not tell. [1, 1, m/s]
    fixes : how many have come in all.
    since_s : how long the state has lasted. [s]
    lost : whether the receiver had been ready and has no fix any more.
    """

    utc: str | None = None
    state: State = "no fix"
    reason: str = "nothing has arrived yet"
    satellites: int | None = None
    hdop: float | None = None
    speed_mps: float | None = None
    fixes: int = 0
    since_s: float = 0.0
    lost: bool = False

    @property
    def word(self) -> str:
        """The one word, or two, that says how the receiver is."""
        return "lost" if self.lost else self.state

    def details(self, unit: SpeedUnit) -> tuple[str, ...]:
        """Return what the last fix says, as far as it tells, in a few words each."""
        told = (
            f"{self.satellites} satellites" if self.satellites is not None else "",
            f"HDOP {self.hdop:.1f}" if self.hdop is not None else "",
            f"{unit.from_mps(self.speed_mps):.0f} {unit.label}"
            if self.speed_mps is not None
            else "",
            f"{self.fixes:,} fixes",
        )
        return tuple(words for words in told if words)


class Monitor:
    """Takes bytes as they arrive and tells the receiver's state; keeps the last seconds only.

    ``now_s`` is any clock that runs evenly. [s]
    """

    def __init__(self) -> None:
        self._parts: deque[tuple[float, bytes]] = deque()
        self._tail_bytes = self._bytes_before = self._fixes = self._counted_byte = 0
        self._judged_bytes = 0
        self._last = Reading()
        self._begun_s: float | None = None
        self._arrived_s = self._read_s = self._judged_s = self._state_s = -np.inf
        self._verdict = ""
        self._was_ready = False

    def feed(self, data: bytes, now_s: float) -> None:
        """Take what has arrived."""
        self._begun_s = now_s if self._begun_s is None else self._begun_s
        if data:
            self._arrived_s = now_s
            self._parts.append((now_s, data))
            self._tail_bytes += len(data)
        # What is cut at the front makes no sentence and no message any more.
        while self._parts and (
            self._parts[0][0] < now_s - _TAIL_S or self._tail_bytes > _MOST_TAIL_BYTES
        ):
            gone = len(self._parts.popleft()[1])
            self._tail_bytes -= gone
            self._bytes_before += gone

    def reading(self, now_s: float) -> Reading:
        """Return the receiver's state by now."""
        if now_s - self._read_s >= (_READ_READY_S if self.ready else _READ_S):
            self._read_s = now_s
            self._take(self._judge(now_s), now_s)
        return replace(self._last, since_s=max(0.0, now_s - self._state_s))

    def _take(self, new: Reading, now_s: float) -> None:
        if new.state != self._last.state or not np.isfinite(self._state_s):
            self._state_s = now_s
        if new.state == "ready":
            self._was_ready = True
        lost = new.state == "no fix" and self._was_ready
        self._last = replace(new, lost=lost, reason=f"lost: {new.reason}" if lost else new.reason)

    def _judge(self, now_s: float) -> Reading:
        known = replace(self._last, reason="", lost=False)
        nothing = replace(known, state="no fix", satellites=None, hdop=None, speed_mps=None)
        begun_s = now_s if self._begun_s is None else self._begun_s
        silent_s = now_s - max(self._arrived_s, begun_s)
        if not self._parts or silent_s > _LOST_S:
            words = f"nothing has arrived for {silent_s:.0f} s" if silent_s > _LOST_S else ""
            return replace(nothing, reason=words or "nothing has arrived yet")
        tail = b"".join(part for _, part in self._parts)
        try:
            track = log_from_bytes("receiver", tail)
        except NotEnoughDataError:
            return replace(nothing, reason="the receiver finds no position yet")
        except RideLogError:  # whatever else it looks like, a table without its columns too
            return replace(nothing, reason=self._no_sentence())
        at = _bytes_of(track, tail)
        ends = np.cumsum([len(part) for _, part in self._parts])
        came_s = np.array([moment for moment, _ in self._parts])[np.searchsorted(ends, at, "right")]
        self._count(at)
        known = _with_last_fix(known, track, self._fixes)
        patience_s = max(_LOST_S, _LOST_INTERVALS * usual_interval_s(track.time_s))
        if now_s - came_s[-1] > patience_s:
            return replace(
                nothing, utc=known.utc, fixes=known.fixes,
                reason=f"the receiver has had no position for {now_s - came_s[-1]:.0f} s",
            )  # fmt: skip
        holes = np.flatnonzero(np.diff(came_s) > patience_s)
        first = int(holes[-1]) + 1 if len(holes) else 0
        self._verdict = self._waits_for(track, first, tail[at[first] :], now_s)
        return replace(
            known,
            state="settling" if self._verdict else "ready",
            reason=self._verdict or "the receiver is steady: you can ride",
        )

    @property
    def ready(self) -> bool:
        """Whether the receiver was ready when it was last judged."""
        return self._last.state == "ready"

    def _count(self, at: IntArray) -> None:
        """Count the fixes that have come since the last look."""
        places = at + self._bytes_before + 1
        self._fixes += int(np.count_nonzero(places > self._counted_byte))
        self._counted_byte = max(self._counted_byte, int(places.max()))

    def _no_sentence(self) -> str:
        return (
            f"the last {count_words(self._tail_bytes, 'byte')} hold neither NMEA sentences nor UBX "
            "positions: the speed of the line is wrong, or the receiver is set to something else"
        )

    def _waits_for(self, track: Track, first: int, since: bytes, now_s: float) -> str:
        """Return what is missing until a ride may begin, "" if nothing is.

        ``first`` is the row from which on the receiver had its fix without a hole, ``since`` what
        has come from there on.
        """
        time_s = track.time_s[first:]
        span_s, longest_s = steady_span_s(usual_interval_s(time_s))
        left_s = span_s - float(time_s[-1] - time_s[0])
        if left_s > 0.0:
            return f"waiting for {np.ceil(left_s):.0f} s more of positions"
        if poor := _poor_geometry(track) or (
            "" if self.ready else _falling(track, first, longest_s)
        ):
            return poor
        come_bytes = self._bytes_before + self._tail_bytes
        rest_s = _JUDGE_READY_S if self.ready else _JUDGE_S
        if come_bytes == self._judged_bytes or now_s - self._judged_s < rest_s:
            return self._verdict
        self._judged_s, self._judged_bytes = now_s, come_bytes
        try:
            motion = motion_of_bytes("receiver", since)
        except RideLogError:
            return "waiting for positions that follow each other"
        time_s = motion.track.time_s
        if not motion.settled_s <= time_s[-1] - span_s:
            return "positions and speed do not agree with each other yet"
        lately = carries_figures(motion)[time_s >= time_s[-1] - span_s]
        if not lately.mean() >= 1.0 - JUMPS_SHARE:
            return "the last positions jump"
        return weakness(motion)


def _bytes_of(track: Track, tail: bytes) -> IntArray:
    """Return the place of each fix among the bytes that it was read from."""
    if track.source.format == "ubx":
        return track.source_line - 1
    end = b"\n" if b"\n" in tail else b"\r"
    feeds = np.flatnonzero(np.frombuffer(tail, dtype=np.uint8) == end[0])
    begins: IntArray = np.concatenate([[0], feeds + 1])[track.source_line - 1]
    return begins


def _with_last_fix(reading: Reading, track: Track, fixes: int) -> Reading:
    """Return a reading with what the last fix says."""
    utc = None
    if track.start_utc is not None and track.date_known:
        at = track.start_utc + timedelta(seconds=float(track.time_s[-1]))
        utc = at.isoformat(timespec="milliseconds").replace("+00:00", "Z")

    def last(values: np.ndarray) -> float | None:
        return float(values[-1]) if np.isfinite(values[-1]) else None

    return replace(
        reading, utc=utc, fixes=fixes, hdop=last(track.hdop), speed_mps=last(track.speed_mps),
        satellites=None if np.isnan(track.satellites[-1]) else int(track.satellites[-1]),
    )  # fmt: skip


def _poor_geometry(track: Track) -> str:
    """Return what is wrong with the satellites that the receiver sees, "" if nothing is told."""
    hdop, satellites = track.hdop, track.satellites
    if (track.flags[-1] & np.uint32(Flag.NO_FIX | Flag.DEAD_RECKONING)) != 0:
        return "the receiver marks its positions as guessed"
    if not seen_poorly(hdop[-1:], satellites[-1:])[0]:
        return ""
    if hdop[-1] > POOR_HDOP:
        return f"HDOP is {hdop[-1]:.1f}, {POOR_HDOP:.0f} or less is needed"
    return f"{count_words(int(satellites[-1]), 'satellite')} only, four are needed"


def _falling(track: Track, first: int, span_s: float) -> str:
    """Return how HDOP falls too fast to be what the ride will have, "" if it does not."""
    hdop = track.hdop[first:]
    lately = track.time_s[first:] >= track.time_s[-1] - span_s
    if not still_better(track.time_s[first:], hdop)[lately].any():
        return ""
    return f"HDOP still falls, it is {hdop[-1]:.1f} by now"
