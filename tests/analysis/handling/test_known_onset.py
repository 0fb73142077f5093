"""What is said of weave where the mean square of every second is known: handling (5) to (11).

The likelihood of gamma-distributed mean squares is minimised here by scipy; the edges of a claim
are own choices of the method, each from both sides.
"""

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import minimize

from ridelog.analysis.handling import weave
from ridelog.analysis.handling.band import Seconds
from ridelog.analysis.handling.weave import OnsetFit, Weave, fit_onset, measure_weave
from ridelog.core.track import FloatArray

FREEDOM, NOISE, NOISE_RATE = 8.0, 2e-3, 0.1
# Mean squares of the rate of yaw: at full strength, and of the course 1.4 times a second; steady.
RATE, STEADY = 0.3**2, 0.02**2
PER_COURSE = (2.0 * np.pi * 1.4) ** 2


def seconds(
    speed: FloatArray, across: FloatArray, across_rate: FloatArray, *, along: float = 1.0
) -> Seconds:
    """Return seconds each ridden at one speed; lengthways they have that share of the noise."""
    n = len(speed)
    return Seconds(
        np.arange(n, dtype=np.float64), speed[:, None], np.ones(1), across,
        np.full(n, along * NOISE), across_rate, np.full(n, along * NOISE_RATE), FREEDOM,
    )  # fmt: skip


def grown(speed: FloatArray, onset_mps: float, growth_mps: float) -> FloatArray:
    square: FloatArray = (np.clip((speed - onset_mps) / growth_mps, 0.0, 1.0) * speed) ** 2
    return square


def least(powers: FloatArray, bases: FloatArray, square: float) -> tuple[float, FloatArray]:
    """Return the least cost and its parts; steady yaw has an sd of 0.03 rad/s, squared by that."""
    weight = np.append(np.ones(len(powers) - 1), 2.0)
    hold = square / (FREEDOM * 0.03**2)

    def cost(logs: FloatArray) -> float:
        parts = np.exp(logs)
        mean = bases @ parts
        return float((weight * (np.log(mean) + powers / mean)).sum() + hold * parts[1])

    begin = np.log([powers[-1], STEADY / square, RATE / square])[: bases.shape[1]]
    found = minimize(cost, begin, method="Nelder-Mead",
                     options={"xatol": 1e-6, "fatol": 1e-6, "maxiter": 4000})  # fmt: skip
    return float(found.fun), np.exp(found.x)


def gain_of(powers: FloatArray, columns: FloatArray) -> float:
    """Return how much likelier the onset makes it, as a logarithm."""
    # From a rate of yaw to velocity by the middle of 0.8 to 3 Hz, by geometry.
    square = (2.0 * np.pi) ** 2 * 0.8 * 3.0
    without, within = (least(powers, each, square)[0] for each in (columns[:, :2], columns))
    return 0.5 * FREEDOM * (without - within)


def columns_of(speed: FloatArray, swing: FloatArray) -> FloatArray:
    """Return noise, steady yaw and weave at each speed, and at none."""
    found: FloatArray = np.append(
        np.stack([np.ones(len(speed)), speed**2, swing], axis=1), [[1.0, 0.0, 0.0]], axis=0
    )
    return found


