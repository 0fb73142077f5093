"""The named signal flags of a fix, and the sentence that explains each to a rider."""

from enum import IntFlag

import numpy as np
import numpy.typing as npt


class Flag(IntFlag):
    """What is known against a fix; several may hold at once."""

    NO_FIX = 1
    NO_TIME = 2
    DUPLICATE_TIME = 4
    BACKWARD_TIME = 8
    DEAD_RECKONING = 16
    SETTLING = 32
    POOR_GEOMETRY = 64
    FEW_SATELLITES = 128
    JUMP = 256
    SPEED_JUMP = 512
    GAP = 1024
    STANDSTILL = 2048
    NO_POSITION = 4096
    REPEATED = 8192
    COURSE_FROZEN = 16384
    CONTRADICTED = 32768


FLAG_SENTENCES: dict[Flag, str] = {
    Flag.NO_FIX: "The receiver itself said that it had no fix, so the point is not used.",
    Flag.NO_TIME: "The point carries no usable time, so no speed can be taken from it.",
    Flag.DUPLICATE_TIME: "Another point carries the same time; only the first of them is used.",
    Flag.BACKWARD_TIME: "The clock stepped back here; the point is not used.",
    Flag.DEAD_RECKONING: "The receiver guessed the position without satellites; it is not used.",
    Flag.SETTLING: "The receiver was still settling; no figure is taken from here.",
    Flag.POOR_GEOMETRY: "The satellites stood badly placed (high dilution of precision).",
    Flag.FEW_SATELLITES: "Fewer than five satellites were used for this point.",
    Flag.JUMP: "The position jumps away from its neighbours; it does not move the estimate.",
    Flag.SPEED_JUMP: "The reported speed disagrees with its neighbours; it is not believed.",
    Flag.GAP: "The log is interrupted before this point; nothing is estimated across the gap.",
    Flag.STANDSTILL: "The machine stood still here.",
    Flag.NO_POSITION: "The point carries a time but no position.",
    Flag.REPEATED: "The logger repeated the last position although the machine moved.",
    Flag.COURSE_FROZEN: "The course was repeated unchanged at a crawl, so it is not believed.",
    Flag.CONTRADICTED: "Reported speed and positions contradict each other; neither is believed.",
}

# A fix with any of these takes no part in the estimate.
UNUSABLE = (
    Flag.NO_FIX
    | Flag.NO_TIME
    | Flag.DUPLICATE_TIME
    | Flag.BACKWARD_TIME
    | Flag.DEAD_RECKONING
    | Flag.NO_POSITION
)


def flag_names(value: int) -> list[str]:
    """Return the names of the flags set in one fix, in the order of definition."""
    return [flag.name or "" for flag in Flag if value & flag]


def flag_counts(flags: npt.NDArray[np.uint32]) -> dict[str, int]:
    """Return how many fixes carry each flag, flags that occur only, in order of definition."""
    counts = {flag.name or "": int(np.count_nonzero(flags & np.uint32(flag))) for flag in Flag}
    return {name: count for name, count in counts.items() if count}
