"""What is said of a known ride beside its figures: where and when, of the signal, of its top speed.

The sentences are those of the pages; numbers by hand from the ride's own formula.
"""

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from known_motion import known_motion

from ridelog.analysis.figure import Figure
from ridelog.analysis.settings import Settings
from ridelog.analysis.signal.measure import carries_figures, judge_signal, weakness
from ridelog.analysis.signal.subject import gap_sentence, signal_items, signal_label, signal_summary
from ridelog.analysis.subject import MeasuredRide, RideSource
from ridelog.analysis.top_speed.measure import measure_top_speed, raw_peak
from ridelog.analysis.top_speed.subject import (
    TopSpeedOfRide,
    fastest_places,
    highest_reading,
    meaning,
    path_label,
    what_it_is,
)
from ridelog.analysis.wind import wind_loss
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.flags import Flag
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion

KMH = SPEED_UNITS["km/h"]
OUT_AND_BACK = [(0.0, 0.0), (5.0, 0.0), (11.0, 9.0), (17.0, 9.0), (21.0, 0.0), (30.0, 0.0),
                (36.0, 8.0), (42.0, 8.0), (46.0, 0.0), (50.0, 0.0)]  # fmt: skip
TURNED = [(0.0, 0.0), (22.0, 0.0), (28.0, 180.0), (50.0, 180.0)]


def measured(motion: Motion, *, curve: Any = (), **settings: Any) -> MeasuredRide:
    """Return the ride with the record of its top speed alone, and its figures."""
    ride = MeasuredRide(motion, RideSource.of(motion), Settings(**settings), {
        "top_speed": measure_top_speed(motion), "acceleration": SimpleNamespace(curve=curve),
    })  # fmt: skip
    figures = {one.name: one for one in TopSpeedOfRide().figures(ride)}
    return replace(ride, figures=figures)  # type: ignore[arg-type]  # a mapping does


def test_when_a_log_begins_and_ends() -> None:
    motion = known_motion([(0.0, 5.0), (20.0, 5.0)])
    source = RideSource.of(motion)
    assert (source.start_s, source.end_s, source.duration_s) == (0.0, 20.0, 20.0)
    assert source.start_utc == "2024-06-08T00:00:00Z" and source.end_utc == "2024-06-08T00:00:20Z"
    assert (source.fixes_read, source.fixes_used) == (201, 201)
    # A clock that steps back stays visible in the texts, not in the span.
    track = motion.track
    time_s = np.where(np.arange(201) < 150, track.time_s + 10.0, track.time_s - 10.0)
    time_s[7] = np.nan
    used = np.arange(201) != 7
    back = RideSource.of(replace(motion, track=replace(track, time_s=time_s), used=used))
    assert (back.start_s, back.end_s, back.duration_s) == pytest.approx((5.0, 24.9, 19.9))
    assert (back.start_utc, back.end_utc) == ("2024-06-08T00:00:10Z", "2024-06-08T00:00:10Z")
    assert back.fixes_used == 200
    blind = replace(motion, track=replace(track, time_s=np.full(201, np.nan)))
    none = RideSource.of(blind)
    assert (none.start_s, none.end_s, none.duration_s) == (0.0, 0.0, 0.0)


def test_which_way_it_went_at_a_time() -> None:
    motion = known_motion([(0.0, 5.0), (20.0, 5.0)], turns=[(0.0, -30.0)])
    ride = measured(motion)
    assert ride.course_at(7.0) == pytest.approx(330.0)
    # Two seconds from a fix, as where one of every second is missing on either side.
    assert ride.course_at(22.0) == pytest.approx(330.0) and ride.course_at(22.1) is None
    assert ride.course_at(float("nan")) is None
    silent = measured(replace(motion, course_rad=np.full(201, np.nan)))
    assert silent.course_at(7.0) is None
    with pytest.raises(KeyError, match="measured were top_speed, acceleration"):
        ride["nothing"]


