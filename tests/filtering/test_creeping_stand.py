"""A receiver that creeps at a stand shows there how far its positions drift."""

from dataclasses import replace

import numpy as np
import pytest
from log_in_memory import to_track
from receiver_presets import preset
from simulate import Machine, RideLayout

from ridelog.core.flags import Flag
from ridelog.filtering.smoother import estimate_motion

CREEP_S = (30.0, 37.0)


@pytest.mark.parametrize(("pace_mps", "stands"), [(0.25, True), (0.7, False)])
def test_a_creep_at_a_stand_is_the_receivers(pace_mps: float, stands: bool) -> None:
    ride = RideLayout(Machine())
    ride.stand(6.0)
    ride.drive(until_mps=6.0, build_s=0.3)
    ride.hold(6.0)
    ride.brake()
    ride.stand(30.0)
    rng = np.random.default_rng(17)
    log = preset("clean", 10.0, rng, reports_speed=False, position_white_m=0.02).observe(
        ride.build(), rng
    )
    crept = pace_mps * (np.clip(log.time_s, *CREEP_S) - CREEP_S[0])
    motion = estimate_motion(to_track(replace(log, north_m=log.north_m + crept)))
    inside = (motion.track.time_s > CREEP_S[0] + 1.5) & (motion.track.time_s < CREEP_S[1] - 1.5)
    held = (motion.flags[inside] & np.uint32(Flag.STANDSTILL)) != 0
    assert bool(held.all() if stands else not held.any()) is True
    # What it drifts by is learnt there: more than is assumed of any receiver.
    assert (motion.noise.drift_mps > 0.06) is stands
