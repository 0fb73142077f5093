"""What a receiver states of itself: believed as far as the residuals agree, its size not at all."""

from dataclasses import replace

import numpy as np
import pytest
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset

from ridelog.core.track import Track
from ridelog.filtering.smoother import estimate_motion
from ridelog.filtering.stated_noise import Trust, stated_ratio


def test_only_the_pattern_of_what_is_stated_is_taken() -> None:
    stated = np.array([2.0, 1.0, np.nan, 4.0, 2.0, 0.0])
    ratio = stated_ratio(stated)
    assert ratio is not None
    assert ratio.tolist() == [1.0, 0.5, 1.0, 2.0, 1.0, 1.0]
    assert np.array_equal(ratio, stated_ratio(stated / 3.0))  # type: ignore[arg-type]  # not None


@pytest.mark.parametrize("stated", [[np.nan, np.nan, 1.0], [2.0, 2.0, 2.0], [0.0, -1.0, np.nan]])
def test_no_pattern_is_none(stated: list[float]) -> None:
    assert stated_ratio(np.array(stated)) is None


def test_absurd_ratios_are_bounded() -> None:
    ratio = stated_ratio(np.array([1.0, 1.0, 1.0, 1e6, 1e-6]))
    assert ratio is not None and (ratio.max(), ratio.min()) == (20.0, 0.05)


def learnt(exponent: float, count: int = 400, seed: int = 1) -> float:
    """Return the trust that is learnt where the noise goes as a power of what is stated."""
    rng = np.random.default_rng(seed)
    ratio = np.exp(rng.normal(0.0, 0.8, count))
    residual = rng.standard_normal((count, 2)) * (ratio**exponent)[:, None]
    trust, scale = Trust(), 1.0
    for _ in range(10):
        precision = 1.0 / (scale * trust.raised(ratio)) ** 2
        # Nothing else takes up the residuals: each fix determines its two deviations.
        trust = trust.improved(ratio, residual, np.zeros(count), precision)
        scaled = (residual**2).sum(axis=1) / trust.raised(ratio) ** 2
        scale = float(np.sqrt(scaled.mean() / 2.0))
    return trust.value


@pytest.mark.parametrize("exponent", [0.25, 0.5, 0.75])
def test_the_exponent_is_found(exponent: float) -> None:
    # Fisher's information of 400 fixes: 4 x 0.64 each, so a standard deviation of 0.03.
    assert learnt(exponent) == pytest.approx(exponent, abs=0.1)


def test_the_exponent_stays_between_nothing_and_all() -> None:
    assert learnt(-1.0) == 0.0
    assert learnt(3.0) == 1.0


def test_with_few_fixes_half_is_believed() -> None:
    assert learnt(1.0, count=1) == pytest.approx(0.5, abs=0.01)


def shaded() -> tuple[Track, float]:
    """Return a ride at 5 Hz, five times noisier in its second half, and when that begins."""
    rng = np.random.default_rng(8)
    ride = out_and_back(rng, passes=2, top_mps=8.0)
    half_s = 0.5 * ride.truth.duration_s
    receiver = replace(
        preset("clean", 5.0, rng),
        claims_sd=0.5,
        claims_speed_sd=0.5,
        shade=lambda time_s: np.where(time_s < half_s, 1.0, 5.0),
    )
    return to_track(receiver.observe(ride.truth, rng)), half_s


def test_noise_that_changes_is_followed() -> None:
    track, half_s = shaded()
    blank = np.full(len(track), np.nan)
    bare = replace(track, position_sd_m=blank.copy(), speed_sd_mps=blank.copy())
    with_it, without = estimate_motion(track), estimate_motion(bare)
    early, late = track.time_s < half_s - 2.0, track.time_s > half_s + 2.0
    spread = [
        float(np.nanmedian(motion.speed_sd_mps[late]) / np.nanmedian(motion.speed_sd_mps[early]))
        for motion in (with_it, without)
    ]
    assert spread[0] > 1.15 * spread[1]
    assert with_it.noise.trusts[1] is not None and with_it.noise.trusts[1] > 0.8
    assert "own accuracies of speeds believed by" in with_it.noise.words
    assert without.noise.trusts == (None, None)
    assert "accuracies" not in without.noise.words


def test_a_size_that_lies_changes_nothing() -> None:
    track, _ = shaded()
    lying = replace(
        track, position_sd_m=track.position_sd_m * 4.0, speed_sd_mps=track.speed_sd_mps / 4.0
    )
    assert np.array_equal(
        estimate_motion(track).speed_mps, estimate_motion(lying).speed_mps, equal_nan=True
    )