@pytest.mark.parametrize(("onset", "growth", "scatter"), [
    (5.0, 0.8, 0.0), (7.5, 0.15, 0.0), (4.5, 3.2, 0.0), (6.0, 1.6, 0.8),
])  # fmt: skip
def test_an_onset_is_found_with_its_strength_and_odds(
    onset: float, growth: float, scatter: float
) -> None:
    speed = np.linspace(3.0, 10.0, 281)
    swing = grown(speed, onset, growth)
    # Every second is off by as much, one up and one down.
    off = 1.0 + np.resize([scatter, -scatter], len(speed))
    yaw = STEADY * speed**2 + RATE * swing
    across, across_rate = (NOISE + yaw / PER_COURSE) * off, (NOISE_RATE + yaw) * off
    fit = fit_onset(seconds(speed, across, across_rate), 10.0)
    assert fit is not None
    low, middle, high = np.quantile(fit.onset_mps, [0.05, 0.5, 0.95])
    assert middle == pytest.approx(onset, abs=0.12)
    assert low - 0.06 < onset < high + 0.06 and high - low < 0.8 + scatter
    columns = columns_of(speed, swing)
    _, parts = least(np.append(across_rate, NOISE_RATE), columns, 1.0)
    fast = np.sqrt(parts[1] + parts[2] * (swing / speed**2)[-4:].mean())
    # Sixty updates stop short of the least: the steady part keeps some of the noise.
    assert 0.68 * parts[0] < fit.noise_rate[0] < 1.05 * parts[0]
    assert fit.fast_rms_radps[0] == pytest.approx(fast, rel=0.02)
    assert fit.frequency_hz == pytest.approx(1.4, rel=0.03)
    # Seconds that scatter more than filtered noise count for less: their share of 2 / freedom.
    tempered = min(1.0, 2.0 / FREEDOM / scatter**2) if scatter else 1.0
    gain = tempered * gain_of(np.append(across, NOISE), columns)
    assert fit.gain == pytest.approx(gain, rel=0.04)
    # Another ride would have shown the fastest four seconds' strength within some per cent.
    cautious = fit.fast_rms_radps[151:]
    assert 0.005 < cautious.std() < 0.03 / tempered


def test_what_is_known_beforehand_counts_among_few_seconds() -> None:
    """Lengthways noise as of two seconds, here 0.4 of the other; steady yaw of 0.03 rad/s."""
    speed = np.linspace(3.0, 10.0, 30)
    swing = grown(speed, 6.0, 0.8)
    yaw = 0.06**2 * speed**2 + RATE * swing
    across = NOISE + yaw / PER_COURSE
    fit = fit_onset(seconds(speed, across, NOISE_RATE + yaw, along=0.4), 10.0)
    assert fit is not None
    columns = columns_of(speed, swing)
    assert fit.gain == pytest.approx(gain_of(np.append(across, 0.4 * NOISE), columns), rel=0.005)
    _, parts = least(np.append(NOISE_RATE + yaw, 0.4 * NOISE_RATE), columns, 1.0)
    assert fit.noise_rate[0] == pytest.approx(parts[0], rel=0.06)


def test_no_onset_where_too_few_seconds_lie_on_a_side() -> None:
    for speeds, fitted in (
        ([3.0] * 3 + [5.0] * 4, True),
        ([3.0] * 2 + [5.0] * 5, False),
        ([3.0] * 4 + [5.0] * 3, False),
        ([3.0] * 3 + [3.09] * 4, False),
        ([3.0] * 3 + [3.11] * 4, True),
    ):
        level = np.full(7, NOISE)
        assert (fit_onset(seconds(np.array(speeds), level, level), 10.0) is not None) is fitted


def said(
    monkeypatch: pytest.MonkeyPatch, *, odds: float = 1e6, rms: float = 0.3, sd: float = 0.02,
    onset: float = 7.0, slowest: float = 5.0, fastest: float = 9.0, count: int = 81,
    power: FloatArray | None = None, rate_hz: float = 10.0,
) -> Weave:  # fmt: skip
    """Return what is said of a fit; its draws are one deviation lower and higher in turn."""
    draws = np.resize([-1.0, 1.0], 300)
    fit = OnsetFit(
        float(np.log(odds)), np.full(300, onset), np.append(rms, rms + sd * draws), np.zeros(301),
        1.4,
    )  # fmt: skip
    speed = np.linspace(slowest, fastest, count)
    level = np.full(count, NOISE_RATE) if power is None else power
    monkeypatch.setattr(weave, "fit_onset", lambda *_: fit)
    monkeypatch.setattr(weave, "seconds_in_band", lambda *_, **__: seconds(speed, level, level))
    motion: Any = SimpleNamespace(rate_hz=rate_hz)
    return measure_weave(motion)


# Two half widths of 1.645 deviations: 0.0658 rad/s above the 0.08 of rough ground.
@pytest.mark.parametrize(("changes", "told"), [
    ({"odds": 1010.0}, True), ({"odds": 990.0}, False),
    ({"rms": 0.148}, True), ({"rms": 0.144}, False),
])  # fmt: skip
def test_a_weave_is_claimed_when_it_is_clear(
    monkeypatch: pytest.MonkeyPatch, changes: dict[str, Any], told: bool
) -> None:
    found = said(monkeypatch, **changes)
    assert found.weave_visible_from_radps == pytest.approx(0.08 + 2.0 * 1.645 * 0.02, abs=2e-4)
    assert (found.weave_onset_mps is not None) is told
    if told:
        assert found.weave_rms_radps is not None and found.weave_reason == ""
        assert found.weave_frequency_hz == 1.4 and not found.weave_or_below
    else:
        assert found.weave_rms_radps is None and found.weave_frequency_hz is None
        assert "in 81 s of straight riding; swings of 8." in found.weave_reason


