"""Is this log good enough, from when on, and what can it support: counts first, then words."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from ridelog.analysis.windows import LEAST_SEEN, LONGEST_HOLE_S, seen_share
from ridelog.core.estimate import QUANTILE
from ridelog.core.flags import Flag, flag_counts
from ridelog.core.quantity import both_units
from ridelog.core.spans import flagged_spans
from ridelog.core.track import BoolArray
from ridelog.filtering.motion import Motion
from ridelog.filtering.quality import steady_span_s

# Fixes from which no figure is taken, although some of them took part in the estimate.
_NO_FIGURE = Flag.SETTLING | Flag.POOR_GEOMETRY | Flag.JUMP | Flag.SPEED_JUMP
# A log sees motion up to this share of its rate: standards on sampling give 1/2 as the limit
# (Nyquist), a factor of five is common practice, no source.
_SEEN_SHARE_OF_RATE = 0.2
# Two-wheelers weave at up to 4-5 Hz (Appl. Sci. 2021, 11(16), 7393); the slow end of it is 1 Hz.
_SLOWEST_WEAVE_HZ, _FASTEST_WEAVE_HZ = 1.0, 5.0
# Where the verdict's grades begin; common practice, no source.
_GOOD_SHARE, _FAIR_SHARE = 0.90, 0.50
_GOOD_SD_MPS, _FAIR_SD_MPS = 0.10, 0.35
_SHORT_RIDE_S = 30.0
_WEAK_RATE_HZ, _LOST_SHARE = 0.45, 0.2


Grade = Literal["good", "fair", "too weak"]


@dataclass(frozen=True)
class LogGap:
    """An interruption of the log, across which nothing is estimated."""

    start_s: float
    end_s: float


@dataclass(frozen=True)
class SignalQuality:
    """How good the log is.

    grade : of a log that is too weak no figure is named.
    verdict : one sentence for a rider.
    usable_share : share of the fixes read from which a figure may be taken, 0 to 1.
    settled_s : time from which the receiver had settled; NaN if it never did. [s]
    reason : why ``settled_s`` is missing.
    longest_step_s : longest time between neighbouring used fixes. [s]
    speed_sd_mps : median standard deviation of the smoothed speed; NaN if there is none. [m/s]
    hdop_median, satellites_median : NaN if the log does not give them.
    void_epochs : times at which the receiver said that it had no fix; they are not fixes read.
    counts : how many fixes carry each flag.
    supports, cannot_support : sentences.
    """

    grade: Grade
    verdict: str
    fixes_read: int
    fixes_used: int
    usable_share: float
    settled_s: float
    reason: str
    rate_hz: float
    speed_source: str
    longest_step_s: float
    speed_sd_mps: float
    hdop_median: float
    satellites_median: float
    void_epochs: int
    gaps: tuple[LogGap, ...]
    counts: dict[str, int]
    supports: tuple[str, ...]
    cannot_support: tuple[str, ...]

    @property
    def too_weak(self) -> str:
        """Why no figure of the ride may be named, empty where they may."""
        return "the signal is too weak to name one figure" if self.grade == "too weak" else ""


def judge_signal(motion: Motion) -> SignalQuality:
    """Return how good the log behind a motion is and what it can support."""
    track = motion.track
    carries = carries_figures(motion)
    share = _share(carries)
    used_s = np.sort(track.time_s[motion.used & np.isfinite(track.time_s)])
    grade, why = _grade(motion, share)
    return SignalQuality(
        grade=grade,
        verdict=_verdict(motion, grade, why),
        fixes_read=len(track),
        fixes_used=int(np.count_nonzero(motion.used)),
        usable_share=share,
        settled_s=motion.settled_s,
        reason="" if np.isfinite(motion.settled_s) else "the receiver never settled",
        rate_hz=motion.rate_hz,
        speed_source=motion.speed_source,
        longest_step_s=float(np.diff(used_s).max()) if len(used_s) > 1 else float("nan"),
        speed_sd_mps=_median(motion.speed_sd_mps),
        hdop_median=_median(track.hdop),
        satellites_median=_median(track.satellites),
        void_epochs=track.void_epochs,
        gaps=tuple(LogGap(start_s, end_s) for start_s, end_s in motion.gaps),
        counts=flag_counts(motion.flags),
        supports=_supports(motion),
        cannot_support=_cannot_support(motion, used_s),
    )


def carries_figures(motion: Motion) -> BoolArray:
    """Return from which fixes a figure may be taken, shape (n,)."""
    carries: BoolArray = motion.used & ((motion.flags & np.uint32(_NO_FIGURE)) == 0)
    return carries


def weakness(motion: Motion) -> str:
    """Return why no figure may be named of a log, "" if one may.

    The same of a finished log and of one that still grows, so that nothing that was called ready
    is too weak if it ends there: what came before the receiver had settled does not count, and of
    how well speeds are known neither do fixes with a neighbour on one side only. METHOD.md, (1).
    """
    if not np.isfinite(motion.settled_s):
        return "the receiver never settled"
    speed_sd = _inner_speed_sd(motion)
    if not np.isfinite(speed_sd):
        return "no speed can be told"
    time_s = motion.track.time_s
    share = _share(carries_figures(motion)[time_s >= motion.settled_s])
    if share < _FAIR_SHARE:
        return f"figures can be taken from only {100 * share:.0f} % of the fixes"
    if speed_sd > _FAIR_SD_MPS:
        roughly = f"speeds are known to ±{both_units(QUANTILE * speed_sd, 1)} at best"
        return "; ".join((roughly, *motion.doubts[:1]))
    length_s = float(np.nanmax(time_s)) - motion.settled_s
    if length_s < steady_span_s(1.0 / motion.rate_hz)[0]:
        return f"it covers only {length_s:.1f} s with a settled receiver"
    if motion.rate_hz < _WEAK_RATE_HZ:
        return f"it has only one fix every {1.0 / motion.rate_hz:.3g} s"
    return ""


def _inner_speed_sd(motion: Motion) -> float:
    return _median(motion.speed_sd_mps[np.isfinite(motion.speed_sd_mps)][1:-1])


def _share(flags: BoolArray) -> float:
    return float(np.mean(flags)) if len(flags) else 0.0


def _median(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _grade(motion: Motion, share: float) -> tuple[Grade, str]:
    """Return the grade and what pulled it down most."""
    if weak := weakness(motion):
        return "too weak", weak
    length_s = float(np.nanmax(motion.track.time_s) - np.nanmin(motion.track.time_s))
    lost = sum(end - start for start, end in motion.gaps) / length_s
    if lost > _LOST_SHARE:
        return "fair", f"gaps take up {100 * lost:.0f} % of its time"
    if length_s < _SHORT_RIDE_S:
        return "fair", f"it covers only {length_s:.0f} s"
    if share < _GOOD_SHARE:
        return "fair", f"figures can be taken from {100 * share:.0f} % of the fixes"
    if motion.doubts:
        return "fair", motion.doubts[0]
    if _inner_speed_sd(motion) > _GOOD_SD_MPS:
        return "fair", "speeds are known only roughly"
    if contradicted_spans(motion):
        return "fair", "its speeds and positions contradict each other in places"
    return "good", ""


def contradicted_spans(motion: Motion) -> tuple[tuple[float, float], ...]:
    """Return the stretches in which reported speed and positions contradict each other. [s]"""
    return flagged_spans(
        motion.track.time_s, motion.flags, Flag.CONTRADICTED, join_within_s=2.5 / motion.rate_hz
    )


def _verdict(motion: Motion, grade: str, why: str) -> str:
    start_s = float(np.nanmin(motion.track.time_s)) if len(motion.track) else 0.0
    settling = motion.settled_s - start_s
    later = f"{settling:.0f} s after " if settling >= 1.0 else ""
    since = f"from {later}the first fix on"
    if grade == "good":
        return f"Good enough for speed figures, {since}."
    if grade == "fair":
        return f"Good enough with care, {since}: {why}."
    return f"Too weak for firm figures: {why}."


def rate_words(rate_hz: float) -> str:
    """Return how often the receiver spoke."""
    if rate_hz >= 0.95:
        return f"{rate_hz:.3g} {'fix' if abs(rate_hz - 1.0) < 0.005 else 'fixes'} a second"
    return f"one fix every {1.0 / rate_hz:.3g} s"


def _supports(motion: Motion) -> tuple[str, ...]:
    seen_hz = _SEEN_SHARE_OF_RATE * motion.rate_hz
    sentences = [
        f"At {rate_words(motion.rate_hz)}, changes slower than about {seen_hz:.2g} Hz can "
        "be seen (a fifth of the rate)."
    ]
    if seen_share(motion) >= LEAST_SEEN:
        sentences.insert(0, "Top speed over a second and over five seconds, with intervals.")
    if motion.speed_source == "reported":
        sentences.append(
            "The receiver reports its own speed, which is sharper than speed from positions."
        )
    return tuple(sentences)


def _cannot_support(motion: Motion, used_s: np.ndarray) -> tuple[str, ...]:
    sentences: list[str] = []
    rate = motion.rate_hz
    # A logger set to 5 Hz keeps 4.99 or 5.01.
    if _SEEN_SHARE_OF_RATE * rate < 0.95 * _SLOWEST_WEAVE_HZ:
        sentences.append(
            f"At {rate_words(rate)} weave and wobble cannot be shown, and a fast one "
            "may look like a slow wander that was never there."
        )
    elif _SEEN_SHARE_OF_RATE * rate < _FASTEST_WEAVE_HZ:
        sentences.append(
            f"At {rate_words(rate)}, weave faster than {_SEEN_SHARE_OF_RATE * rate:.2g} Hz and "
            "wobble cannot be shown."
        )
    if seen_share(motion) < LEAST_SEEN:
        sentences.append(
            f"Most of the distance lies between fixes more than {LONGEST_HOLE_S:.0f} s apart, so "
            "the speed of any one second, and with it a top speed, cannot be told."
        )
    if rate < 4.0:
        sentences.append(
            f"A start or a stop falls between fixes {1.0 / rate:.2g} s apart, so launch and "
            "braking times have wide intervals."
        )
    if motion.speed_source == "positions":
        sentences.append(
            "The log reports no speed of its own: speed comes from positions, whose slow drift "
            "they cannot show themselves, so the intervals are wider."
        )
    if len(used_s) and used_s[-1] - used_s[0] < _SHORT_RIDE_S:
        sentences.append(
            f"The log covers {used_s[-1] - used_s[0]:.0f} s, too short to learn much about the "
            "receiver's own errors, or that the speed it reports lags behind."
        )
    if motion.gaps:
        sentences.append("What happened inside the gaps: nothing is estimated across them.")
    sentences.append("Which way the machine faced: speed over ground has no sign by itself.")
    return tuple(sentences)
