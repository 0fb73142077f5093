"""Launches as the JSON that scripts read."""

from typing import Any

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
