"""Short spans give way to their longer neighbours."""

from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.phases.measure import LIKELY, PhaseSpan, _log_odds, without_short

KINDS = ("steady", "pull", "turning", "braking")


def spans_of(kinds: list[str], lengths_s: list[float]) -> list[PhaseSpan]:
    ends = np.cumsum([0.0, *lengths_s]).tolist()
    return [PhaseSpan(*one) for one in zip(kinds, ends[:-1], ends[1:], strict=True)]


def random_spans(rng: np.random.Generator, count: int) -> list[PhaseSpan]:
    kinds = [KINDS[0]]
    while len(kinds) < count:
        kinds.append(str(rng.choice([kind for kind in KINDS if kind != kinds[-1]])))
    # Whole numbers of instants, so that equal lengths occur.
    return spans_of(kinds, [float(n) for n in rng.integers(1, 20, count)])


@pytest.mark.parametrize("seed", range(60))
def test_what_is_left_is_long_and_covers_the_same_time(seed: int) -> None:
    spans = random_spans(np.random.default_rng(seed), 1 + seed)
    braked = [(one.start_s, one.end_s) for one in spans if one.kind == "braking"]
    end_s = spans[-1].end_s
    left = without_short(spans, 8.0, ("braking",))
    assert (left[0].start_s, left[-1].end_s) == (0.0, end_s)
    for one, other in pairwise(left):
        assert one.end_s == other.start_s and one.kind != other.kind
    long = [one for one in left if one.end_s - one.start_s >= 8.0 or one.kind == "braking"]
    assert len(left) == 1 or long == left
    # What was measured may take in neighbours, but loses nothing.
    for start_s, stop_s in braked:
        assert any(o.kind == "braking" and o.start_s <= start_s and stop_s <= o.end_s for o in left)


def test_the_shortest_gives_way_first_and_to_the_longer_neighbour() -> None:
    kinds = ["steady", "pull", "turning", "pull", "steady"]
    left = without_short(spans_of(kinds, [9.0, 3.0, 2.0, 4.0, 1.0]), 8.0, ())
    assert [(one.kind, one.start_s, one.end_s) for one in left] == [
        ("steady", 0.0, 9.0),
        ("pull", 9.0, 19.0),
    ]


def test_what_is_kept_stays_however_short() -> None:
    kinds = ["steady", "braking", "pull"]
    assert without_short(spans_of(kinds, [5.0, 0.1, 5.0]), 0.8, ("braking",)) == spans_of(
        kinds, [5.0, 0.1, 5.0]
    )
    joined = without_short(spans_of(kinds, [5.0, 0.1, 6.0]), 0.8, ())
    assert [(one.kind, one.start_s) for one in joined] == [("steady", 0.0), ("pull", 5.0)]


def test_a_single_short_span_stays() -> None:
    assert without_short([PhaseSpan("steady", 0.0, 0.1)], 0.8, ()) == [
        PhaseSpan("steady", 0.0, 0.1)
    ]
    assert without_short([], 0.8, ()) == []


@pytest.mark.parametrize(("speed", "accel", "yaw", "kind"), [
    (0.0, 0.0, 0.0, "standstill"), (5.0, 2.0, 0.0, "pull"), (5.0, 0.0, 0.0, "steady"),
    (5.0, -0.35, 0.0, "coasting"), (5.0, -3.0, 0.0, "braking"), (5.0, 0.0, -0.6, "turning"),
    (5.0, -3.0, 0.6, "braking"),
    # What nothing on wheels does is as likely of every kind.
    (5.0, 400.0, 0.0, ""), (5.0, 0.0, 90.0, ""), (900.0, 0.0, 0.0, ""),
])  # fmt: skip
def test_an_instant_is_likeliest_of_its_kind(
    speed: float, accel: float, yaw: float, kind: str
) -> None:
    count = 60
    path: Any = SimpleNamespace(
        time_s=0.1 * np.arange(count), speed_mps=np.full(count, speed),
        accel_mps2=np.full(count, accel), yaw_rate_radps=np.full(count, yaw),
    )  # fmt: skip
    odds = _log_odds(path, 0.03, 10.0)[count // 2]
    assert np.isfinite(odds).all()
    if kind:
        assert LIKELY[int(odds.argmax())] == kind
    else:
        assert np.ptp(odds) == 0.0
