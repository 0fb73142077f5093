"""Which windows may carry a figure when readings in them were rejected."""

from dataclasses import replace

import numpy as np
from log_in_memory import to_track
from random_rides import out_and_back
from receiver_presets import preset

from ridelog.analysis.windows import windows_of
from ridelog.core.flags import Flag
from ridelog.core.track import BoolArray
from ridelog.filtering.smoother import estimate_motion


def _touching(count: int) -> tuple[BoolArray, BoolArray]:
    """Return whether so many spikes in a row were rejected, and which seconds there count."""
    rng = np.random.default_rng(31)
    ride = out_and_back(rng, top_mps=9.0, plateau_s=12.0, passes=1, pull_end="settles")
    log = preset("clean", 1.0, rng).observe(ride.truth, rng)
    middle = int(np.median(np.flatnonzero(log.speed_mps > 0.95 * log.speed_mps.max())))
    speed = log.speed_mps.copy()
    speed[middle : middle + count] += np.array([9.0, -5.0, 4.0])[:count]
    motion = estimate_motion(to_track(replace(log, speed_mps=speed)))
    rejected = (motion.flags & np.uint32(Flag.SPEED_JUMP | Flag.CONTRADICTED)) != 0
    windows = windows_of(motion, 1.0)
    touching = np.abs(windows.start_s - log.time_s[middle] + 0.5) < 0.6
    return rejected[middle : middle + count], windows.usable[touching]


def test_one_rejected_reading_leaves_its_second_usable() -> None:
    rejected, usable = _touching(1)
    assert rejected.all()
    assert usable.all()


def test_a_second_between_two_rejected_readings_is_not_usable() -> None:
    rejected, usable = _touching(2)
    assert rejected.all()
    # Two in a row contradict the positions too: then no second begins there at all.
    assert not len(usable) or not usable.all()


def test_a_rejected_reading_at_the_edge_of_a_piece_is_bridged_by_nothing() -> None:
    rng = np.random.default_rng(31)
    ride = out_and_back(rng, top_mps=9.0, plateau_s=12.0, passes=1, pull_end="settles")
    motion = estimate_motion(to_track(preset("clean", 1.0, rng).observe(ride.truth, rng)))
    inner, edge = motion.flags.copy(), motion.flags.copy()
    inner[len(inner) // 2] |= np.uint32(Flag.JUMP)
    edge[-1] |= np.uint32(Flag.JUMP)
    usable = windows_of(motion, 1.0).usable
    assert (windows_of(replace(motion, flags=inner), 1.0).usable == usable).all()
    assert not windows_of(replace(motion, flags=edge), 1.0).usable[-1]
