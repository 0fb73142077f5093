"""What a log cannot show is part of every interval, and a maximum is freed from its choosing."""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from ridelog.analysis.figure import HEADLINE_WEIGHT
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.windows import windows_of
from ridelog.core.estimate import QUANTILE
from ridelog.core.interval import estimate
from ridelog.filtering.motion import Motion
from ridelog.filtering.standing_start.paths import UNSEEN_START_S
from ridelog.report.compare_words import headline_figures

# Half the standard deviation of an opening that is at once one time in three, else 0.1 to 0.45 s
# (standing_start (2)), and of a brake's build-up (braking (4)): common practice, no source.
OPENING_S = (0.1, 0.45)
START_SD_S, BRAKE_SD_S = 0.077, 0.069


def test_a_figure_is_freed_from_the_bias_of_choosing() -> None:
    """The highest of n normal errors is high by sd E[max]: 1.0296 sd of four (Harter 1961).

    H. L. Harter, Expected values of normal order statistics, Biometrika 48 (1961) 151-165, table 1.
    """
    random, sd, truth = np.random.default_rng(20261129), 0.1, 5.0
    found = []
    for _ in range(400):
        seen = truth + sd * random.standard_normal(4)
        # Each is drawn about what was seen, as errors are drawn about a fitted path.
        drawn = seen[:, None] + sd * random.standard_normal((4, 400))
        one = estimate(np.append(seen.max(), drawn.max(axis=0)))
        assert one is not None
        found.append((seen.max(), one.value))
    raw, freed = np.mean(found, axis=0)
    assert raw - truth == pytest.approx(1.0296 * sd, abs=0.01)
    # What was seen is spread by sd, and the draws about it by sqrt(2) sd in all: so they add
    # (sqrt(2) - 1) 1.0296 sd to the best seen, and that is taken off it.
    assert freed - truth == pytest.approx((2.0 - np.sqrt(2.0)) * 1.0296 * sd, abs=0.012)


def test_what_the_draws_add_is_taken_off_by_arithmetic() -> None:
    figures = np.array([10.0, *([10.5, 10.1] * 10), *([10.6, 10.0] * 10)])
    one = estimate(figures)
    # 2 x 10.0 - 10.3; half width: the root mean square of the cautious draws about their mean.
    assert one is not None and one.value == pytest.approx(9.7)
    assert one.high - one.value == pytest.approx(0.3 * QUANTILE)


def test_the_start_before_the_first_fix_that_moves_is_open(good_result: MeasuredRide) -> None:
    """No launch is timed to better than what its opening hides."""
    launches = good_result["launches"].launches
    assert len(launches) >= 2
    for one in launches:
        half = 0.5 * (one.start_estimate_s.high - one.start_estimate_s.low)
        # 200 draws tell a standard deviation to 5 %: three of these are allowed.
        assert half > 0.85 * QUANTILE * START_SD_S


def test_what_is_left_open_of_a_start_is_half_an_opening() -> None:
    """Moments of a mixture, by the instants themselves: a third at zero, the rest even."""
    even = np.linspace(*OPENING_S, 20_001)
    opening = np.concatenate([np.zeros(10_000), even])
    assert pytest.approx(0.5 * opening.std(), abs=0.0005) == UNSEEN_START_S


def test_the_build_up_of_a_brake_is_open(good_result: MeasuredRide) -> None:
    stops = [one for one in good_result["braking"].each if one.to_mps == 0.0 and one.from_mps > 5.0]
    assert stops
    for one in stops:
        hidden = BRAKE_SD_S * one.from_mps / one.distance_m.value
        half = 0.5 * (one.mean_decel_mps2.high - one.mean_decel_mps2.low)
        assert half / one.mean_decel_mps2.value > 0.85 * QUANTILE * hidden


def test_what_was_bridged_carries_no_figure(good_motion: Motion) -> None:
    """A speed five times less certain than usual was not seen; a little less often it was."""
    usual = good_motion.usual_speed_sd_mps
    plain = windows_of(good_motion, 1.0)
    at = int(np.flatnonzero(plain.usable)[len(plain.start_s) // 3])
    row = int(good_motion.known_rows[np.searchsorted(
        good_motion.track.time_s[good_motion.known_rows], plain.start_s[at] + 0.5
    )])  # fmt: skip
    for factor, usable in ((4.9, True), (5.1, False)):
        sd = good_motion.speed_sd_mps.copy()
        sd[row] = factor * usual
        found = windows_of(replace(good_motion, speed_sd_mps=sd), 1.0)
        assert bool(found.usable[at]) is usable and bool(found.lost[at]) is not usable


def test_three_figures_are_named_first() -> None:
    def compared(name: str, *, weight: float = HEADLINE_WEIGHT, doubt: str = "") -> Any:
        return SimpleNamespace(
            figure=SimpleNamespace(name=name), terms=SimpleNamespace(weight=weight),
            difference=object(), doubt=doubt,
        )  # fmt: skip

    names = ("two_way_mps", "best_1s_mps", "0-20 km/h", "pull_at_2_mps", "mean_braking_mps2", "x")
    every = [compared(n, weight=1.0 if n[0] == "m" else HEADLINE_WEIGHT) for n in names]
    comparison: Any = SimpleNamespace(figures=every)
    named = [one.figure.name for one in headline_figures(comparison)]
    assert named == ["two_way_mps", "0-20 km/h", "pull_at_2_mps"]
    comparison = SimpleNamespace(figures=[compared("best_1s_mps"), compared("y", doubt="wide")])
    assert [one.figure.name for one in headline_figures(comparison)] == ["best_1s_mps"]
