"""Coast-down, as a subject of a ride."""

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from ridelog.analysis.coasting.json import coasting_json
from ridelog.analysis.coasting.measure import Coasting, coasting_between
from ridelog.analysis.figure import LOWER, Comparable, Figure
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION
from ridelog.core.units import SpeedUnit

if TYPE_CHECKING:
    from ridelog.present.section import Section

# Resistance is told at whole multiples of this speed. [m/s]
_STEP_MPS = 2.0


class CoastDown(Subject):
    """What holds the machine back while it rolls freely."""

    name = "coasting"
    needs = ("reverse", "braking")

    def measure(self, ride: MeasuredRide) -> Coasting:
        """Return the resistance from the stretches on which it rolled freely."""
        braked = tuple((one.start_s, one.end_s) for one in ride["braking"].each)
        return coasting_between(ride.motion, excluded=(*ride.excluded, *braked))

    def figures(self, ride: MeasuredRide) -> Iterable[Figure]:
        """Return the resistance at every round speed that the stretches cover."""
        coasting: Coasting = ride["coasting"]
        if not len(coasting.speed_mps):
            return
        both = coasting.both_ways
        first, last = (
            float(v) / _STEP_MPS for v in (coasting.speed_mps[0], coasting.speed_mps[-1])
        )
        for step in range(int(np.ceil(first)), int(np.floor(last)) + 1):
            found, reason = _resistance(coasting, step * _STEP_MPS)
            yield Figure(
                f"coasting_at_{step * _STEP_MPS:g}_mps",
                "coast-down at {speed}",
                ACCELERATION,
                found,
                reason,
                Comparable(
                    LOWER,
                    one_direction=True,
                    series="coasting",
                    both_ways=found if both else None,
                    course_deg=None if both else ride.course_at(ride["top_speed"].at_s + 0.5),
                ),
                short="Coast-down, {speed}",
                explained="slowing by rolling and air resistance, no drive and no brake",
                at_mps=step * _STEP_MPS,
            )

    def sections(self, ride: MeasuredRide, reader: SpeedUnit) -> "Iterable[Section]":
        """Return the section about rolling freely, if the machine did."""
        from ridelog.analysis.coasting.page import coasting_section

        section = coasting_section(ride, reader)
        return () if section is None else (section,)

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "coasting" of the result."""
        return {"coasting": coasting_json(ride["coasting"])}


def _resistance(coasting: Coasting, at_mps: float) -> tuple[Estimate | None, str]:
    found = coasting.at(at_mps)
    if found is None:
        return None, coasting.reason or "it did not roll freely through that speed"
    if found.high - found.low > 2.0 * found.value:
        # Such a figure leaves open whether anything held the machine back at all.
        return None, "it did not roll freely long enough to tell the resistance from none"
    return found, ""
