"""Coast-down, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np

from ridelog.analysis.coasting.measure import CoastDown, measure_coast_down
from ridelog.analysis.figure import LOWER, Comparable, Figure
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section

# Resistance is told at whole multiples of this speed: own choice, as for the pull. [m/s]
_STEP_MPS = 2.0


class CoastDownOfRide(Subject):
    """What holds the machine back while it rolls freely."""

    name = "coasting"
    needs = ("reverse", "braking")
    members: ClassVar[dict[str, Any]] = {"coasting": CoastDown}

    def measure(self, ride: MeasuredRide) -> CoastDown:
        """Return the resistance from the spans on which it rolled freely."""
        braked = tuple((one.start_s, one.end_s) for one in ride["braking"].each)
        return measure_coast_down(ride.motion, excluded=(*ride.excluded, *braked))

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the resistance at every round speed that both directions cover."""
        found: CoastDown = ride["coasting"]
        if not found.curve:
            return
        low, high = (found.curve[end].speed_mps / _STEP_MPS for end in (0, -1))
        for step in range(int(np.ceil(low)), int(np.floor(high)) + 1):
            resistance, reason = _resistance(found, step * _STEP_MPS)
            yield Figure(
                f"coasting_at_{step * _STEP_MPS:g}_mps",
                "coast-down at {speed}",
                ACCELERATION,
                resistance,
                reason,
                Comparable(LOWER, series="coasting"),
                short="Coast-down, {speed}",
                explained="slowing by rolling and air resistance, no drive and no brake",
                at_mps=step * _STEP_MPS,
            )

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about rolling freely, if the machine did."""
        from ridelog.analysis.coasting.page import coasting_section

        section = coasting_section(ride, reader)
        return () if section is None else (section,)


def _resistance(found: CoastDown, at_mps: float) -> tuple[Estimate | None, str]:
    resistance = found.at(at_mps)
    if resistance is None:
        return None, found.reason or "it did not roll freely through that speed"
    if resistance.high - resistance.low > 2.0 * resistance.value:
        # Such a figure leaves open whether anything held the machine back at all.
        return None, "it did not roll freely long enough to tell the resistance from none"
    return resistance, ""
