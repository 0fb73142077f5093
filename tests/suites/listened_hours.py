"""A receiver of 25 fixes a second: memory and processor time over hours of its own clock.

These come as fast as they are taken, so that the disk is forced less often than in hours of ours;
what a listener costs with all of that is measured beside it, as a process in its own time.
"""

import json
import math
import os
import pty
import re
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Iterator
from functools import reduce
from operator import xor
from pathlib import Path

from listened_logs import ROOT
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


def _busy_s(process: int) -> float:
    """Return the processor time of a process so far, as Linux tells it: proc(5). [s]"""
    told = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def in_its_own_time(length_s: float = 120.0, from_s: float = 20.0) -> Iterator[dict[str, Cell]]:
    """Run the command on a serial line at 25 Hz; yield what it costs once it is loaded."""
    with tempfile.TemporaryDirectory() as folder:
        here, there = pty.openpty()
        tty.setraw(there)
        process = subprocess.Popen(
            [sys.executable, "-m", "ridelog", "listen", f"{os.ttyname(there)}@115200",
             "--out", "a.nmea", "--json", "-"],
            cwd=folder, env={**os.environ, "PYTHONPATH": str(ROOT)}, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
        )  # fmt: skip
        states: list[str] = []

        def read() -> None:
            assert process.stdout is not None
            states.extend(json.loads(line)["state"] for line in process.stdout)

        reader = threading.Thread(target=read)
        reader.start()
        begin_s, before_s = time.monotonic(), 0.0
        for number in range(round(length_s * RATE_HZ)):
            time.sleep(max(0.0, begin_s + number / RATE_HZ - time.monotonic()))
            os.write(here, epoch(number))
            if number == round(from_s * RATE_HZ):
                before_s = _busy_s(process.pid)
        busy_s = _busy_s(process.pid) - before_s
        process.terminate()
        process.wait(timeout=60.0)
        reader.join()
        os.close(here)
        os.close(there)
    yield {
        "case": f"a process of its own, {length_s - from_s:.0f} s in real time", "n": number + 1,
        "processor_s": busy_s, "share_of_a_core": busy_s / (length_s - from_s),
        "share_ready": states.count("ready") / len(states),
    }  # fmt: skip


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
        tempfile.TemporaryDirectory() as folder,
        os.fdopen(out, "rb", buffering=1 << 20) as stream,
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
