"""Where a machine stood, from solutions whose motion is written out: METHOD.md, filtering (16)."""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.core.track import FloatArray
from ridelog.filtering.quality import find_still


def still(
    speed_mps: FloatArray, *, sd_mps: float = 0.05, drift_mps: float = 0.02, broken_s: float = -1.0,
    moved_m: FloatArray | None = None, white_m: float = 0.1, rate_hz: float = 10.0,
) -> list[tuple[float, float]]:  # fmt: skip
    """Return the spans that are held at rest; positions alone if ``moved_m`` is given."""
    n = len(speed_mps)
    time_s = np.arange(n) / rate_hz
    states = np.zeros((n, 3, 2))
    states[:, 1, 1] = speed_mps
    place = np.zeros((n, 2))
    if moved_m is not None:
        place[:, 0] = moved_m
    solution: Any = SimpleNamespace(
        states=states,
        space=SimpleNamespace(
            n=n, time_s=time_s, d=6 if moved_m is None else 4, drift_time_s=20.0, position_m=place,
            breaks=np.abs(time_s[1:] - broken_s) < 1e-6,
        ),
        precisions=SimpleNamespace(drift=np.full(n - 1, drift_mps),
                                   position=np.full(n, white_m**-2.0)),
    )  # fmt: skip
    held = find_still(solution, np.full(n, sd_mps**2))
    edges = np.flatnonzero(np.diff(np.concatenate([[False], held, [False]]).astype(int)))
    return [(float(time_s[a]), float(time_s[b - 1])) for a, b in edges.reshape(-1, 2)]


def stop(lasts_s: float, slow: float | FloatArray = 0.0) -> FloatArray:
    """Return 5 s at 2 m/s, a stop, and 5 s at 2 m/s."""
    away = np.full(50, 2.0)
    return np.concatenate([away, np.broadcast_to(slow, round(10.0 * lasts_s) + 1), away])


def rocking(lasts_s: float, by_mps: float) -> FloatArray:
    """Return a stop in which the speed goes to and fro, so that nothing is travelled."""
    return stop(lasts_s, by_mps * np.resize([1.0, -1.0], round(10.0 * lasts_s) + 1))


def test_a_stand_of_three_seconds_is_one_and_its_edges_are_left_open() -> None:
    assert still(stop(2.9)) == []
    ((begins, ends),) = still(stop(3.1))
    # Half a second at either edge is left to the data: from 5 to 8.1 s.
    assert (begins, ends) == pytest.approx((5.5, 7.6))


@pytest.mark.parametrize(
    ("speed", "stands"),
    [
        (stop(6.0, 0.14), True), (stop(6.0, 0.16), False), (stop(6.0, -0.16), False),
        (rocking(6.0, 0.24), True), (rocking(6.0, 0.26), False),
    ],
)  # fmt: skip
def test_slow_travel_one_way_is_no_stand(speed: FloatArray, stands: bool) -> None:
    assert bool(still(speed)) is stands


@pytest.mark.parametrize(("by_mps", "sd_mps", "stands"), [
    (0.29, 0.15, True), (0.31, 0.15, False), (0.39, 1.0, True), (0.41, 1.0, False),
    (0.24, 0.0, True),
])  # fmt: skip
def test_what_is_slow_widens_with_what_is_unknown_up_to_a_walk(
    by_mps: float, sd_mps: float, stands: bool
) -> None:
    assert bool(still(rocking(6.0, by_mps), sd_mps=sd_mps)) is stands


def test_a_stand_across_an_interruption_is_two() -> None:
    assert len(still(stop(10.0))) == 1
    # Broken between 8.9 and 9 s.
    assert still(stop(10.0), broken_s=9.0) == []
    assert len(still(stop(10.0), broken_s=5.0)) == 1
    assert len(still(stop(10.0), broken_s=15.1)) == 1


@pytest.mark.parametrize("lasts_s", [4.0, 40.0])
def test_where_positions_drift_at_a_walk_only_a_long_stand_is_told(lasts_s: float) -> None:
    """Two deviations of the drift's mean over the stand must stay below 0.4 m/s.

    The mean of a drift that forgets itself in 20 s, its variance summed over all pairs of instants.
    """
    at_s = (np.arange(1000) + 0.5) * lasts_s / 1000
    share = np.exp(-np.abs(at_s[:, None] - at_s) / 20.0).mean() ** 0.5
    edge = 0.2 / share
    assert still(stop(lasts_s), drift_mps=0.99 * edge)
    assert not still(stop(lasts_s), drift_mps=1.01 * edge)


@pytest.mark.parametrize(("rate_hz", "fixes", "white_m", "drift_mps"), [
    (2.0, 3, 0.1, 0.01), (2.0, 3, 0.3, 0.01), (2.0, 3, 0.1, 0.05), (10.0, 11, 0.1, 0.01),
    (10.0, 11, 1.2, 0.02),
])  # fmt: skip
def test_positions_that_moved_on_speak_against_a_stand(
    rate_hz: float, fixes: int, white_m: float, drift_mps: float
) -> None:
    """Means of a second, three apart: three deviations and what drifts; often, a creep at least.

    0.4 m/s is the slowest travel, 1.2 m in three seconds: less is the receiver's own creep.
    """
    time_s = np.arange(0.0, 30.01, 1.0 / rate_hz)
    rest = np.where((time_s < 4.99) | (time_s > 25.01), 2.0, 0.0)
    edge = 3.0 * white_m * (2.0 / fixes) ** 0.5 + 9.0 * drift_mps
    edge = max(edge, 1.2) if rate_hz > 2.4 else edge

    def kept(share: float) -> list[tuple[float, float]]:
        moved = np.where(time_s > 15.05, share * edge, 0.0)
        return still(rest, moved_m=moved, white_m=white_m, drift_mps=drift_mps, rate_hz=rate_hz)

    assert kept(0.97) == [pytest.approx((5.5, 24.5))]
    one, two = kept(1.03)
    # It shows fully from one second before to one after, and each of them reaches two seconds.
    assert one == pytest.approx((5.5, 11.95), abs=0.6)
    assert two == pytest.approx((18.15, 24.5), abs=0.6)
    # A reported speed tells by itself.
    assert len(still(rest, rate_hz=rate_hz)) == 1


@pytest.mark.parametrize(("by_mps", "stands"), [(0.39, True), (0.41, False)])
def test_bare_positions_that_come_often_may_creep_up_to_the_slowest_travel(
    by_mps: float, stands: bool
) -> None:
    one_way = stop(6.0, by_mps)
    place = np.cumsum(one_way) / 10.0
    assert bool(still(one_way, moved_m=place)) is stands
    # With a fix every half second it is travel.
    assert still(one_way[::5], moved_m=place[::5], rate_hz=2.0) == []


def test_unknown_positions_tell_no_travel() -> None:
    time_s = np.arange(301) / 10.0
    rest = np.concatenate([np.full(50, 2.0), np.zeros(201), np.full(50, 2.0)])
    moved = np.where(time_s > 15.05, 5.0, 0.0)
    silent = np.where((time_s > 9.0) & (time_s < 21.0), np.nan, moved)
    assert len(still(rest, moved_m=moved)) == 2
    assert len(still(rest, moved_m=silent)) == 1
