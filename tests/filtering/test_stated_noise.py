"""What a receiver states of itself: believed as far as the residuals agree, its size not at all."""

from dataclasses import replace

import numpy as np
import pytest
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset

from ridelog.core.track import FloatArray, Track
from ridelog.filtering.receiver.colour import noise_of_means
from ridelog.filtering.smoother import estimate_motion
from ridelog.filtering.stated_noise import (
    Trust,
    _counted_too_often,
    evidence,
    judged,
    stated_ratio,
)


def test_only_the_pattern_of_what_is_stated_is_taken() -> None:
    stated = np.array([2.0, 1.0, np.nan, 4.0, 2.0, 0.0, 1.0])
    ratio = stated_ratio(stated)
    assert ratio is not None
    # To what the best quarter has, 1; the usual fix, 2, stands for what is not stated.
    assert ratio.tolist() == [2.0, 1.0, 2.0, 4.0, 2.0, 2.0, 1.0]
    assert np.array_equal(ratio, stated_ratio(stated / 3.0))  # type: ignore[arg-type]  # not None


@pytest.mark.parametrize("stated", [[np.nan, np.nan, 1.0], [2.0, 2.0, 2.0], [0.0, -1.0, np.nan]])
def test_no_pattern_is_none(stated: list[float]) -> None:
    assert stated_ratio(np.array(stated)) is None


def test_absurd_ratios_are_bounded() -> None:
    ratio = stated_ratio(np.array([1.0, 1.0, 1.0, 1e6, 1e-6]))
    assert ratio is not None and (ratio.max(), ratio.min()) == (20.0, 0.05)


def told(exponent: float, *, count: int = 400, seed: int = 1, repeated: int = 1) -> FloatArray:
    """Return the evidence of fixes whose noise goes as a power of what is stated.

    Nothing else takes up the residuals, and no two fixes are near each other in time unless they
    are ``repeated``, which makes as many of one within a second.
    """
    rng = np.random.default_rng(seed)
    ratio = np.exp(rng.normal(0.0, 0.8, count))
    residual = rng.standard_normal((count, 2)) * (ratio**exponent)[:, None]
    time_s = 100.0 * np.arange(float(count))
    fixes = np.repeat(np.arange(count), repeated)
    time_s = time_s[fixes] + np.tile(np.arange(repeated) / repeated, count)
    nothing = np.zeros(len(fixes))
    return evidence(time_s, ratio[fixes], residual[fixes], nothing, nothing, sd=2.0)


@pytest.mark.parametrize("exponent", [0.25, 0.5, 0.75])
def test_the_exponent_is_found(exponent: float) -> None:
    # Fisher's information of 400 fixes under Student's t: 2.4 x 0.64 each, a deviation of 0.04.
    assert judged(told(exponent), None)[0].value == pytest.approx(exponent, abs=0.1)


def test_the_exponent_stays_between_nothing_and_all() -> None:
    assert judged(told(-1.0), None)[0].value == pytest.approx(0.0, abs=1e-3)
    assert judged(told(3.0), None)[0].value == pytest.approx(1.0, abs=1e-3)


def test_a_pattern_that_means_nothing_is_not_believed() -> None:
    assert max(judged(None, told(0.0, seed=seed))[1].value for seed in range(8)) < 0.05


def test_where_nothing_tells_the_prior_does() -> None:
    """As likely as not that it means nothing, and then any exponent from 0 to 1: 1/4."""
    position, speed = judged(np.zeros(11), None)
    assert position.value == pytest.approx(0.25)
    assert speed.value == 0.0


def test_a_receiver_that_lies_of_one_lies_of_the_other() -> None:
    little = told(0.6, count=4)
    alone = judged(None, little)[1].value
    lying, honest = judged(told(0.0), little)[1].value, judged(told(1.0), little)[1].value
    assert lying < 0.4 * alone < alone < honest


def test_the_evidence_is_what_the_others_say_of_each() -> None:
    """Against each of ten readings of one number left out in turn, and its scale by trial."""
    rng = np.random.default_rng(4)
    count, used = 10, 3.0
    ratio = np.exp(rng.normal(0.0, 0.5, count))
    seen = rng.standard_normal((count, 2)) * ratio[:, None]
    precision = np.full(count, used)
    variance = np.full(count, 1.0 / (count * used))
    found = evidence(
        100.0 * np.arange(float(count)),
        ratio,
        seen - seen.mean(axis=0),
        variance,
        precision,
        sd=1.0,
    )
    best = np.full(11, -np.inf)
    for scale in np.exp(np.linspace(-4.0, 2.0, 3001)):
        for number, exponent in enumerate(np.linspace(0.0, 1.0, 11)):
            total = 0.0
            for one in range(count):
                others = np.delete(seen, one, axis=0).mean(axis=0)
                spread = (scale * ratio[one] ** exponent) ** 2 + 1.0 / ((count - 1) * used)
                off = float(((seen[one] - others) ** 2).sum())
                total += -np.log(spread) - 3.0 * np.log1p(off / (4.0 * spread))
            best[number] = max(best[number], total)
    assert found - found[0] == pytest.approx(best - best[0], abs=1e-3)