def test_what_a_log_holds_in_words() -> None:
    motion = known_motion(
        [(0.0, 5.0), (60.0, 5.0)], pieces=[(0.0, 20.0), (24.0, 40.0), (43.0, 60.0)]
    )
    signal = judge_signal(motion)
    n = len(motion.track)
    assert signal_summary(signal) == f"all {n} fixes used, 10 fixes a second, 2 gaps"
    assert gap_sentence(signal) == "The gaps last 7.0 s together; nothing is estimated inside them."
    one = judge_signal(replace(motion, gaps=((20.0, 24.0),)))
    assert gap_sentence(one) == "The gap lasts 4.0 s; nothing is estimated inside it."
    plain = judge_signal(replace(motion, gaps=(), used=np.arange(n) >= 10))
    assert gap_sentence(plain) == "" and f"{n - 10} of {n} fixes used" in signal_summary(plain)
    items = dict(signal_items(signal, 0.0, KMH))
    assert items["Settled"] == "from the first fix on" and items["Rate"].startswith("10 fixes")
    assert items["Rate"].endswith(", at most 4 s between two")
    assert items["Gaps"].startswith("2 gaps. The gaps last 7.0 s")
    # 1.645 x 0.02 m/s.
    assert items["Speed"] == (
        "reported by the receiver; at one instant known to within 0.1 km/h, 9 times out of 10"
    )
    assert items["Satellites"].startswith("the log tells neither")
    assert "Without a fix" not in items
    late = dict(signal_items(judge_signal(replace(motion, settled_s=12.0)), 2.0, KMH))
    assert late["Settled"] == "10 s after the first fix; no figure is taken from before"
    near = dict(signal_items(judge_signal(replace(motion, settled_s=2.9)), 2.0, KMH))
    assert near["Settled"] == "from the first fix on"
    never = dict(signal_items(judge_signal(replace(motion, settled_s=np.nan)), 0.0, KMH))
    assert never["Settled"] == "never in this log; no figure is taken from it"
    track = replace(motion.track, satellites=np.full(n, 9.0), hdop=np.full(n, 0.84), void_epochs=3)
    sky = dict(signal_items(judge_signal(replace(motion, track=track)), 0.0, KMH))
    assert sky["Satellites"] == "9 used (median), dilution of precision (HDOP) 0.8 (median)"
    assert sky["Without a fix"] == "3 times in the log"
    other = judge_signal(replace(motion, speed_source="positions"))
    assert dict(signal_items(other, 0.0, KMH))["Speed"].startswith("worked out from positions")
    flags = motion.flags.copy()
    flags[:3] |= np.uint32(Flag.JUMP)
    assert signal_label(judge_signal(replace(motion, flags=flags))).endswith("3.")
    assert signal_label(signal).endswith("flagged: none.")


@pytest.mark.parametrize(("share", "told"), [(0.004, False), (0.03, True)])
def test_what_carries_no_figure_is_told_from_a_share_on(share: float, told: bool) -> None:
    motion = known_motion([(0.0, 5.0), (100.0, 5.0)])
    flags = motion.flags.copy()
    flags[: round(share * len(flags))] |= np.uint32(Flag.JUMP)
    marked = replace(motion, flags=flags)
    assert carries_figures(marked).sum() == len(flags) - round(share * len(flags))
    assert ("no figure is taken from 3 % of them" in signal_summary(judge_signal(marked))) is told


def test_what_came_before_a_receiver_had_settled_makes_no_log_too_weak() -> None:
    young = known_motion([(0.0, 5.0), (6.0, 5.0)])
    assert weakness(young) == ""
    flags = young.flags.copy()
    flags[:40] |= np.uint32(Flag.SETTLING)
    assert weakness(replace(young, flags=flags, settled_s=4.0)) == ""
    assert weakness(replace(young, flags=flags, settled_s=4.1)) == (
        "it covers only 1.9 s with a settled receiver"
    )
    flags[41:] |= np.uint32(Flag.JUMP)
    assert weakness(replace(young, flags=flags, settled_s=4.0)) == (
        "figures can be taken from only 5 % of the fixes"
    )
    assert weakness(replace(young, settled_s=np.nan)) == "the receiver never settled"


def test_how_well_speeds_are_known_is_told_by_fixes_between_others() -> None:
    """Of an end a fit knows less, and the ends of a long ride are few."""
    young = known_motion([(0.0, 5.0), (2.0, 5.0)], rate_hz=1.0)
    young = replace(young, speed_sd_mps=np.array([0.5, 0.3, 0.5]))
    assert weakness(young) == ""
    assert judge_signal(young).speed_sd_mps == 0.5
    unsure = replace(young, speed_sd_mps=np.array([0.5, 0.36, 0.5]))
    assert weakness(unsure).startswith("speeds are known to")


def test_the_top_speed_in_words() -> None:
    ride = measured(known_motion(OUT_AND_BACK, turns=TURNED))
    assert meaning(ride, KMH) == "Mean of 32.4 km/h north and 28.8 km/h south."
    assert [round(at) for at, _ in fastest_places(ride)] == pytest.approx([11, 36], abs=5)
    assert [words for _, words in fastest_places(ride)] == ["fastest north", "fastest south"]
    assert highest_reading(ride, KMH) == (
        "32.4 km/h", "for one instant, and nearly always too high",
    )  # fmt: skip
    # From rest to 9 m/s and on for 6 s, back to rest: 27 + 54 + 18 m; back 24 + 48 + 16 m.
    assert "0 m from west to east and 99 m from south to north" in path_label(ride, KMH)
    assert "coloured by speed up to 32 km/h" in path_label(ride, KMH)
    one_way = measured(known_motion(OUT_AND_BACK[:5], speed_source="positions"))
    assert what_it_is(one_way, KMH) == "fastest second, in one direction only"
    assert fastest_places(one_way) == [(one_way["top_speed"].at_s, "fastest second")]
    reading = highest_reading(one_way, KMH)
    assert reading is not None and reading[1].startswith("from two neighbouring positions")
    figures = one_way.figures
    assert figures["two_way_mps"].reason == "the ride holds no two fast runs in opposite directions"
    assert figures["best_1s_mps"].terms.course_deg == pytest.approx(0.0, abs=1e-6)
    assert figures["best_5s_mps"].estimate is not None and figures["best_5s_mps"].reason == ""
    short = measured(known_motion([(0.0, 0.0), (2.0, 4.0), (4.0, 0.0)]))
    assert short.figures["best_5s_mps"].reason.startswith("no five seconds")
    assert not short.figures["two_way_mps"].reason.startswith("no five seconds")


