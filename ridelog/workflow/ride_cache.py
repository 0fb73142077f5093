"""The rides asked for last, kept in memory so that a new question does not smooth them again."""

import json
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.errors import UnreadableLogError
from ridelog.filtering.motion import Motion
from ridelog.workflow.measure import motion_of_bytes
from ridelog.workflow.measuring import MOST_FIXES

# As much as may come in at once; the command line reads larger logs.
MOST_UNPACKED_BYTES = 128 * 1024 * 1024
# So many fixes are kept at hand (about 0.5 GB), but never fewer than one ride. Own choice.
_MOST_FIXES = 60_000


@dataclass(frozen=True)
class LogAt:
    """A log of the book and how it is to be measured; plain, so that a pipe can carry it."""

    name: str
    place: str
    sha256: str
    settings: dict[str, Any]


class RideCache:
    """The motions and figures of the rides asked for last."""

    def __init__(self) -> None:
        self._motions: OrderedDict[tuple[str, str], Motion] = OrderedDict()
        self._rides: dict[tuple[str, str, str], MeasuredRide] = {}

    def motion(
        self, log: LogAt, report_progress: Callable[[float], None] = lambda done: None
    ) -> Motion:
        """Return the smoothed motion of a log.

        Raises
        ------
        RideLogError
            If the log is gone, or cannot give a speed.
        """
        key = (log.sha256, log.name)
        if key not in self._motions:
            try:
                data = Path(log.place).read_bytes()
            except OSError as error:
                raise UnreadableLogError(
                    f"{log.name}: the log is not in the book's folder any more ({error.strerror}).",
                    "add the log again.",
                ) from error
            self._motions[key] = motion_of_bytes(
                log.name,
                data,
                report_progress=report_progress,
                most_bytes=MOST_UNPACKED_BYTES,
                most_fixes=MOST_FIXES,
            )
            self._drop_the_oldest()
        self._motions.move_to_end(key)
        return self._motions[key]

    def ridden(
        self, log: LogAt, report_progress: Callable[[float], None] = lambda done: None
    ) -> MeasuredRide:
        """Return a ride with everything that is measured on it."""
        key = (log.sha256, log.name, json.dumps(log.settings, sort_keys=True))
        if key not in self._rides:
            motion = self.motion(log, report_progress)
            self._rides[key] = analyse(motion, Settings.from_json(log.settings))
        return self._rides[key]

    def clear(self) -> None:
        """Let go of everything."""
        self._motions.clear()
        self._rides.clear()

    def _drop_the_oldest(self) -> None:
        while len(self._motions) > 1 and self._fixes() > _MOST_FIXES:
            gone, _ = self._motions.popitem(last=False)
            self._rides = {key: ride for key, ride in self._rides.items() if key[:2] != gone}

    def _fixes(self) -> int:
        return sum(len(motion.track) for motion in self._motions.values())
