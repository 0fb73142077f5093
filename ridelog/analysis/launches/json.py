"""Launches and the pull curve as the JSON objects that scripts read."""

from typing import Any

from ridelog.analysis.acceleration.measure import PullCurve
from ridelog.analysis.launches.measure import Launch, Launches
from ridelog.analysis.launches.windows import Window
from ridelog.present.json import estimate_json


def launches_json(launches: Launches) -> dict[str, Any]:
    """Return the fields about launches: every one, and each window over all of them."""
    return {
        "launches": [_launch(launch) for launch in launches.launches],
        "launches_reason": launches.reason,
        "launches_rollout_m": launches.rollout_m,
        "launch_windows": [
            {
                **_window(summary.window),
                "attempts": summary.attempts,
                "best_s": estimate_json(summary.best),
                "median_s": estimate_json(summary.median),
            }
            for summary in launches.summaries
        ],
    }


def pull_json(pull: PullCurve) -> dict[str, Any]:
    """Return the pull curve; speeds without a figure are left out."""
    return {
        "curve": [
            {"speed_mps": float(speed), "accel_mps2": accel.as_json(), "runs": int(runs)}
            for speed, accel, runs in zip(pull.speed_mps, pull.accel, pull.runs_at, strict=True)
            if accel is not None
        ],
        "standing_mps2": estimate_json(pull.standing_pull),
        "peak_power_speed_mps": estimate_json(pull.peak_power_speed),
        "peak_power_reason": pull.peak_reason,
        "runs_used": pull.runs_used,
        "runs_left_out": pull.runs_left_out,
        "both_ways": pull.both_ways,
        "way_difference_mps2": estimate_json(pull.way_difference),
        "slope": pull.slope_note,
        "reason": pull.reason,
    }


def _launch(launch: Launch) -> dict[str, Any]:
    return {
        "start_s": launch.start_s,
        "start": launch.start.as_json(),
        "top_mps": launch.top_mps,
        "windows": [
            {
                **_window(timed.window),
                "time_s": estimate_json(timed.time),
                "exit_speed_mps": estimate_json(timed.exit_speed),
                "length_m": estimate_json(timed.length),
                "reason": timed.reason,
            }
            for timed in launch.windows
        ],
    }


def _window(window: Window) -> dict[str, Any]:
    return {
        "label": window.label,
        "from_mps": window.from_mps,
        "to_mps": window.to_mps,
        "distance_m": window.distance_m,
    }
