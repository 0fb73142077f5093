"""What the rides tell of their strip, and which of their figures stand for the level."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from ridelog.analysis.acceleration.measure import HALF_STEP_MPS
from ridelog.analysis.launches.windows import Window
from ridelog.core.estimate import Estimate
from ridelog.core.interval import estimate_of_possible
from ridelog.core.track import FloatArray
from ridelog.machine.drive import Drive, in_wind, on_slope, top_speed
from ridelog.machine.fit import Fitted, FittedStrip
from ridelog.machine.standing import launch

# So many machines tell what slope and wind did to a figure: own choice, only means are asked for.
_MACHINES = 60
# Starts of a direction that pulls less than this share of the other may have been left out: own
# choice, a little above the share of another from which the subject acceleration counts them.
_BALANCED = 0.75
# A figure stands for the level if slope, wind and the width of its step moved it by less than this
# share of its half width: own choice, so that nine in ten become no less than 0.87, METHOD.md (29).
_LITTLE = 0.25
# The step over which a ride's pull is read, in so many parts: own choice, a bend falls into one.
_PARTS = 10
# Derived: the same as figures.PULL_SPEEDS_MPS, whose names are looked up. [m/s]
_SPEEDS_MPS = (0.0, 2.0, 4.0, 6.0, 8.0)


@dataclass(frozen=True)
class StripSeen:
    """Slope and wind of the strip of some rides.

    course_deg : direction in which ``slope`` rises (rise over run) and against which the winds
        blow, clockwise from north. both_ways : whether both directions were ridden; one alone
        hardly tells slope and wind from the machine.
    """

    rides: tuple[str, ...]
    course_deg: float
    slope: Estimate
    winds_mps: tuple[Estimate, ...]
    both_ways: bool


def strips_seen(fitted: Fitted) -> tuple[StripSeen, ...]:
    """Return what the rides tell of each strip, turned so that it rises."""
    found = []
    for strip in fitted.strips:
        slope = estimate_of_possible(strip.slope)
        winds = [estimate_of_possible(wind) for wind in strip.winds_mps]
        if slope is None or any(wind is None for wind in winds):
            continue
        side = 1.0 if slope.value >= 0.0 else -1.0
        found.append(
            StripSeen(
                strip.rides,
                float(np.degrees(np.mod(strip.axis_rad + (0.0 if side > 0.0 else np.pi),
                                        2.0 * np.pi))),
                _turned(slope, side),
                tuple(_turned(wind, side) for wind in winds if wind is not None),
                strip.both_ways,
            )
        )  # fmt: skip
    return tuple(found)


def _turned(one: Estimate, side: float) -> Estimate:
    if side > 0.0:
        return one
    return replace(one, value=-one.value, low=-one.high, high=-one.low)


def true_on_level(
    fitted: Fitted, measured: Mapping[str, Estimate], windows: Sequence[Window]
) -> dict[str, Estimate]:
    """Return the measured figures that slope and wind of their strips moved but little.

    By how much they did, the fitted machines tell: as the mean of both directions, or as the
    stronger one where the weaker may have been taken for a gentle hand. What only one direction
    shows is left out: nothing tells there what the strip did. A top speed is moved, too, by a run
    that had not settled, which its last seconds told the fit; the pull at a speed by the step to
    both sides of it over which rides read it.
    """
    ours = {"top_speed_mps", "best_1s_mps", "best_5s_mps", *(window.label for window in windows)}
    ours |= {_pull_name(speed) for speed in _SPEEDS_MPS}
    moved: dict[str, float] = dict.fromkeys(ours, 0.0)
    for strip in fitted.strips:
        if not strip.both_ways:
            moved = dict.fromkeys(ours, np.inf)
            continue
        for name, size in _moved(fitted.drive, strip, windows).items():
            moved[name] = max(moved[name], size)
    top = measured.get("top_speed_mps")
    if top is not None and _middle(top_speed(fitted.drive)[0]) > top.high:
        moved["top_speed_mps"] = np.inf
    return {
        name: one
        for name, one in measured.items()
        if moved.get(name, 0.0) <= _LITTLE * 0.5 * (one.high - one.low)
    }


def _moved(drive: Drive, strip: FittedStrip, windows: Sequence[Window]) -> dict[str, float]:
    some = _first(drive)
    # Each machine with what it makes of the strip: how far the move is known counts as well.
    slope = strip.slope[:_MACHINES]
    wind = np.median(strip.winds_mps, axis=0)[:_MACHINES]
    level = _figures(some, windows)
    there = [in_wind(on_slope(some, way * slope), way * wind) for way in (1.0, -1.0)]
    ways = [_figures(drive, windows) | _pulls_read(drive) for drive in there]
    balanced = _balanced(ways)
    found = {}
    for name, value in level.items():
        # Machine by machine: medians of machines one by one differ by the luck of so few.
        by = [way[name] - value for way in ways]
        each = [_size(one) for one in by]
        if name.startswith(("top", "best")) or balanced:
            # A figure that one direction never reaches is the other's alone.
            known = bool(np.isfinite(each).all())
            found[name] = _size(0.5 * (by[0] + by[1])) if known else np.inf
        else:
            known = bool(np.isfinite(each).any())
            found[name] = float(np.nanmax(each)) if known else np.inf
    return found


def _balanced(ways: Sequence[Mapping[str, FloatArray]]) -> bool:
    """Return whether the weaker direction surely counts among the starts, as the curve judges it.

    That takes the median over the speeds of what one start pulls for each other one.
    """
    pulls = [[_middle(way[_pull_name(speed)]) for speed in _SPEEDS_MPS[1:]] for way in ways]
    share = np.divide(*np.array(pulls))
    share = share[np.isfinite(share)]
    return len(share) > 0 and bool(_BALANCED < np.median(share) < 1.0 / _BALANCED)


def _pulls_read(drive: Drive) -> dict[str, FloatArray]:
    """Return the pulls as a ride's curve reads them, by the time over a step: METHOD.md (29).

    NaN where a machine does not pass the whole step.
    """
    weight = np.full(_PARTS + 1, 1.0 / _PARTS)
    weight[[0, -1]] *= 0.5
    found = {}
    for speed in _SPEEDS_MPS[1:]:
        step = np.linspace(speed - HALF_STEP_MPS, speed + HALF_STEP_MPS, _PARTS + 1)
        pull = drive.pull_mps2(step)
        passed = np.where(np.all(pull > 0.0, axis=1, keepdims=True), pull, np.nan)
        found[_pull_name(speed)] = 1.0 / ((1.0 / passed) @ weight)
    return found


def _pull_name(speed: float) -> str:
    return "pull_at_0_mps2" if speed == 0.0 else f"pull_at_{speed:g}_mps"


def _figures(drive: Drive, windows: Sequence[Window]) -> dict[str, FloatArray]:
    top, _ = top_speed(drive)
    start = launch(drive)
    found = {"top_speed_mps": top, "best_1s_mps": top, "best_5s_mps": top}
    for window in windows:
        found[window.label] = (
            start.time_to_distance_s(window.distance_m)
            if window.distance_m is not None
            else start.window_s(window.from_mps, float(window.to_mps or 0.0))
        )
    pull = drive.pull_mps2(np.array(_SPEEDS_MPS))
    pull = np.where(pull > 0.0, pull, np.nan)
    return found | {_pull_name(speed): pull[:, k] for k, speed in enumerate(_SPEEDS_MPS)}


def _middle(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) > 0.5 * len(values) else float("nan")


def _size(values: FloatArray) -> float:
    """Return the root mean square, NaN where most machines have none."""
    known = values[np.isfinite(values)]
    most = len(known) > 0.5 * len(values)
    return float(np.sqrt(np.mean(known**2))) if most else float("nan")


def _first(drive: Drive) -> Drive:
    cut = {
        each.name: getattr(drive, each.name)[:_MACHINES]
        for each in fields(drive)
        if each.name != "load"
    }
    load = drive.load
    return Drive(
        **cut,
        load=replace(
            load,
            a_n=load.a_n[:_MACHINES],
            b_nspm=load.b_nspm[:_MACHINES],
            c_ns2pm2=load.c_ns2pm2[:_MACHINES],
        ),
    )
