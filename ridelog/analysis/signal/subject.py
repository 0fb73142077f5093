"""The quality of the log, as a subject of a ride."""

from collections.abc import Iterable

from ridelog.analysis.signal.measure import (
    SignalQuality,
    contradicted_spans,
    judge_signal,
    rate_words,
)
from ridelog.analysis.subject import Caution, MeasuredRide, Subject
from ridelog.core.estimate import QUANTILE
from ridelog.core.flags import Flag
from ridelog.core.quantity import SPEED, plain
from ridelog.core.units import SpeedUnit
from ridelog.present.words import FLAG_WORDS, count_words, duration_words, share_words

# Shares of unused fixes below this are not worth a word; common practice, no source.
_WORTH_TELLING = 0.005


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
        spans = contradicted_spans(ride.motion)
        if spans:
            seconds = sum(end - start for start, end in spans)
            more = f" and {len(spans) - 1} more" if len(spans) > 1 else ""
            yield Caution(
                "speed_against_position",
                "The receiver's speed and its positions contradict each other from "
                f"{spans[0][0]:.0f} s to {spans[0][1]:.0f} s{more}, {seconds:.0f} s in all. "
                "Nothing tells which is wrong, so no figure is taken from there.",
                seconds,
                None,
                "how far speed and positions may differ: own derivation, filtering (20)",
            )

    def lines(self, ride: MeasuredRide, reader: SpeedUnit) -> Iterable[tuple[str, str]]:
        """Return the verdict, what the log holds, and how many fixes are flagged."""
        signal: SignalQuality = ride["signal"]
        yield "Signal", signal.verdict
        yield "", signal_summary(signal)
        flags = [
            f"{FLAG_WORDS[Flag[name]]} {count:,}"
            for name, count in signal.counts.items()
            if Flag[name] is not Flag.STANDSTILL
        ]
        if flags:
            yield "", "Flagged fixes: " + ", ".join(flags)


def signal_summary(signal: SignalQuality) -> str:
    """Return what the log holds: fixes, rate, gaps, and how many carry no figure."""
    used = (
        f"all {signal.fixes_read:,} fixes used"
        if signal.fixes_used == signal.fixes_read
        else f"{signal.fixes_used:,} of {signal.fixes_read:,} fixes used"
    )
    gaps = count_words(len(signal.gaps), "gap") if signal.gaps else "no gaps"
    words = f"{used}, {rate_words(signal.rate_hz)}, {gaps}"
    left_out = 1.0 - signal.usable_share
    # Of a log that is less than good the verdict tells what counts.
    if left_out < _WORTH_TELLING or signal.grade != "good":
        return words
    return f"{words}; no figure is taken from {share_words(left_out)} of them"


def signal_items(
    signal: SignalQuality, start_s: float, reader: SpeedUnit
) -> Iterable[tuple[str, str]]:
    """Return (label, words) of all that is counted about a log that begins at a time. [s]"""
    yield "Settled", _settled(signal, start_s)
    yield "Fixes", signal_summary(signal)
    longest = signal.longest_step_s
    rest = f", at most {longest:.3g} s between two" if longest == longest else ""
    yield "Rate", f"{rate_words(signal.rate_hz)}{rest}"
    gaps = f"{count_words(len(signal.gaps), 'gap')}. {gap_sentence(signal)}"
    yield "Gaps", gaps if signal.gaps else "none"
    yield "Speed", _speed_source(signal, reader)
    yield "Satellites", _sky(signal)
    if signal.void_epochs:
        yield "Without a fix", f"{count_words(signal.void_epochs, 'time', 'times')} in the log"


def gap_sentence(signal: SignalQuality) -> str:
    """Return how long the gaps last together, as a sentence; empty without one."""
    if not signal.gaps:
        return ""
    lost = duration_words(sum(gap.end_s - gap.start_s for gap in signal.gaps))
    if len(signal.gaps) == 1:
        return f"The gap lasts {lost}; nothing is estimated inside it."
    return f"The gaps last {lost} together; nothing is estimated inside them."


def signal_label(signal: SignalQuality) -> str:
    """Return what the picture of the signal shows, for those who do not see it."""
    flagged = ", ".join(
        f"{FLAG_WORDS[Flag[name]]} {count:,}" for name, count in signal.counts.items()
    )
    fixes = count_words(signal.fixes_read, "fix", "fixes")
    return f"Signal quality against time over {fixes}; flagged: {flagged or 'none'}."


def _settled(signal: SignalQuality, start_s: float) -> str:
    if signal.reason:
        return "never in this log; no figure is taken from it"
    after = signal.settled_s - start_s
    if after < 1.0:
        return "from the first fix on"
    return f"{after:.0f} s after the first fix; no figure is taken from before"


def _speed_source(signal: SignalQuality, reader: SpeedUnit) -> str:
    source = (
        "reported by the receiver"
        if signal.speed_source == "reported"
        else "worked out from positions, none is reported"
    )
    if signal.speed_sd_mps != signal.speed_sd_mps:
        return source
    reach = plain(QUANTILE * signal.speed_sd_mps, SPEED, reader, 1)
    return f"{source}; at one instant known to within {reach}, 9 times out of 10"


def _sky(signal: SignalQuality) -> str:
    words = []
    if signal.satellites_median == signal.satellites_median:
        words.append(f"{signal.satellites_median:.0f} used (median)")
    if signal.hdop_median == signal.hdop_median:
        words.append(f"dilution of precision (HDOP) {signal.hdop_median:.1f} (median)")
    return ", ".join(words) or "the log tells neither their number nor the dilution of precision"
