"""Where the grades of a log begin, on both sides of each, and what a log is said to support.

The edges are common practice, no source; here they are held where README and the pages put them.
That two-wheelers weave at 1 to 5 Hz is from Appl. Sci. 2021, 11(16), 7393, and that a log shows
nothing faster than half its rate from the sampling theorem; a fifth of it is common practice.
"""

from dataclasses import replace

import numpy as np
import pytest

from ridelog.analysis.signal.measure import SignalQuality, judge_signal, rate_words
from ridelog.core.flags import Flag
from ridelog.filtering.motion import Motion


@pytest.fixture(scope="module")
def good(good_motion: Motion) -> Motion:
    """A log with nothing against it, whose fixes all carry figures."""
    n = len(good_motion.track)
    clean = replace(
        good_motion,
        flags=np.zeros(n, dtype=np.uint32),
        used=np.ones(n, dtype=bool),
        speed_sd_mps=np.full(n, 0.04),
        gaps=(),
        doubts=(),
    )
    assert judge_signal(clean).grade == "good"
    return clean


def lasting(motion: Motion, length_s: float) -> Motion:
    """Return the log as if its clock had covered another time."""
    track = motion.track
    since = track.time_s - track.time_s[0]
    return replace(motion, track=replace(track, time_s=since * length_s / since[-1]))


def flagged(motion: Motion, share: float) -> Motion:
    """Return the log with a jump in a share of its fixes."""
    flags = motion.flags.copy()
    flags[: round(share * len(flags))] |= np.uint32(Flag.JUMP)
    return replace(motion, flags=flags)


def lost(motion: Motion, share: float) -> Motion:
    length_s = float(np.ptp(motion.track.time_s))
    return replace(
        motion, gaps=((0.0, 0.6 * share * length_s), (10.0, 10.0 + 0.4 * share * length_s))
    )


def known_to(motion: Motion, sd_mps: float) -> Motion:
    return replace(motion, speed_sd_mps=np.full(len(motion.track), sd_mps))


@pytest.mark.parametrize(
    ("change", "at", "grade", "why"),
    [
        (known_to, 0.099, "good", ""),
        (known_to, 0.101, "fair", "speeds are known only roughly"),
        (known_to, 0.349, "fair", "speeds are known only roughly"),
        # 1.645 standard deviations hold 90 % of a normal error: 0.36 m/s x 1.645 = 2.1 km/h.
        (known_to, 0.36, "too weak", "speeds are known to ±2.1 km/h (1.3 mph) at best"),
        (flagged, 0.09, "good", ""),
        (flagged, 0.11, "fair", "figures can be taken from 89 % of the fixes"),
        (flagged, 0.49, "fair", "figures can be taken from 51 % of the fixes"),
        (flagged, 0.51, "too weak", "figures can be taken from only 49 % of the fixes"),
        (lost, 0.19, "good", ""),
        (lost, 0.21, "fair", "gaps take up 21 % of its time"),
        (lasting, 30.5, "good", ""),
        (lasting, 29.5, "fair", "it covers only 30 s"),
        (lasting, 2.0, "fair", "it covers only 2 s"),
        # A fix that comes half an interval early is not waited for: 2 s less 0.05 s.
        (lasting, 1.96, "fair", "it covers only 2 s"),
        (lasting, 1.9, "too weak", "it covers only 1.9 s with a settled receiver"),
        (lambda motion, at: replace(motion, rate_hz=at), 0.46, "good", ""),
        (
            lambda motion, at: replace(motion, rate_hz=at), 0.44, "too weak",
            "it has only one fix every 2.27 s",
        ),
        (
            lambda motion, at: replace(motion, settled_s=at), np.nan, "too weak",
            "the receiver never settled",
        ),
        (known_to, np.nan, "too weak", "no speed can be told"),
        (lambda motion, at: replace(motion, doubts=("it drifts",)), 0.0, "fair", "it drifts"),
    ],
)  # fmt: skip
def test_where_grades_begin(good: Motion, change: object, at: float, grade: str, why: str) -> None:
    assert callable(change)
    found: SignalQuality = judge_signal(change(good, at))
    assert found.grade == grade
    assert found.verdict.endswith(f"{why}." if why else "the first fix on.")
    assert bool(found.too_weak) is (grade == "too weak")


