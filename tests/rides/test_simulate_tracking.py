"""A simulated receiver that filters: its errors are those of such a filter."""

from dataclasses import replace

import numpy as np
import pytest
from random_rides import out_and_back
from simulate import Truth
from simulate.tracking import TrackingReceiver, Tuning, _steady_filter


def _ride() -> Truth:
    return out_and_back(np.random.default_rng(1), top_mps=8.0, plateau_s=6.0, passes=2).truth


def test_the_gain_is_that_of_the_alpha_beta_filter() -> None:
    """Closed form of the white-acceleration filter's tracking index.

    P. R. Kalata, "The tracking index", IEEE Trans. AES 20 (1984) 174-182 (from memory), for
    discrete noise; continuous noise of the same strength agrees where the index is small.
    """
    h, agility, sd = 0.1, 0.02, 2.0
    gain = _steady_filter(Tuning(agility, sd, float("inf")), h)[1][:, 0]
    index = agility * h**1.5 / sd
    beta = index * 1.0
    alpha = np.sqrt(2.0 * beta) - 0.5 * beta
    assert gain == pytest.approx([alpha, beta / h], rel=0.02)


def test_errors_of_position_and_velocity_are_alike() -> None:
    truth = _ride()
    log = TrackingReceiver(spikes_per_min=0.0).observe(truth, np.random.default_rng(2))
    east, _ = truth.position_at(log.time_s)
    position = np.diff(log.east_m - east) * 10.0
    speed = np.interp(log.time_s, truth.time_s, truth.velocity_mps)
    heading = np.interp(log.time_s, truth.time_s, truth.heading_rad)
    velocity = log.speed_mps * np.sin(log.course_rad) - speed * np.sin(heading)
    both = np.stack([position, 0.5 * (velocity[1:] + velocity[:-1])])
    first, second = both[:, np.isfinite(both[1])]
    first, second = first - first.mean(), second - second.mean()
    assert float(first @ second) > 0.4 * float(np.sqrt((first @ first) * (second @ second)))


def test_a_smooth_filter_is_late() -> None:
    truth = _ride()
    late = [
        TrackingReceiver(tuning=Tuning(agility, 2.0, 0.2), doppler_white_mps=0.02)
        .observe(truth, np.random.default_rng(3))
        .speed_mps
        for agility in (5.0, 0.3)
    ]
    pulling = np.argmax(late[0] > 3.0)
    assert late[1][pulling] < late[0][pulling] - 0.3


def test_a_hold_repeats_and_lets_go_with_a_jerk() -> None:
    truth = _ride()
    held = TrackingReceiver(hold_mps=0.5).observe(truth, np.random.default_rng(4))
    stands = held.speed_mps == 0.0
    assert stands.sum() > 20
    assert (np.diff(held.east_m)[stands[1:] & stands[:-1]] == 0.0).all()
    release = np.flatnonzero(stands[:-1] & ~stands[1:])
    assert held.speed_mps[release + 1].min() > 0.5


@pytest.mark.parametrize("heights", ["flat", "absent", "terrain"])
def test_heights_that_are_not_the_fix_s(heights: str) -> None:
    log = TrackingReceiver(heights=heights).observe(_ride(), np.random.default_rng(5))  # type: ignore[arg-type]  # by name
    known = log.height_m[np.isfinite(log.height_m)]
    assert len(known) == (0 if heights == "absent" else len(log))
    assert (known == np.round(known)).all()


def test_what_it_says_for_minutes_and_at_first() -> None:
    truth = _ride()
    receiver = TrackingReceiver(slides_m=25.0, reports_hdop=False)
    plain, slid, off = (
        one.observe(truth, np.random.default_rng(6))
        for one in (replace(receiver, slides_m=0.0), receiver, replace(receiver, disagrees_mps=0.4))
    )
    aside = np.hypot(slid.east_m - plain.east_m, slid.north_m - plain.north_m)
    assert aside[0] == pytest.approx(25.0)
    assert aside[slid.time_s > 8.0].max() < 1e-9
    assert not np.isfinite(plain.hdop).any()
    assert np.nanmax(off.speed_mps - slid.speed_mps) == pytest.approx(0.4, abs=0.011)
