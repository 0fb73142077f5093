"""A listener on a real line that is killed, whose disk is full, or that simply takes everything."""

import hashlib
import os
import pty
import re
import resource
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
from listened_logs import ROOT, SAMPLES, listened_logs
from listened_sources import LINES, Line
from record import Cell

from ridelog.receiving.line import paced
from ridelog.receiving.listening import Listening
from ridelog.receiving.recorder import Recorder

LONGEST_S = 60.0
# Runs the command line and notes at which size the log was forced to the disk.
_CHILD = """
import os, stat, sys
told = open(sys.argv.pop(1), "ab", buffering=0)
force = os.fsync
def fsync(descriptor):
    found = os.fstat(descriptor)
    force(descriptor)
    if stat.S_ISREG(found.st_mode):
        told.write(b"%d\\n" % found.st_size)
os.fsync = fsync
from ridelog.cli.main import run
run(sys.argv[1:])
"""


def _environment() -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}


def _until(true: Callable[[], bool], what: str) -> None:
    end_s = time.monotonic() + LONGEST_S
    while not true():
        if time.monotonic() > end_s:
            raise TimeoutError(f"nothing for {LONGEST_S} s: {what}")
        time.sleep(0.005)


def _size(path: Path) -> int:
    return path.stat().st_size if path.exists() else 0


def killed(kills: int, seed: int) -> Iterator[dict[str, Cell]]:
    """Kill a listener again and again; count lines older than a second that are not on the disk."""
    rng = np.random.default_rng([seed, 1])
    parts = [data for _, data in paced((SAMPLES / "after-2.nmea").read_bytes())]
    lost = lost_to_power = sent_bytes = damaged = 0
    oldest_s = 0.0
    for number in range(kills):
        with tempfile.TemporaryDirectory() as folder:
            log, forced = Path(folder) / "a.nmea", Path(folder) / "forced"
            here, there = pty.openpty()
            tty.setraw(there)
            process = subprocess.Popen(
                [sys.executable, "-c", _CHILD, str(forced), "listen",
                 f"{os.ttyname(there)}@115200", "--out", str(log)],
                cwd=folder, env=_environment(), stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
            )  # fmt: skip
            _until(log.exists, "no log was begun")
            begin_s, end_s = time.monotonic(), time.monotonic() + float(rng.uniform(1.0, 4.0))
            sent = b""
            when: list[tuple[float, int]] = []  # when so many bytes had been sent
            for k, part in enumerate(parts):
                while time.monotonic() < min(begin_s + 0.1 * k, end_s):
                    time.sleep(0.002)
                if time.monotonic() >= end_s:
                    break
                os.write(here, part)
                sent += part
                when.append((time.monotonic(), len(sent)))
            process.kill()
            at_s = time.monotonic()
            process.wait()
            os.close(here)
            os.close(there)
            kept = log.read_bytes()
            sizes = [int(line) for line in forced.read_bytes().split()]
            safe = max(sizes, default=0)
            due = max((size for moment, size in when if moment <= at_s - 1.0), default=0)
            damaged += not sent.startswith(kept)
            lost += sent[len(kept) : due].count(b"\n")
            lost_to_power += sent[safe:due].count(b"\n")
            sent_bytes += len(sent)
            waiting = [at_s - moment for moment, size in when if size > safe]
            oldest_s = max([oldest_s, *waiting])
        if (number + 1) % 10 == 0:
            print(f"  {number + 1} kills, {lost} and {lost_to_power} lines lost", flush=True)
    yield {
        "case": "serial line, 10 fixes a second", "n": kills, "sent_bytes": sent_bytes,
        "lines_lost": lost, "lines_lost_to_a_power_cut": lost_to_power,
        "oldest_line_not_forced_s": oldest_s, "wrong": lost + lost_to_power + damaged,
    }  # fmt: skip