def test_settling_is_told_from_the_first_fix(good: Motion) -> None:
    first_s = float(good.track.time_s[0])
    late = judge_signal(replace(good, settled_s=first_s + 42.0))
    assert late.verdict == "Good enough for speed figures, from 42 s after the first fix on."
    soon = judge_signal(replace(good, settled_s=first_s + 0.9))
    assert soon.verdict == "Good enough for speed figures, from the first fix on."


@pytest.mark.parametrize(
    ("rate_hz", "weave", "starts"),
    [
        (25.5, "", False),
        (24.0, "weave faster than 4.8 Hz and wobble cannot be shown", False),
        (5.0, "weave faster than 1 Hz and wobble cannot be shown", False),
        (4.8, "weave faster than 0.96 Hz and wobble cannot be shown", False),
        (4.7, "weave and wobble cannot be shown, and a fast one may look like", False),
        (4.01, "weave and wobble cannot be shown, and a fast one may look like", False),
        (3.9, "weave and wobble cannot be shown, and a fast one may look like", True),
    ],
)
def test_what_a_rate_cannot_show(good: Motion, rate_hz: float, weave: str, starts: bool) -> None:
    cannot = " ".join(judge_signal(replace(good, rate_hz=rate_hz)).cannot_support)
    assert (weave in cannot) if weave else ("weave" not in cannot)
    assert ("A start or a stop falls between fixes" in cannot) is starts


def test_what_else_is_told_of_a_log(good: Motion) -> None:
    plain = judge_signal(good)
    assert plain.supports[0] == "Top speed over a second and over five seconds, with intervals."
    assert plain.supports[-1].startswith("The receiver reports its own speed")
    assert plain.supports[1].startswith(
        "At 10 fixes a second, changes slower than about 2 Hz can be seen (a fifth of the rate)"
    )
    assert len(plain.cannot_support) == 2  # weave faster than 2 Hz, and which way it faced
    other = judge_signal(replace(lasting(good, 29.0), speed_source="positions", gaps=((1.0, 2.0),)))
    told = " ".join(other.cannot_support)
    assert "The log covers 29 s, too short to learn much" in told
    assert "speed comes from positions" in told and "nothing is estimated across them" in told
    assert not any("reports its own speed" in one for one in other.supports)


@pytest.mark.parametrize(
    ("rate_hz", "words"),
    [
        (1.0, "1 fix a second"), (1.004, "1 fix a second"), (1.006, "1.01 fixes a second"),
        (0.96, "0.96 fixes a second"), (0.94, "one fix every 1.06 s"),
    ],
)  # fmt: skip
def test_how_a_rate_is_told(rate_hz: float, words: str) -> None:
    assert rate_words(rate_hz) == words


def test_medians_and_the_longest_step_are_of_what_is_known(good: Motion) -> None:
    track = good.track
    hdop = np.full(len(track), np.nan)
    hdop[:3] = (0.8, 2.0, 1.1)
    used = np.ones(len(track), dtype=bool)
    used[100:120] = False
    step_s = float(track.time_s[120] - track.time_s[99])
    found = judge_signal(replace(good, track=replace(track, hdop=hdop), used=used))
    assert found.hdop_median == 1.1
    assert found.longest_step_s == pytest.approx(step_s)
    assert (found.fixes_read, found.fixes_used) == (len(track), len(track) - 20)
    assert found.usable_share == pytest.approx(1.0 - 20.0 / len(track))


@pytest.mark.parametrize("start_s", [0.0, 250.0])
@pytest.mark.parametrize(
    ("after_s", "words"), [(0.0, "from the first"), (0.9, "from the first"), (12.0, "from 12 s af")]
)
def test_it_is_said_from_when_on_a_log_is_good(
    good: Motion, start_s: float, after_s: float, words: str
) -> None:
    """Counted from the first fix that is there, whenever its clock began."""
    time_s = good.track.time_s - good.track.time_s[0] + start_s
    later = replace(
        good, track=replace(good.track, time_s=time_s), settled_s=start_s + after_s, used=good.used
    )
    assert words in judge_signal(later).verdict