@pytest.mark.parametrize(("onset", "below"), [(5.31, False), (5.29, True)])
def test_an_onset_near_the_slowest_speeds_may_lie_below_them(
    monkeypatch: pytest.MonkeyPatch, onset: float, below: bool
) -> None:
    found = said(monkeypatch, onset=onset)
    assert found.weave_or_below is below and found.weave_onset_mps is not None
    assert found.weave_onset_mps.value == pytest.approx(onset)
    assert found.weave_onset_mps.low == pytest.approx(0.0 if below else onset)


@pytest.mark.parametrize(("sd", "useful"), [(0.096, True), (0.098, False)])
def test_a_log_that_hides_all_but_a_violent_weave_says_so(
    monkeypatch: pytest.MonkeyPatch, sd: float, useful: bool
) -> None:
    """0.4 rad/s: 0.08 and two half widths of 0.16."""
    reason = said(monkeypatch, rms=0.1, sd=sd).weave_reason
    assert ("would have shown" in reason) is useful
    assert ("hides all but a violent weave" in reason) is not useful


def test_five_fixes_a_second_by_a_clock_that_is_a_little_off(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert said(monkeypatch, rate_hz=4.6).weave_onset_mps is not None
    assert said(monkeypatch, rate_hz=4.4).weave_reason.startswith("a log of 4.4 fixes a second")


def test_twelve_seconds_are_needed(monkeypatch: pytest.MonkeyPatch) -> None:
    assert said(monkeypatch, count=12).weave_onset_mps is not None
    assert said(monkeypatch, count=11).weave_reason == (
        "only 11 s were ridden straight and faster than a walk with a good signal; weave needs "
        "12 s over a range of speeds"
    )


@pytest.mark.parametrize(("fastest", "width"), [(11.9, 1.0), (12.1, 2.0)])
def test_classes_of_a_fast_machine_are_wider(
    monkeypatch: pytest.MonkeyPatch, fastest: float, width: float
) -> None:
    found = said(monkeypatch, slowest=4.5, fastest=fastest)
    assert {one.to_mps - one.from_mps for one in found.weave} == {width}
    assert found.weave[0].from_mps == 4.0


def test_how_well_a_class_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    """The mean of n squares errs by their scatter, or by that of noise: sqrt(2 / freedom)."""
    shares = []
    for scatter, relative, count in ((0.0, 0.5, 100), (0.3, 0.5, 400), (0.8, 0.8, 100)):
        power = 4.0 * (1.0 + np.resize([scatter, -scatter], count))
        found = said(monkeypatch, slowest=5.2, fastest=5.2, count=count, power=power)
        (one,) = found.weave
        rms = one.yaw_rate_rms_radps
        assert rms is not None and one.seconds == count
        assert rms.value**2 == pytest.approx(4.0 / 5.2**2)
        half = 1.645 * relative / count**0.5 * 4.0 / 5.2**2
        shares.append(0.5 * (rms.high**2 - rms.low**2) / half)
    # A width from 150 draws errs by some 8 %, here by the same numbers.
    assert shares == pytest.approx([1.0, 1.0, 1.0], abs=0.25)
    assert shares == pytest.approx(shares[:1] * 3, rel=0.03)


def test_four_seconds_make_a_class(monkeypatch: pytest.MonkeyPatch) -> None:
    # 5.0, 5.33, 5.67; from 6 on four each, and the last alone.
    found = said(monkeypatch, slowest=5.0, fastest=9.0, count=13).weave
    assert [one.seconds for one in found] == [3.0, 3.0, 3.0, 3.0]
    assert found[0].reason == (
        "only 3 s were ridden straight at these speeds; the swinging at a speed needs 4"
    )
    closer = said(monkeypatch, slowest=5.0, fastest=9.0, count=17).weave
    assert all(one.yaw_rate_rms_radps is not None and one.reason == "" for one in closer)
