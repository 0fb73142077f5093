"""Is the receiver ready: the states, in the order in which a morning brings them."""

import datetime as dt
import math
from collections.abc import Iterable, Iterator
from functools import reduce
from operator import xor
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ridelog.analysis.signal.measure import judge_signal
from ridelog.receiving.line import paced
from ridelog.receiving.monitor import Monitor, Reading
from ridelog.workflow.measure import motion_of_bytes

ROOT = Path(__file__).parents[2]
REAL = ROOT.parent / "shared" / "real-tracks" / "nmea"


def sentence(body: str) -> bytes:
    return f"${body}*{reduce(xor, body.encode()):02X}\r\n".encode()


def fix(
    at_s: float,
    *,
    hdop: float = 1.0,
    satellites: int = 10,
    north_m: float = 0.0,
    valid: bool = True,
    knots: float = 0.02,
) -> bytes:
    """Return RMC and GGA of a machine that stands, or that its receiver moves about."""
    clock = (dt.datetime(2024, 6, 9, 9, 30) + dt.timedelta(seconds=at_s)).strftime("%H%M%S.%f")[:-4]
    minutes = 12.0 + north_m / 1852.0
    place = f"00{minutes:010.7f},N,00021.0000000,W"
    if not valid:
        return sentence(f"GNRMC,{clock},V,,,,,,,090624,,,N")
    return sentence(f"GNRMC,{clock},A,{place},{knots:.2f},,090624,,,A") + sentence(
        f"GNGGA,{clock},{place},1,{satellites:02d},{hdop:.2f},13.2,M,0.0,M,,"
    )


def states(
    parts: Iterable[tuple[float, bytes]], monitor: Monitor, until_s: float = 0.0
) -> Iterator[tuple[float, Reading]]:
    """Yield each new state with the time at which it was told, looking every quarter second."""
    before = None
    now_s = 0.0

    def changed() -> Iterator[tuple[float, Reading]]:
        nonlocal before
        reading = monitor.reading(now_s)
        if (reading.state, reading.lost) != before:
            before = (reading.state, reading.lost)
            yield now_s, reading

    for at_s, data in [*parts, (until_s, b"")]:
        while now_s < at_s:
            now_s = min(at_s, now_s + 0.25)
            monitor.feed(b"", now_s)
            yield from changed()
        monitor.feed(data, now_s)


def test_a_steady_receiver_is_ready_in_three_seconds() -> None:
    parts = [(i / 5.0, fix(i / 5.0)) for i in range(100)]
    told = list(states(parts, Monitor()))
    assert [reading.state for _, reading in told] == ["settling", "ready"]
    assert told[0][1].reason == "waiting for 2 s more of positions"
    assert told[1][0] <= 3.0
    ready = told[1][1]
    assert ready.utc is not None
    assert ready.utc.startswith("2024-06-09T09:30:02.")
    assert (ready.satellites, ready.hdop) == (10, 1.0)
    assert ready.speed_mps == pytest.approx(0.0103, abs=1e-4)


@pytest.mark.parametrize("rate_hz", [1.0, 5.0, 10.0])
def test_three_fixes_over_two_seconds_are_enough_at_any_rate(rate_hz: float) -> None:
    monitor = Monitor()
    for number in range(round(2.0 * rate_hz) + 1):
        monitor.feed(fix(number / rate_hz), number / rate_hz)
        reading = monitor.reading(number / rate_hz)
        assert (reading.state == "ready") is (number == round(2.0 * rate_hz)), number
        if number == rate_hz:
            assert reading.reason == "waiting for 1 s more of positions"


