"""Receivers by kind, drawn anew for every ride, so that no suite is tuned to one of them."""

from typing import Literal

import numpy as np
from odd_receiver import OddReceiver
from simulate import Settling

ReceiverKind = Literal["clean", "drifting", "jumpy", "warmup"]
RECEIVER_KINDS: tuple[ReceiverKind, ...] = ("clean", "drifting", "jumpy", "warmup")

# Sizes follow what real receivers showed against a reference: reported speed 0.03-0.08 m/s RMS at
# 1-10 Hz, positions drifting smoothly at 0.02-0.08 m/s (own measurement on public logs).


def preset(
    kind: ReceiverKind,
    rate_hz: float,
    rng: np.random.Generator,
    *,
    reports_speed: bool = True,
    position_white_m: float | None = None,
) -> OddReceiver:
    """Return a receiver of a kind with its properties drawn at random.

    Parameters
    ----------
    kind : str
        clean: small slow errors, nothing else. drifting: slow errors of 0.5-1.5 m and 0.03-0.045
        m/s. jumpy: jumps, bursts, slews, speed spikes, holes and heavy tails. warmup: the first
        20-90 s settle.
    rate_hz : float
        1 to 25. [Hz]
    rng : numpy.random.Generator
        Source of all chance.
    reports_speed : bool
        False for a log of positions alone.
    position_white_m : float, optional
        Error of each position alone, per axis; 0.05 from 5 Hz upward and 0.3 below if left out.

    Raises
    ------
    ValueError
        For a kind that is not one of RECEIVER_KINDS, or a rate outside 1-25 Hz.
    """
    if kind not in RECEIVER_KINDS:
        raise ValueError(f"kind {kind!r} is not one of {', '.join(RECEIVER_KINDS)}")
    if not 1.0 <= rate_hz <= 25.0:
        raise ValueError(f"rate {rate_hz} Hz is outside 1-25 Hz")
    drifting = kind == "drifting"
    jumpy = kind == "jumpy"
    if position_white_m is None:
        position_white_m = 0.05 if rate_hz >= 5.0 else 0.3
    return OddReceiver(
        rate_hz=rate_hz,
        reports_speed=reports_speed,
        position_white_m=position_white_m,
        position_tail=float(rng.uniform(4.0, 6.0)) if jumpy else np.inf,
        drift_m=float(rng.uniform(0.5, 1.5) if drifting else rng.uniform(0.2, 0.6)),
        drift_scale_s=float(rng.uniform(20.0, 40.0) if drifting else rng.uniform(40.0, 80.0)),
        drift_kind="sinusoids" if rng.random() < 0.5 else "second order",
        speed_white_mps=0.08,
        speed_tail=float(rng.uniform(4.0, 8.0)) if jumpy else np.inf,
        speed_slow_mps=float(rng.uniform(0.03, 0.045) if drifting else rng.uniform(0.01, 0.03)),
        speed_slow_s=float(rng.uniform(2.0, 5.0)),
        speed_slow_kind="moving average" if rng.random() < 0.5 else "reflected walk",
        drop_share=float(rng.uniform(0.0, 0.02)) if jumpy else 0.0,
        stamp_jitter_s=0.001 if rng.random() < 0.3 else 0.0,
        base_hdop=float(rng.uniform(0.6, 1.3)),
        base_satellites=int(rng.integers(9, 16)),
        settling=(
            Settling(float(rng.uniform(20.0, 90.0)), offset_m=float(rng.uniform(2.0, 9.0)))
            if kind == "warmup"
            else None
        ),
        events_per_min=(
            {"jump": 0.8, "burst": 0.4, "slew": 0.25, "spike": 0.5, "hole": 0.3} if jumpy else {}
        ),
    )