@pytest.mark.parametrize(("top_mps", "words"), [(0.1, "hardly moved"), (0.45, "Fastest second")])
def test_a_machine_that_hardly_moved(top_mps: float, words: str) -> None:
    ride = measured(known_motion([(0.0, top_mps), (30.0, top_mps)], error_mps=0.01))
    assert words in meaning(ride, KMH)


@pytest.mark.parametrize(("top_mps", "adult", "codes"), [
    (0.45, False, []), (6.0, False, ["age_class", "one_direction"]), (6.0, True, ["one_direction"]),
])  # fmt: skip
def test_what_a_top_speed_warns_of(top_mps: float, adult: bool, codes: list[str]) -> None:
    motion = known_motion([(0.0, top_mps), (30.0, top_mps)], error_mps=0.01)
    found = list(TopSpeedOfRide().cautions(measured(motion, adult_rider=adult)))
    assert [one.code for one in found] == codes


def test_wind_takes_from_both_directions() -> None:
    """Twice as far apart is four times the loss; nothing where the directions are as alike."""
    runs = [Estimate(v, v - QUANTILE * 0.01, v + QUANTILE * 0.01) for v in (9.0, 8.0, 8.75, 8.25)]
    far, near = wind_loss(*runs[:2], slope_ps=0.2), wind_loss(*runs[2:], slope_ps=0.2)
    assert far == pytest.approx(4.0 * near, rel=0.01) and near > 0.0
    same = Estimate(8.5, 8.4, 8.6)
    assert wind_loss(same, same, slope_ps=0.2) == 0.0
    curve = (SimpleNamespace(speed_mps=7.0, accel_mps2=Estimate(0.3, 0.2, 0.4)),)
    ride = measured(known_motion(OUT_AND_BACK, turns=TURNED, error_mps=0.01), curve=curve)
    figure: Figure = ride.figures["two_way_mps"]
    # The pull of 0.3 m/s² at 7 m/s is gone at 8.5 m/s: 0.2 a second.
    top = ride["top_speed"]
    there, back = (run.speed_mps for run in top.two_way_runs)
    assert figure.terms.wind_excess == pytest.approx(
        -wind_loss(there, back, slope_ps=0.2), rel=0.01
    )
    assert figure.terms.wind_excess < 0.0 and figure.terms.both_ways == top.two_way_mps
    beyond = (SimpleNamespace(speed_mps=8.6, accel_mps2=Estimate(0.3, 0.2, 0.4)),)
    none = measured(known_motion(OUT_AND_BACK, turns=TURNED), curve=beyond)
    assert none.figures["two_way_mps"].terms.wind_excess == 0.0


def test_pieces_of_less_than_a_second_hold_none() -> None:
    pieces = [(float(k), k + 0.8) for k in range(20)]
    found = measure_top_speed(known_motion([(0.0, 5.0), (20.0, 5.0)], pieces=pieces))
    assert found.top is None and found.reason == (
        "the fixes are 0.1 s apart and no second lies between two of them without a gap"
    )
    just = measure_top_speed(
        known_motion([(0.0, 5.0), (20.0, 5.0)], pieces=[(0.0, 1.0), *pieces[2:]])
    )
    assert just.best_1s_mps is not None and just.best_1s_mps.value == pytest.approx(5.0, abs=0.01)


def test_the_highest_reading_of_two_places() -> None:
    """Ten metres in two seconds; one place alone tells no speed."""
    way = [(0.0, 5.0), (2.0, 5.0)]
    two = known_motion(way, rate_hz=0.5, speed_source="positions")
    speed, kind = raw_peak(two)
    assert kind == "positions" and speed == pytest.approx(5.0, abs=1e-3)
    one = replace(two, used=np.array([True, False]))
    assert np.isnan(raw_peak(one)[0])
    # A place after a hole of more than three intervals is none of two neighbours.
    far = known_motion(
        [(0.0, 5.0), (10.0, 5.0), (11.0, 9.0), (19.0, 9.0)],
        rate_hz=1.0,
        speed_source="positions",
        used=~np.isin(np.arange(20), [*range(11, 19)]),
    )
    assert raw_peak(far)[0] == pytest.approx(5.0, abs=1e-3)
    assert raw_peak(replace(two, speed_source="reported")) == (5.0, "reported")