def test_a_place_that_slides_is_waited_for_though_the_sky_is_good() -> None:
    """30 m off, a third less each four seconds, while the receiver says that it stands."""
    parts = [
        (float(i), fix(i, north_m=30.0 * math.exp(-i / 10.0), knots=0.01 * (1 + i % 3)))
        for i in range(40)
    ]
    ((_, settling), (ready_s, ready)) = states(parts, Monitor())
    assert (settling.state, ready.state) == ("settling", "ready")
    # A metre a second, and two seconds more.
    assert 10.0 * math.log(3.0) - 2.0 <= ready_s <= 10.0 * math.log(3.0) + 3.0


def weak_although_ready(parts: Iterable[tuple[float, bytes]]) -> list[str]:
    """Return what a log that ends where the receiver is called ready is too weak for."""
    monitor, come, found, readies = Monitor(), b"", [], 0
    for at_s, data in parts:
        monitor.feed(data, at_s)
        come += data
        if monitor.reading(at_s).state == "ready":
            readies += 1
            signal = judge_signal(motion_of_bytes("x", come))
            found += [f"{at_s:.1f} s: {signal.verdict}"] if signal.too_weak else []
    assert readies
    return found


@settings(max_examples=12, deadline=None)
@given(
    rate_hz=st.sampled_from([1, 2, 5, 10]),
    seed=st.integers(0, 2**16),
    poor_s=st.integers(0, 2),
    poor=st.sampled_from([{"satellites": 3}, {"hdop": 8.0}, {}]),
)
def test_no_log_that_ends_when_ready_is_too_weak(
    rate_hz: int, seed: int, poor_s: int, poor: dict[str, Any]
) -> None:
    """Whoever is told after two seconds cannot know when somebody will stop logging."""
    random = np.random.default_rng(seed)
    knots = random.uniform(0.0, 12.0)
    parts = []
    for number in range(9 * rate_hz):
        at_s = number / rate_hz
        north_m = at_s * knots * 1852.0 / 3600.0 + random.normal(0.0, 0.05)
        said = poor if at_s < poor_s else {}
        parts.append((at_s, fix(at_s, north_m=north_m, knots=knots, **said)))
    assert weak_although_ready(parts) == []


@pytest.mark.skipif(not REAL.is_dir(), reason="no folder of real receivers' logs beside this one")
@pytest.mark.parametrize("name", ["garmin15x", "com-1289", "motorola-t805", "mr-350p"])
def test_no_real_log_that_ends_when_ready_is_too_weak(name: str) -> None:
    assert weak_although_ready(paced((REAL / f"rx-{name}.log").read_bytes())) == []


def test_three_satellites_are_never_settled_on() -> None:
    """The height of such fixes is assumed: neither ready nor, afterwards, good enough."""
    few = b"".join(fix(i / 5.0, satellites=3) for i in range(60))
    assert judge_signal(motion_of_bytes("x", few)).verdict.endswith("the receiver never settled.")
    # A log that counts no satellites at all says nothing of them.
    uncounted = b"".join(fix(i / 5.0, satellites=0) for i in range(60))
    assert judge_signal(motion_of_bytes("x", uncounted)).settled_s == 0.0


def test_the_fixes_are_counted_once_each() -> None:
    monitor = Monitor()
    list(states([(i / 5.0, fix(i / 5.0)) for i in range(150)], monitor, until_s=31.0))
    assert monitor.reading(32.0).fixes == 150


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"hdop": 8.0}, "HDOP is 8.0, 5 or less is needed"),
        ({"satellites": 3}, "3 satellites only, four are needed"),
        ({"valid": False}, "the receiver finds no position yet"),
    ],
)
def test_what_is_waited_for_is_said(change: dict[str, float], says: str) -> None:
    parts = [(i / 5.0, fix(i / 5.0, **change)) for i in range(40)]  # type: ignore[arg-type]
    monitor = Monitor()
    told = list(states(parts, monitor))
    assert "ready" not in [reading.state for _, reading in told]
    assert monitor.reading(8.5).reason == says


