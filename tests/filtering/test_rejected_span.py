"""A stretch in which no fix is believed is held in place by those beyond."""

from dataclasses import replace

import numpy as np
from filtered_rides import ride_and_log
from log_in_memory import to_track

from ridelog.filtering.posterior import Posterior
from ridelog.filtering.smoother import estimate_motion


def test_a_stretch_without_a_believed_fix_can_be_drawn() -> None:
    _, log = ride_and_log(5, rate_hz=5.0, plateau_s=25.0)
    posterior = estimate_motion(to_track(log)).posterior
    assert isinstance(posterior, Posterior)
    middle_s = 0.5 * float(posterior.space.time_s[-1])
    lost = np.abs(posterior.space.time_s - middle_s) < 18.0
    position = np.where(lost, 0.0, posterior.sharp.position)
    velocity = np.where(lost, 0.0, posterior.sharp.velocity)
    posterior.sharp = replace(posterior.sharp, position=position, velocity=velocity)
    drawn = posterior.paths(middle_s - 2.0, middle_s + 2.0, 20, 0.1)
    assert np.isfinite(drawn.position_m).all()
    # Yet it is known where the machine was to within what it may have ridden since.
    assert drawn.position_m[:, :, 1:21].std(axis=2).max() < 200.0
