"""The quality of the log, as a subject of a ride."""

from collections.abc import Iterable
from typing import Any

from ridelog.analysis.cautions import Caution
from ridelog.analysis.signal.cautions import signal_cautions
from ridelog.analysis.signal.json import signal_json
from ridelog.analysis.signal.measure import SignalQuality, judge_signal
from ridelog.analysis.subject import MeasuredRide, Subject


class Signal(Subject):
    """Is this log good enough, and from when on."""

    name = "signal"

    def measure(self, ride: MeasuredRide) -> SignalQuality:
        """Return how good the log is."""
        return judge_signal(ride.motion)

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warning about a log that is too weak."""
        return signal_cautions(ride["signal"])

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "signal" of the result."""
        return {"signal": signal_json(ride["signal"])}
