"""When a listener says "ready", and what the finished log says of that moment."""

import hashlib
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from listened_logs import ListenedLog, listened_logs
from listened_sources import LINES
from record import Cell

from ridelog.analysis.signal.measure import judge_signal
from ridelog.core.errors import RideLogError
from ridelog.importer import log_from_bytes
from ridelog.receiving.line import paced
from ridelog.receiving.listening import TELL_S, Listening
from ridelog.receiving.monitor import Monitor
from ridelog.receiving.recorder import Recorder
from ridelog.workflow.measure import motion_of_bytes

# A ride may begin within three seconds of the moment from which its log has settled.
WITHIN_S = 3.0
# Listeners are begun one after another, so that they do not all judge at the same moment.
LIVE_S, AT_ONCE, APART_S = 32.0, 10, 0.7


@dataclass(frozen=True)
class Finished:
    """What a finished log says: its grade, and when it had settled since its first fix. [s]"""

    grade: str
    settled_s: float


@dataclass(frozen=True)
class Told:
    """When a listener first said "ready", since the first byte was sent. [s]

    whole : what it kept has the SHA-256 of what was sent, None if it kept nothing.
    """

    ready_s: float | None
    whole: bool | None = None


@cache
def finished(log: bytes) -> Finished:
    """Return what `ridelog signal` finds in a log; one without an answer is too weak."""
    try:
        motion = motion_of_bytes("log", log)
    except RideLogError:
        return Finished("too weak", float("nan"))
    signal = judge_signal(motion)
    return Finished(signal.grade, signal.settled_s - float(np.nanmin(motion.track.time_s)))


@cache
def first_fix_s(log: bytes) -> float:
    """Return when the sentences of a log's first fix are sent, NaN if it has none. [s]"""
    come = b""
    for at_s, part in paced(log):
        come += part
        try:
            log_from_bytes("log", come)
        except RideLogError:
            continue
        return at_s
    return float("nan")


def _ready_s(log: bytes) -> float | None:
    """Return when "ready" is first told, on the log's own clock. [s]"""
    monitor, now_s = Monitor(), 0.0
    parts = list(paced(log))
    for at_s, data in [*parts, (parts[-1][0] + 2.0, b"")]:
        while now_s < at_s:
            now_s = min(at_s, now_s + TELL_S)
            monitor.feed(data if now_s == at_s else b"", now_s)
            if monitor.reading(now_s).state == "ready":
                return now_s
        if at_s == 0.0:
            monitor.feed(data, now_s)
    return None


def on_their_own_clock(seed: int) -> Iterator[dict[str, Cell]]:
    """Compare the first "ready" of each log with what the finished log says."""
    for log in listened_logs(seed):
        yield _compared(log, Told(_ready_s(log.data)))


def live(seed: int) -> Iterator[dict[str, Cell]]:
    """Do the same in real time, the first LIVE_S of each log, and keep what comes; by each line."""
    logs = listened_logs(seed)
    for line in LINES:
        for begin in range(0, len(logs), AT_ONCE):
            some = logs[begin : begin + AT_ONCE]
            found: dict[str, Told] = {}
            threads = [
                threading.Thread(target=_listen, args=(line, log, APART_S * k, found))
                for k, log in enumerate(some)
            ]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
            yield from ({"line": line, **_compared(log, found[log.name])} for log in some)


def _listen(line_name: str, log: ListenedLog, later_s: float, found: dict[str, Told]) -> None:
    time.sleep(later_s)
    parts = [part for part in paced(log.data) if part[0] <= LIVE_S]
    with tempfile.TemporaryDirectory() as folder, LINES[line_name]() as line:
        place = Path(folder) / "a.nmea"
        listening = Listening(line.source, Recorder(place))
        begin_s = time.monotonic()

        def send() -> None:
            for at_s, data in parts:
                time.sleep(max(0.0, begin_s + at_s - time.monotonic()))
                line.write(data)
            time.sleep(2.0)
            listening.stop()

        sender = threading.Thread(target=send)
        sender.start()
        ready_s = None
        for reading in listening.readings():
            if ready_s is None and reading.state == "ready":
                ready_s = time.monotonic() - begin_s
        sender.join()
        sent = hashlib.sha256(b"".join(data for _, data in parts)).hexdigest()
        whole = hashlib.sha256(place.read_bytes()).hexdigest() == sent
    found[log.name] = Told(ready_s, whole)


def _compared(log: ListenedLog, told: Told) -> dict[str, Cell]:
    says, fix_s = finished(log.data), first_fix_s(log.data)
    since_fix_s = None if told.ready_s is None else told.ready_s - fix_s
    late_s = None
    if since_fix_s is not None and np.isfinite(says.settled_s):
        late_s = since_fix_s - says.settled_s
    weak = says.grade == "too weak"
    return {
        "case": f"{log.kind}: {log.name}", "grade": says.grade, "settled_s": says.settled_s,
        "ready_after_fix_s": since_fix_s, "late_s": late_s,
        "within_3_s": None if weak else int(late_s is not None and abs(late_s) <= WITHIN_S),
        "weak_yet_ready": int(weak and told.ready_s is not None),
        "wrong": None if told.whole is None else int(not told.whole),
    }  # fmt: skip
