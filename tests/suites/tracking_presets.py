"""Receivers that filter, by kind, drawn anew for every ride; and a second family of them."""

from typing import Literal

import numpy as np
from simulate.tracking import Heights, TrackingReceiver, Tuning

TrackingKind = Literal[
    "sharp", "smooth", "averaging", "pedestrian", "coarse", "disagreeing", "other"
]
TRACKING_KINDS: tuple[TrackingKind, ...] = (
    "sharp", "smooth", "averaging", "pedestrian", "coarse", "disagreeing", "other",
)  # fmt: skip
_HEIGHTS: tuple[Heights, ...] = ("fix", "flat", "terrain", "absent")


def tracking_preset(
    kind: TrackingKind, rate_hz: float, rng: np.random.Generator, *, reports_speed: bool = True
) -> tuple[TrackingReceiver, int]:
    """Return a receiver of a kind, its properties drawn at random, and its decimals of a degree.

    sharp: a modern receiver tuned to vehicles. smooth: the same, late by some tenths of a second.
    averaging: reports a mean over 1-3 s, with coarse positions. pedestrian: tuned to walking, holds
    at a stand, wanders. coarse: a sharp one with five decimals. disagreeing: a sharp one whose
    speed is off for minutes. other: another filter, tuned anyhow.
    """
    uniform = rng.uniform
    measures = max(rate_hz, 10.0 if kind != "pedestrian" else 5.0)
    common = {
        "rate_hz": rate_hz,
        "measures_hz": float(measures),
        "reports_speed": reports_speed,
        "reports_hdop": bool(rng.random() < 0.6),
        "range_white_m": float(uniform(0.3, 1.0)),
        "path_m": float(uniform(0.4, 1.2)),
        "path_s": float(uniform(10.0, 60.0)),
        "doppler_white_mps": float(uniform(0.05, 0.2)),
        "doppler_slow_mps": float(uniform(0.01, 0.035)),
        "doppler_slow_s": float(uniform(1.5, 6.0)),
        "spikes_per_min": float(rng.choice([0.0, 1.0])),
        "heights": str(rng.choice(_HEIGHTS)),
        "speed_step_mps": float(rng.choice([0.001, 0.01, 0.0514])),
    }
    tuning = Tuning(float(uniform(2.5, 6.0)), float(uniform(1.0, 4.0)), float(uniform(0.05, 0.15)))
    decimals = int(rng.choice([6, 7, 8]))
    if kind == "smooth":
        tuning = Tuning(
            float(uniform(0.4, 1.2)), float(uniform(1.0, 4.0)), float(uniform(0.1, 0.3))
        )
    elif kind == "averaging":
        tuning = Tuning(
            float(uniform(1.5, 4.0)), float(uniform(1.0, 4.0)), float(uniform(0.05, 0.2)),
            average_s=float(uniform(1.0, 3.0)),
        )  # fmt: skip
        decimals = 5
    elif kind == "pedestrian":
        tuning = Tuning(
            float(uniform(0.3, 1.0)), float(uniform(1.0, 3.0)),
            float(uniform(0.1, 0.4)) if reports_speed else float("inf"),
        )  # fmt: skip
        common |= {
            "range_white_m": float(uniform(0.8, 2.0)),
            "hold_mps": float(uniform(0.3, 0.8)),
        }
        decimals = int(rng.choice([5, 6, 7]))
    elif kind == "coarse":
        decimals = 5
    elif kind == "disagreeing":
        common["disagrees_mps"] = float(rng.choice([-1.0, 1.0]) * uniform(0.12, 0.4))
    elif kind == "other":
        tuning = Tuning(
            float(np.exp(uniform(np.log(1.0), np.log(20.0)))), float(uniform(0.5, 6.0)),
            float(np.exp(uniform(np.log(0.03), np.log(0.4)))), order=int(rng.choice([2, 3])),  # type: ignore[arg-type]  # one of its orders
            average_s=float(rng.choice([0.0, 0.0, uniform(0.2, 0.8)])),
        )  # fmt: skip
        common["hold_mps"] = float(rng.choice([0.0, uniform(0.2, 0.5)]))
        decimals = int(rng.choice([5, 6, 7, 8]))
    return TrackingReceiver(tuning=tuning, **common), decimals  # type: ignore[arg-type]  # by name
