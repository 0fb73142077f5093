"""Everything that is measured on one ride, in one record: later analyses plug in here."""

from dataclasses import dataclass

import numpy as np

from ridelog.analysis.acceleration.measure import PullCurve, measure_pull
from ridelog.analysis.acceleration.run_draws import draw_runs
from ridelog.analysis.braking.cautions import advised_speed_caution, braking_cautions
from ridelog.analysis.braking.measure import Brakings, measure_brakings
from ridelog.analysis.braking.stopping import StoppingDistance, project_stop
from ridelog.analysis.cautions import (
    Caution,
    general_cautions,
    signal_cautions,
    top_speed_cautions,
)
from ridelog.analysis.coasting.measure import Coasting, coasting_between
from ridelog.analysis.handling import Handling, measure_handling
from ridelog.analysis.handling.cautions import handling_cautions
from ridelog.analysis.launches.measure import Launches, measure_launches
from ridelog.analysis.launches.windows import parse_window
from ridelog.analysis.phases.measure import Phases, divide_ride
from ridelog.analysis.reverse import Reverse, find_reverse
from ridelog.analysis.reverse.cautions import reverse_cautions
from ridelog.analysis.settings import Settings
from ridelog.analysis.signal.measure import SignalQuality, judge_signal
from ridelog.analysis.top_speed.measure import TopSpeed, measure_top_speed
from ridelog.filtering.motion import Motion

# What the eKFV Annex, no. 1.1-1.7, asks to hold during a speed test and a log cannot show.
NOT_MEASURED = ("wind", "slope", "rider mass", "battery charge", "tyre pressure")


@dataclass(frozen=True)
class RideSource:
    """The log a result was computed from, enough to find it again.

    ``start_utc`` and ``end_utc`` are those of the first and last fix in the order of the file;
    ``start_s`` and ``end_s`` the earliest and latest in time, which differ if a clock stepped back.
    """

    file: str
    sha256: str
    format: str
    fixes_read: int
    fixes_used: int
    start_utc: str
    end_utc: str
    date_known: bool
    start_s: float
    end_s: float
    rate_hz: float
    speed_source: str

    @property
    def duration_s(self) -> float:
        """Time from the first to the last fix in time. [s]"""
        return self.end_s - self.start_s


@dataclass(frozen=True)
class RideResult:
    """The figures of one ride.

    Attributes
    ----------
    source, signal, top_speed : what was read, how good it is, how fast it went.
    launches, pull : standing starts over their windows, acceleration against speed.
    reverse : travel backwards, with what speaks for it.
    brakings, stopping : every braking, and the way to rest from the top speed (None without one).
    coasting : resistance per mass, from rolling out.
    phases : what the machine did when.
    handling : lateral load of turns, weave, steering corrections.
    cautions : particular ones first, then those that hold on every ride.
    unexamined : what this version does not look for, name and sentence; nothing may be concluded
        about it.
    history : what was done to the data, one line a stage.
    warnings : sentences for results that stand but deserve doubt.
    settings : what was chosen, so that the figures can be computed again.
    """

    source: RideSource
    signal: SignalQuality
    top_speed: TopSpeed
    launches: Launches
    pull: PullCurve
    reverse: Reverse
    brakings: Brakings
    stopping: StoppingDistance | None
    coasting: Coasting
    phases: Phases
    handling: Handling
    cautions: tuple[Caution, ...]
    unexamined: dict[str, str]
    history: tuple[str, ...]
    warnings: tuple[str, ...]
    settings: Settings = Settings()


def describe_source(motion: Motion) -> RideSource:
    """Return which log a motion comes from and what it covers."""
    track = motion.track
    known = track.time_s[np.isfinite(track.time_s)]
    start_s, end_s = (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
    # First and last in file order, as the log tells it: a clock that steps back stays visible.
    first_s, last_s = (float(known[0]), float(known[-1])) if len(known) else (0.0, 0.0)
    return RideSource(
        file=track.source.file,
        sha256=track.source.sha256,
        format=track.source.format,
        fixes_read=len(track),
        fixes_used=int(np.count_nonzero(motion.used)),
        start_utc=track.utc_text(first_s),
        end_utc=track.utc_text(last_s),
        date_known=track.date_known,
        start_s=start_s,
        end_s=end_s,
        rate_hz=motion.rate_hz,
        speed_source=motion.speed_source,
    )


def analyse(motion: Motion, settings: Settings | None = None) -> RideResult:
    """Return everything that is measured on one ride, with the choices in ``settings``."""
    settings = settings or Settings()
    signal = judge_signal(motion)
    reverse = find_reverse(
        motion,
        marks=settings.reverse_marks_s,
        has_reverse=settings.has_reverse,
        left_out=settings.left_out_s,
    )
    excluded = (*settings.left_out_s, *reverse.spans)
    top = measure_top_speed(motion, excluded=excluded)
    brakings = measure_brakings(motion, excluded=excluded)
    braked = tuple((one.start_s, one.end_s) for one in brakings.each)
    stopping = project_stop(brakings, top.best_1s, reaction_s=settings.reaction_s)
    windows = tuple(parse_window(words) for words in settings.windows) or None
    rollout_m = settings.rollout_m
    drawn = draw_runs(motion, windows=windows, rollout_m=rollout_m, excluded=excluded)
    launches = measure_launches(motion, windows=windows, rollout_m=rollout_m, drawn=drawn)
    handling = measure_handling(
        motion,
        excluded=excluded,
        track_width_m=settings.track_width_m,
        cg_height_m=settings.cg_height_m,
    )
    return RideResult(
        source=describe_source(motion),
        signal=signal,
        top_speed=top,
        launches=launches,
        pull=measure_pull(motion, drawn=drawn),
        reverse=reverse,
        brakings=brakings,
        stopping=stopping,
        coasting=coasting_between(motion, excluded=(*excluded, *braked)),
        phases=divide_ride(
            motion,
            brakings=brakings,
            reverse_spans=reverse.spans,
            launch_starts_s=[launch.start_s for launch in launches.launches],
        ),
        handling=handling,
        cautions=(
            *signal_cautions(signal),
            *reverse_cautions(
                reverse,
                limit_mps=settings.reverse_caution_mps,
                strong_mps=settings.reverse_strong_mps,
            ),
            *handling_cautions(handling),
            *advised_speed_caution(top.best_1s, settings.advised_mps),
            *top_speed_cautions(top),
            *braking_cautions(brakings, stopping, top.best_1s),
            *general_cautions(),
        ),
        # Everything that is asked for has its analysis; a later gap goes here with its sentence.
        unexamined={},
        history=motion.history,
        warnings=motion.warnings,
        settings=settings,
    )
