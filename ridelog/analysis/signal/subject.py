"""The quality of the log, as a subject of a ride."""

from collections.abc import Iterable
from typing import Any

from ridelog.analysis.cautions import Caution
from ridelog.analysis.signal.measure import SignalQuality, judge_signal
from ridelog.analysis.signal.page import flags_in_short, signal_summary
from ridelog.analysis.subject import MeasuredRide, Subject
from ridelog.core.units import SpeedUnit


class Signal(Subject):
    """Is this log good enough, and from when on."""

    name = "signal"
    members = {"signal": SignalQuality}

    def measure(self, ride: MeasuredRide) -> SignalQuality:
        """Return how good the log is."""
        return judge_signal(ride.motion)

    def cautions(self, ride: MeasuredRide) -> Iterable[Caution]:
        """Return the warning about a log that is too weak."""
        signal: SignalQuality = ride["signal"]
        if signal.too_weak:
            yield Caution(
                "weak_signal",
                f"{signal.verdict} Log again with a clear view of the sky before you decide.",
                signal.usable_share,
                None,
                "common practice, no source",
            )

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return the verdict, what the log holds, and how many fixes are flagged."""
        signal: SignalQuality = ride["signal"]
        yield "Signal", signal.verdict
        yield "", signal_summary(signal)
        if flags := flags_in_short(signal):
            yield "", flags

    def document(self, ride: MeasuredRide) -> dict[str, Any]:
        """Return the member "signal" of the result."""
        return {"signal": ride["signal"]}
