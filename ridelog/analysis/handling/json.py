"""Handling as the JSON object that scripts read."""

from typing import Any

from ridelog.analysis.handling import Handling
from ridelog.analysis.handling.tip_over import TipOver
from ridelog.present.json import estimate_json, number


def handling_json(handling: Handling) -> dict[str, Any]:
    """Return turns, weave, steering corrections and tip-over margin."""
    turns, weave = handling.turns, handling.weave
    return {
        "max_lateral_accel_mps2": estimate_json(turns.max_lateral),
        "min_turn_radius_m": estimate_json(turns.min_radius),
        "lateral_window_s": turns.window_s,
        "reason": handling.reason,
        "turns_seen": turns.seen,
        "turns": [
            {
                "start_s": turn.start_s,
                "end_s": turn.end_s,
                "angle_rad": turn.angle_rad,
                "speed_mps": turn.speed_mps,
                "lateral_accel_mps2": estimate_json(turn.lateral),
                "radius_m": estimate_json(turn.radius),
                "reason": turn.reason,
            }
            for turn in turns.turns
        ],
        "weave": [
            {
                "from_mps": part.from_mps,
                "to_mps": part.to_mps,
                "seconds": part.seconds,
                "yaw_rate_rms_radps": estimate_json(part.yaw_rate_rms),
            }
            for part in weave.classes
        ],
        "twitchy_from_mps": estimate_json(weave.twitchy_from),
        "twitchy_or_below": weave.or_below,
        "weave_rms_radps": estimate_json(weave.rms),
        "weave_frequency_hz": weave.frequency_hz,
        "weave_visible_from_radps": number(weave.visible_radps),
        "steering_corrections_per_100m": estimate_json(handling.corrections.per_100m),
        "steering_reason": handling.corrections.reason,
        "tip_over": None if handling.tip_over is None else _tip_over(handling.tip_over),
    }


def _tip_over(margin: TipOver) -> dict[str, Any]:
    return {
        "track_width_m": margin.track_width_m,
        "cg_height_m": margin.cg_height_m,
        "stability_factor": margin.stability_factor,
        "rigid_threshold_mps2": margin.rigid_mps2,
        "tilt_threshold_mps2": margin.tilt_mps2,
        "share_used": estimate_json(margin.used),
        "tipping_speed_mps": margin.speed_mps,
    }
