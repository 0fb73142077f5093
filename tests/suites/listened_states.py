"""When a listener says "ready", and what the finished log says of that moment."""

import os
import pty
import threading
import time
import tty
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from listened_logs import ListenedLog, listened_logs
from record import Cell

from ridelog.analysis.signal.measure import judge_signal
from ridelog.core.errors import RideLogError
from ridelog.receiving.line import open_source, paced
from ridelog.receiving.listening import TELL_S, Listening
from ridelog.receiving.monitor import Monitor
from ridelog.workflow.measure import motion_of_bytes

# A ride may begin within three seconds of the moment from which its log has settled; a state is
# told one look later at most. [s]
WITHIN_S = 3.0 + TELL_S
LIVE_S, AT_ONCE = 45.0, 2


@dataclass(frozen=True)
class Finished:
    """What a finished log says: its grade, and when it had settled since its first fix. [s]"""

    grade: str
    settled_s: float


def finished(log: bytes) -> Finished:
    """Return what `ridelog signal` finds in a log; one without an answer is too weak."""
    try:
        motion = motion_of_bytes("log", log)
    except RideLogError:
        return Finished("too weak", float("nan"))
    signal = judge_signal(motion)
    return Finished(signal.grade, signal.settled_s - float(np.nanmin(motion.track.time_s)))


def _first(log: bytes) -> tuple[float | None, float | None]:
    """Return when the first fix and the first "ready" were told, on the log's own clock. [s]"""
    monitor, now_s = Monitor(), 0.0
    fix_s = ready_s = None

    def look() -> None:
        nonlocal fix_s, ready_s
        reading = monitor.reading(now_s)
        fix_s = now_s if fix_s is None and reading.fixes else fix_s
        ready_s = now_s if ready_s is None and reading.state == "ready" else ready_s

    parts = list(paced(log))
    for at_s, data in [*parts, (parts[-1][0] + 2.0, b"")]:
        while now_s < at_s:
            now_s = min(at_s, now_s + TELL_S)
            monitor.feed(b"", now_s)
            look()
        monitor.feed(data, now_s)
    return fix_s, ready_s


def on_their_own_clock(seed: int) -> Iterator[dict[str, Cell]]:
    """Compare the first "ready" of each log with what the finished log says."""
    told = []
    for log in listened_logs(seed):
        told.append((log, *_first(log.data)))
    yield from _compared(told)


def live(seed: int) -> Iterator[dict[str, Cell]]:
    """Do the same through a serial line in real time, the first LIVE_S of each log."""
    logs = listened_logs(seed)
    told = []
    for begin in range(0, len(logs), AT_ONCE):
        some = [
            ListenedLog(log.kind, log.name, _beginning(log.data))
            for log in logs[begin : begin + AT_ONCE]
        ]
        found: dict[str, tuple[float | None, float | None]] = {}
        threads = [threading.Thread(target=_listen, args=(log, found)) for log in some]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        told += [(log, *found[log.name]) for log in some]
    yield from _compared(told)


def _beginning(log: bytes) -> bytes:
    return b"".join(data for at_s, data in paced(log) if at_s <= LIVE_S)


def _listen(log: ListenedLog, found: dict[str, tuple[float | None, float | None]]) -> None:
    here, there = pty.openpty()
    tty.setraw(there)
    listening = Listening(open_source(f"{os.ttyname(there)}@115200"), None)
    begin_s = time.monotonic()

    def send() -> None:
        for at_s, data in paced(log.data):
            time.sleep(max(0.0, begin_s + at_s - time.monotonic()))
            os.write(here, data)
        time.sleep(2.0)
        listening.stop()

    sender = threading.Thread(target=send)
    sender.start()
    fix_s = ready_s = None
    for reading in listening.readings():
        now_s = time.monotonic() - begin_s
        fix_s = now_s if fix_s is None and reading.fixes else fix_s
        ready_s = now_s if ready_s is None and reading.state == "ready" else ready_s
    sender.join()
    os.close(here)
    os.close(there)
    found[log.name] = fix_s, ready_s


def _compared(
    told: list[tuple[ListenedLog, float | None, float | None]],
) -> Iterator[dict[str, Cell]]:
    for log, fix_s, ready_s in told:
        says = finished(log.data)
        late_s = None
        if ready_s is not None and fix_s is not None and np.isfinite(says.settled_s):
            late_s = ready_s - fix_s - says.settled_s
        weak = says.grade == "too weak"
        yield {
            "case": f"{log.kind}: {log.name}", "grade": says.grade, "settled_s": says.settled_s,
            "ready_after_fix_s": None if ready_s is None or fix_s is None else ready_s - fix_s,
            "late_s": late_s,
            "within_3_s": None if weak or late_s is None else int(abs(late_s) <= WITHIN_S),
            "weak_yet_ready": int(weak and ready_s is not None),
        }  # fmt: skip
