"""What the work bench can do, by name; runs in the child process and touches no database."""

from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from ridelog.analysis.settings import Settings
from ridelog.errors import UnreadableLogError
from ridelog.filtering.motion import Motion
from ridelog.web.measuring import first_figures, measured, motion_of_log, pages_bytes

# As much as may come in at once; the command line reads larger logs.
MOST_UNPACKED_BYTES = 128 * 1024 * 1024

Tell = Callable[[str, Any], None]
Motions = OrderedDict[str, Motion]


def measure_ride(
    tell: Tell, motions: Motions, *, name: str, place: str, sha256: str, settings: dict[str, Any]
) -> None:
    """Measure one log; tells "progress", "first", "result" (Measured) and "pages" (bytes)."""
    chosen = Settings.from_json(settings)
    motion = motion_at(tell, motions, name, place, sha256)
    tell("progress", 0.5)
    tell("first", first_figures(motion, chosen))
    found, result = measured(motion, chosen)
    tell("progress", 0.7)
    tell("result", found)
    tell("pages", pages_bytes(motion, result))


def motion_at(tell: Tell, motions: Motions, name: str, place: str, sha256: str) -> Motion:
    """Return the smoothed motion of a log in the book, kept from an earlier job if it was."""
    key = f"{sha256} {name}"
    if key not in motions:
        try:
            data = Path(place).read_bytes()
        except OSError as error:
            raise UnreadableLogError(
                f"{name}: the log is not in the book's folder any more ({error.strerror}).",
                "add the log again.",
            ) from error
        motions[key] = motion_of_log(
            name,
            data,
            lambda done: tell("progress", 0.5 * done),
            most_bytes=MOST_UNPACKED_BYTES,
        )
    motions.move_to_end(key)
    return motions[key]


JOBS: dict[str, Callable[..., None]] = {"measure_ride": measure_ride}