def on_a_full_disk(seed: int) -> Iterator[dict[str, Cell]]:
    """Let the disk take no more after a random size; the first bytes stay, and it is said."""
    rng = np.random.default_rng([seed, 2])
    data = (SAMPLES / "after-2.nmea").read_bytes()
    for case, run, rounds in (
        ("limit on the file's size", _limited, 10),
        ("a file system of its own", _small, 5),
    ):
        done = wrong = 0
        for _ in range(rounds):
            with tempfile.TemporaryDirectory() as folder:
                most = int(rng.integers(4, 60)) * 4096
                found = run(Path(folder), most, data)
                if found is None:  # no such thing may be made here
                    continue
                kept, status, said = found
                done += 1
                told = re.search(r"disk takes no more \(.+\); the\s+first\s+([\d,]+)\s+bytes", said)
                right = (
                    status == 1
                    and told is not None
                    and int(told[1].replace(",", "")) == len(kept)
                    and data.startswith(kept)
                    and len(kept) >= most - 4096
                    and "Traceback" not in said
                )
                if not right:
                    wrong += 1
                    print(f"  FAULT: {case}, {most} bytes: {len(kept)} kept, {said[-300:]}")
        yield {"case": case, "n": done, "wrong": wrong}


def _limited(folder: Path, most: int, data: bytes) -> tuple[bytes, int, str]:
    done = subprocess.run(
        [sys.executable, "-m", "ridelog", "listen", "-", "--out", "a.nmea"],
        cwd=folder, env=_environment(), input=data, capture_output=True, timeout=LONGEST_S,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most)),
    )  # fmt: skip
    return (folder / "a.nmea").read_bytes(), done.returncode, " ".join(done.stderr.decode().split())


def _small(folder: Path, most: int, data: bytes) -> tuple[bytes, int, str] | None:
    (folder / "disk").mkdir()
    script = (
        f"mount -t tmpfs -o size={most} none disk || exit 99; "
        '"$0" -m ridelog listen - --out disk/a.nmea; status=$?; cp disk/a.nmea a.nmea; exit $status'
    )
    done = subprocess.run(
        ["unshare", "--map-root-user", "--mount", "sh", "-c", script, sys.executable],
        cwd=folder, env=_environment(), input=data, capture_output=True, timeout=LONGEST_S,
    )  # fmt: skip
    if not (folder / "a.nmea").exists():
        print(f"  no file system of its own here: {done.stderr.decode()[-200:]}")
        return None
    return (folder / "a.nmea").read_bytes(), done.returncode, " ".join(done.stderr.decode().split())


def byte_for_byte(seed: int) -> Iterator[dict[str, Cell]]:
    """Send each log by each line as fast as it takes it; compare what is kept."""
    logs = listened_logs(seed)
    for case, opened in LINES.items():
        wrong = 0
        for log in logs:
            with tempfile.TemporaryDirectory() as folder, opened() as line:
                place = Path(folder) / "a.nmea"
                _send(line, place, log.data)
                kept = hashlib.sha256(place.read_bytes()).hexdigest()
                if kept != hashlib.sha256(log.data).hexdigest():
                    wrong += 1
                    print(f"  FAULT: {case}, {log.name}: {_size(place)} of {len(log.data)} bytes")
        yield {"case": case, "n": len(logs), "wrong": wrong}


def _send(line: Line, place: Path, data: bytes) -> None:
    """Record until everything has come, or the source has ended."""

    def send() -> None:
        # Nothing holds a sender of datagrams back, so it waits: 500 times as fast as 1 Hz.
        for _, part in paced(data):
            line.write(part)
            time.sleep(0.002)
        line.end()

    listening = Listening(line.source, Recorder(place))
    sender = threading.Thread(target=send)
    sender.start()
    end_s = time.monotonic() + LONGEST_S
    for _ in listening.readings():
        if _size(place) >= len(data) or time.monotonic() > end_s:
            listening.stop()
    sender.join()
