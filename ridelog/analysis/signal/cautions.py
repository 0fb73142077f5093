"""What a reader must be warned of about a log."""

from ridelog.analysis.cautions import Caution
from ridelog.analysis.signal.measure import SignalQuality


def signal_cautions(signal: SignalQuality) -> tuple[Caution, ...]:
    """Return the warnings that the quality of the log calls for."""
    if signal.grade != "weak":
        return ()
    return (
        Caution(
            "weak_signal",
            signal.verdict + " Do not take decisions on it; log again with a clear view of the "
            "sky.",
            signal.usable_share,
            None,
            "common practice, no source",
        ),
    )
