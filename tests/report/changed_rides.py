"""Rides whose records were changed on purpose."""

from dataclasses import replace

from ridelog.analysis.ride import concluded
from ridelog.analysis.subject import MeasuredRide


def without_top_speed(ride: MeasuredRide, reason: str) -> MeasuredRide:
    """Return a ride of which no speed can be told."""
    none = replace(
        ride["top_speed"], best_1s_mps=None, best_5s_mps=None, two_way_mps=None, two_way_runs=(),
        at_s=float("nan"), raw_peak_mps=float("nan"), reason=reason, headline="best_1s_mps",
    )  # fmt: skip
    return concluded(ride.with_record("top_speed", none))