def test_within_a_second_every_fix_counts_beside_what_nothing_is_stated_of() -> None:
    """Its scale by trial; most of each error is one that no exponent acts on."""
    rng = np.random.default_rng(9)
    count, other = 60, 2.0
    ratio = np.exp(rng.normal(0.0, 0.8, count))
    residual = rng.standard_normal((count, 2)) * np.hypot(0.8 * ratio, other**0.5)[:, None]
    nothing = np.zeros(count)
    time_s = np.linspace(0.0, 0.9, count)
    found = evidence(time_s, ratio, residual, nothing, nothing, sd=3.0, other=other)
    for number, exponent in enumerate(np.linspace(0.0, 1.0, 11)):
        scale = np.exp(np.linspace(-4.0, 2.0, 3001))[:, None]
        spread = (scale * ratio**exponent) ** 2 + other
        told = -np.log(spread) - 3.0 * np.log1p((residual**2).sum(axis=1) / (4.0 * spread))
        assert found[number] == pytest.approx(told.sum(axis=1).max(), abs=1e-3)


def test_residuals_that_are_alike_count_once() -> None:
    once, tenfold = told(1.0, count=60), told(1.0, count=60, repeated=10)
    assert np.ptp(tenfold) == pytest.approx(np.ptp(once), rel=0.15)


@pytest.mark.parametrize("pause_s", [0.0, 500.0])
def test_how_often_fixes_that_are_alike_are_counted(pause_s: float) -> None:
    """Newey and West's sum over every pair of fixes, by the seconds between them, up to twenty."""
    rng = np.random.default_rng(3)
    time_s = np.sort(rng.uniform(0.0, 90.0, 200))
    time_s[120:] += pause_s
    shared = np.interp(time_s, np.arange(700.0), rng.standard_normal(700))
    by_scale, by_exponent = rng.standard_normal(200), shared + 0.3 * rng.standard_normal(200)
    left = by_exponent - by_scale * (by_scale @ by_exponent) / (by_scale @ by_scale)
    left = left - left.mean()
    second = np.floor(time_s - time_s[0])
    weight = np.maximum(1.0 - np.abs(second[:, None] - second) / 20.0, 0.0)
    wanted = left @ weight @ left / (left @ left)
    assert wanted > 1.5
    assert _counted_too_often(time_s, by_scale, by_exponent) == pytest.approx(wanted)


def test_fixes_that_are_unlike_count_once() -> None:
    time_s = np.arange(0.0, 60.0, 0.5)
    to_and_fro = np.where(np.arange(120) % 2, 1.0, -1.0)
    assert _counted_too_often(time_s, np.ones(120), to_and_fro) == 1.0


def test_believed_half_lies_midway_between_two_sizes() -> None:
    assert Trust(0.5).between(1.0, 4.0) == pytest.approx(2.0)
    assert Trust().between(1.0, 4.0) == 1.0


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


@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
def test_a_pattern_that_lies_does_no_harm(rate_hz: float) -> None:
    rng = np.random.default_rng(21)
    ride = out_and_back(rng, passes=2, top_mps=8.0)
    receiver = replace(preset("clean", rate_hz, rng), claims_sd=0.5, claims_speed_sd=0.5)
    track = to_track(receiver.observe(ride.truth, rng))
    lie = np.where(np.floor(track.time_s / 9.0) % 2.0, 3.0, 1.0 / 3.0)
    lying = replace(
        track, position_sd_m=track.position_sd_m * lie, speed_sd_mps=track.speed_sd_mps * lie
    )
    blank = np.full(len(track), np.nan)
    bare = replace(track, position_sd_m=blank.copy(), speed_sd_mps=blank.copy())
    with_it, without = estimate_motion(lying), estimate_motion(bare)
    assert max(trust for trust in with_it.noise.trusts if trust is not None) < 0.15
    apart = np.abs(with_it.speed_mps - without.speed_mps)
    assert np.nanquantile(apart, 0.9) < 0.5 * np.nanmedian(without.speed_sd_mps)


def test_the_drift_is_not_taken_to_go_with_what_is_stated() -> None:
    """Of positions alone, whose drift is assumed, the stated accuracy leaves it as it is."""
    track, half_s = shaded()
    blank = np.full(len(track), np.nan)
    bare = replace(
        track, speed_mps=blank.copy(), course_rad=blank.copy(), speed_sd_mps=blank.copy()
    )
    motion = estimate_motion(bare)
    drift = motion.posterior.sharp.drift  # type: ignore[attr-defined]  # the filter's own
    assert np.ptp(drift) < 0.25 * drift.min()
    assert motion.noise.trusts[0] is not None and half_s > 0.0


def test_the_least_noise_of_a_velocity_is_seen_through_what_is_stated() -> None:
    rng = np.random.default_rng(6)
    ratio = np.where(np.arange(6000) // 100 % 2, 5.0, 1.0)
    velocity = 0.08 * ratio[:, None] * rng.standard_normal((6000, 2)) + 7.0
    assert noise_of_means(velocity, 0.2, ratio) == pytest.approx(0.08, rel=0.1)
    # As if all were alike, the fifth that is bent least is nearly all of the better half.
    assert noise_of_means(velocity, 0.2) > 1.4 * 0.08