def test_a_geometry_that_still_gets_better_is_waited_for() -> None:
    """HDOP falls to 1 within half a minute: a ride measured before would have the worse one."""
    hdop = [1.0 + 3.5 * max(0.0, 1.0 - i / 60.0) for i in range(100)]
    parts = [(i / 2.0, fix(i / 2.0, hdop=hdop[i])) for i in range(100)]
    told = list(states(parts, Monitor()))
    assert [reading.state for _, reading in told] == ["settling", "ready"]
    assert 25.0 <= told[-1][0] <= 36.0


def test_a_fix_lost_while_riding_is_said_and_found_again() -> None:
    def at(first: int, last: int) -> list[tuple[float, bytes]]:
        return [(i / 5.0, fix(i / 5.0)) for i in range(first, last)]

    tunnel = [(i / 5.0, fix(i / 5.0, valid=False)) for i in range(30, 80)]
    told = list(states([*at(0, 30), *tunnel, *at(80, 110)], Monitor()))
    assert [(reading.state, reading.lost) for _, reading in told] == [
        ("settling", False), ("ready", False), ("no fix", True),
        ("settling", False), ("ready", False),
    ]  # fmt: skip
    assert told[2][1].reason.startswith("lost: the receiver has had no position for ")
    # Three seconds after the last fix, at 5.8 s, and at most one look later.
    assert 8.75 <= told[2][0] <= 10.0


def test_a_silent_line_and_a_wrong_speed_are_told_apart() -> None:
    monitor = Monitor()
    monitor.feed(b"", 0.0)
    assert monitor.reading(0.0).reason == "nothing has arrived yet"
    assert monitor.reading(4.0).reason == "nothing has arrived for 4 s"
    monitor.feed(bytes(range(128, 256)) * 4 + b"\n", 5.0)
    assert (
        "hold neither NMEA sentences nor UBX positions: the speed of the line is wrong"
        in monitor.reading(5.1).reason
    )


@pytest.mark.parametrize(
    "sent", [b"temperature 21.3 C, humidity 40 %\r\n", b"<gpx></gpx>\n", b"{}\n"]
)
def test_what_is_no_receiver_is_said_and_ends_nothing(sent: bytes) -> None:
    monitor = Monitor()
    for number in range(4):
        monitor.feed(sent, float(number))
        reading = monitor.reading(float(number))
        assert reading.state == "no fix"
        assert "the speed of the line is wrong, or the receiver is set" in reading.reason
    monitor.feed(fix(0.0), 4.0)
    assert monitor.reading(4.0).state in ("no fix", "settling")


def test_a_flood_without_a_line_end_stays_small() -> None:
    monitor = Monitor()
    for i in range(200):
        monitor.feed(b"\xff" * 65_536, i * 0.01)
        monitor.feed(b"$GPRMC," * 9_000 + b"\n", i * 0.01)
    held = sum(len(part) for _, part in monitor._parts)
    assert 0 < held <= 1 << 18


@pytest.mark.skipif(not REAL.is_dir(), reason="no folder of real receivers' logs beside this one")
def test_real_receivers_become_ready_where_their_logs_have_settled() -> None:
    """Ready comes two seconds, and a look or two, after the moment from which a log had settled."""
    ready_s: dict[str, float] = {}  # by log
    for name in ("rx-com-1289.log", "rx-motorola-t805.log", "rx-tomtom-mkii.log"):
        told = list(states(paced((REAL / name).read_bytes()), Monitor()))
        if ready := [at for at, reading in told if reading.state == "ready"]:
            ready_s[name] = ready[0]
    assert ready_s["rx-com-1289.log"] <= 2.5
    # Its first fix comes at 7.2 s; it leaps for 3.1 s, and then has no fix for the next three.
    assert 10.3 + 3.0 <= ready_s["rx-motorola-t805.log"] <= 10.3 + 3.0 + 2.5
    # Three or four satellites, and three fixes in half a minute.
    assert "rx-tomtom-mkii.log" not in ready_s
