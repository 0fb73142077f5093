"""The ground: what rolling costs on it and how it holds; never pavement unless somebody says so."""

from dataclasses import dataclass

import numpy as np

from ridelog.core.estimate import QUANTILE


@dataclass(frozen=True)
class Ground:
    """Rolling resistance and grip of one kind of ground, as centre and spread of the logarithm.

    rolling : share of weight. source : where its range is printed.
    """

    rolling: float
    rolling_log_sd: float
    grip: float
    grip_log_sd: float
    source: str


def _between(low: float, high: float) -> tuple[float, float]:
    """Return centre and spread of the logarithm where nine in ten lie between two values."""
    return float(np.sqrt(low * high)), float(np.log(high / low)) / (2.0 * QUANTILE)


# Rolling: nine in ten lie between the ends that the sources print. Grip on loose ground: from
# memory.
GROUNDS = {
    "asphalt": Ground(
        *_between(0.008, 0.02), 0.73, 0.12,
        "hard road 0.008 (Moyer, Marks' Standard Handbook), worn asphalt 0.02 (Carvill, Mechanical "
        "Engineer's Data Handbook, 1993)",
    ),
    "gravel": Ground(
        *_between(0.01, 0.06), 0.55, 0.18,
        "rolled gravel 0.01, loose worn gravel 0.04 (Carvill, 1993), wet loose gravel 0.06 (Moyer, "
        "Marks' Standard Handbook)",
    ),
    "grass": Ground(
        *_between(0.03, 0.08), 0.45, 0.20,
        "medium-hard soil 0.08 (Carvill, 1993); grass 0.03-0.08 from memory",
    ),
}  # fmt: skip
# Ground that nobody named may be any of them; derived as above.
UNKNOWN_GROUND = Ground(
    *_between(0.008, 0.08), 0.62, 0.25,
    "0.01-0.08: Carvill, Mechanical Engineer's Data Handbook, 1993; 0.008: Moyer",
)  # fmt: skip


def ground_of(surface: str | None) -> Ground:
    """Return what is known of a kind of ground, of any of them if none is named."""
    return UNKNOWN_GROUND if surface is None else GROUNDS[surface]
