"""A receiver that sends UBX: judged, counted, replayed and kept as one that sends NMEA."""

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "importer"))

from binary_logs import pvt, ubx

from ridelog.importer import log_from_bytes
from ridelog.receiving.line import paced
from ridelog.receiving.monitor import Monitor


def message(i: int, *, fixed: bool = True) -> bytes:
    dop = ubx("NAV-DOP", iTOW=0, hDOP=0.9)
    return pvt(0.2 * i, gSpeed=10, lon=11.5, fixType=3 if fixed else 0) + dop


def test_a_steady_receiver_is_ready_and_its_fixes_are_counted_once() -> None:
    monitor = Monitor()
    states: list[str] = []
    for i in range(150):
        data = message(i)
        # Bytes arrive as they like, in the midst of messages too.
        monitor.feed(data[:37], 0.2 * i)
        monitor.feed(data[37:], 0.2 * i + 0.01)
        reading = monitor.reading(0.2 * i + 0.02)
        if not states or states[-1] != reading.state:
            states.append(reading.state)
    assert states == ["settling", "ready"]
    last = monitor.reading(32.0)
    assert last.fixes == 150
    assert last.satellites == 12 and last.speed_mps == pytest.approx(0.01)


def test_a_lost_fix_is_told() -> None:
    monitor = Monitor()
    for i in range(100):
        monitor.feed(message(i, fixed=i < 40), 0.2 * i)
        reading = monitor.reading(0.2 * i)
    assert reading.state == "no fix" and reading.lost


def test_a_log_is_replayed_in_its_own_time() -> None:
    data = b"".join(message(i) for i in range(10))
    parts = list(paced(data))
    assert b"".join(part for _, part in parts) == data
    assert [at_s for at_s, _ in parts] == pytest.approx([0.2 * i for i in range(10)])
    assert len(log_from_bytes("ride.ubx", parts[3][1])) == 1
