"""A receiver of 25 fixes a second for hours of its own clock: memory and processor time."""

import math
import os
import re
import tempfile
import time
from collections.abc import Iterator
from functools import reduce
from operator import xor
from pathlib import Path
from unittest.mock import patch

from record import Cell

from ridelog.receiving.listening import TELL_S
from ridelog.receiving.monitor import Monitor
from ridelog.receiving.recorder import Recorder

RATE_HZ = 25
_HOUR_S = 3600
# It rides in a circle on open sea (latitude 0.2 N, longitude 0.35 W), once in two minutes.
_RADIUS_M, _ROUND_S, _M_PER_MINUTE = 150.0, 120.0, 1852.0


def _sentence(body: str) -> bytes:
    return f"${body}*{reduce(xor, body.encode()):02X}\r\n".encode()


def epoch(number: int) -> bytes:
    """Return RMC, GGA and GSA of one moment."""
    at_s = number / RATE_HZ
    turn = 2.0 * math.pi * at_s / _ROUND_S
    knots = 2.0 * math.pi * _RADIUS_M / _ROUND_S * 3600.0 / 1852.0
    # Noise of some centimetres that needs no generator: the fraction of a long product.
    noise = [math.modf(number * factor)[0] - 0.5 for factor in (0.6180339887, 0.7548776662)]
    north = 12.0 + (_RADIUS_M * math.sin(turn) + 0.05 * noise[0]) / _M_PER_MINUTE
    west = 21.0 - (_RADIUS_M * math.cos(turn) + 0.05 * noise[1]) / _M_PER_MINUTE
    seconds = at_s % 86_400.0
    clock = f"{int(seconds // 3600):02d}{int(seconds % 3600 // 60):02d}{seconds % 60:05.2f}"
    place = f"00{north:010.7f},N,000{west:010.7f},W"
    course = math.degrees(-turn) % 360.0
    return (
        _sentence(f"GNRMC,{clock},A,{place},{knots:.3f},{course:.2f},080624,,,A")
        + _sentence(f"GNGGA,{clock},{place},1,12,0.80,12.0,M,0.0,M,,")
        + _sentence("GNGSA,A,3,01,02,03,04,05,06,07,08,09,10,11,12,1.44,0.80,1.20")
    )


def _peak_mib() -> float:
    found = re.search(r"VmHWM:\s+(\d+) kB", Path("/proc/self/status").read_text())
    assert found is not None
    return int(found[1]) / 1024.0


def hours(count: float) -> Iterator[dict[str, Cell]]:
    """Keep and judge what comes in so many hours; yield a row after 1, 4 and all of them."""
    out, into = os.pipe()
    child = os.fork()
    if child == 0:  # the receiver, whose time is not ours
        os.close(out)
        with os.fdopen(into, "wb", buffering=1 << 20) as stream:
            for number in range(round(count * _HOUR_S * RATE_HZ)):
                data = epoch(number)
                stream.write(len(data).to_bytes(4, "big") + data)
        os._exit(0)
    os.close(into)
    told = {min(count, 1.0), min(count, 4.0), count}
    now_s, busy_s, number, ready = 0.0, 0.0, 0, 0
    looks = round(RATE_HZ * TELL_S)  # epochs between two looks
    monitor = Monitor()
    with (
        tempfile.TemporaryDirectory(dir=Path.cwd()) as folder,
        os.fdopen(out, "rb", buffering=1 << 20) as stream,
        # The log is forced to the disk as often as it would be in all these hours.
        patch("ridelog.receiving.recorder.time.monotonic", lambda: now_s),
    ):
        recorder = Recorder(Path(folder) / "a.nmea")
        while head := stream.read(4):
            data = stream.read(int.from_bytes(head, "big"))
            number += 1
            now_s = number / RATE_HZ
            begin_s = time.process_time()
            recorder.append(data)
            monitor.feed(data, now_s)
            if number % looks == 0:
                ready += monitor.reading(now_s).state == "ready"
            busy_s += time.process_time() - begin_s
            for hour in [one for one in told if now_s >= one * _HOUR_S]:
                told.remove(hour)
                yield {
                    "case": f"after {hour:g} h", "n": number, "peak_mib": _peak_mib(),
                    "log_mib": recorder.size_bytes / 2**20, "processor_s": busy_s,
                    "share_of_a_core": busy_s / now_s, "share_ready": ready * looks / number,
                }  # fmt: skip
        recorder.close()
    os.waitpid(child, 0)
