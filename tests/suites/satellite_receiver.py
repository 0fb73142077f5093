"""A receiver from its satellites up: ranges and range rates, a fix of least squares, its filter.

Every satellite has errors of its own: white ones, reflections that change with the way travelled,
slow ones of the air, bursts. Satellites come and go, so that the fix steps. The receiver's filter
then smooths what comes of it, and its habits make the log.

Source
------
P. Misra and P. Enge, "Global Positioning System: Signals, Measurements, and Performance", 2nd ed.,
2011, chapters 5 and 6 (errors of ranges, least squares, dilution of precision; from memory); the
filters: Y. Bar-Shalom, X. R. Li, T. Kirubarajan, 2001, section 6.2 (from memory).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from simulate import Observation, Truth

from ridelog.core.track import FixKind, FloatArray

Filter = Literal["none", "constant velocity", "constant acceleration", "carried"]


@dataclass(frozen=True)
class Habits:
    """What a receiver makes of its fixes.

    Attributes
    ----------
    filter : none logs the fixes; carried adds the way by Doppler and is drawn to the fix.
    agility : how much velocity changes in a second [m/s²], or acceleration [m/s³].
    range_m, rate_mps : errors that the filter believes; no rates are used if infinite. [m], [m/s]
    livens : after a surprise its agility is so many times larger for a second.
    average_s : the reported velocity is a mean over so long. [s]
    lock_mps : at a stand position and speed are held below this. [m/s]
    blends_s : after a hold the position slides to where it should be over so long. [s]
    """

    filter: Filter = "constant velocity"
    agility: float = 3.0
    range_m: float = 1.5
    rate_mps: float = 0.1
    livens: float = 1.0
    average_s: float = 0.0
    lock_mps: float = 0.0
    blends_s: float = 0.0


@dataclass(frozen=True)
class Sky:
    """What comes from the satellites; errors of one range towards the zenith.

    Attributes
    ----------
    satellites, changes_per_min : how many are seen, and how often one comes or goes.
    white_m, reflected_m, slow_m : errors of a range: white, of reflections, of the air. [m]
    rate_white_mps, rate_slow_mps : errors of a range rate: white, and lasting a second. [m/s]
    bursts_per_min : how often some satellites are seen by reflection only.
    """

    satellites: int = 12
    changes_per_min: float = 1.0
    white_m: float = 0.4
    reflected_m: float = 0.4
    slow_m: float = 1.0
    rate_white_mps: float = 0.05
    rate_slow_mps: float = 0.02
    bursts_per_min: float = 0.0


@dataclass(frozen=True)
class SatelliteReceiver:
    """Sky, habits and how the log is written."""

    rate_hz: float
    measures_hz: float
    sky: Sky
    habits: Habits
    reports_speed: bool = True
    reports_hdop: bool = True
    speed_step_mps: float = 0.01
    course_step_deg: float = 0.1
    course_blank_mps: float = 0.3
    freezes_course: bool = False

    def observe(self, truth: Truth, rng: np.random.Generator) -> Observation:
        """Return what this receiver logs of a ride."""
        lead_s, step_s = 20.0, 1.0 / self.measures_hz
        count = int((truth.duration_s + lead_s) / step_s + 1e-9) + 1
        time_s = np.arange(float(count)) * step_s - lead_s
        inside = np.maximum(time_s, 0.0)
        place = np.stack(truth.position_at(inside), axis=1)
        speed = np.interp(inside, truth.time_s, truth.velocity_mps)
        heading = np.interp(inside, truth.time_s, truth.heading_rad)
        velocity = speed[:, None] * np.stack([np.sin(heading), np.cos(heading)], axis=1)
        off_m, off_mps, hdop, used = self._errors(np.abs(speed), step_s, rng)
        position, told = self._filtered(place + off_m, velocity + off_mps, step_s)
        position, told = self._locked(position, told, step_s)
        told = _mean_before(told, round(self.habits.average_s / step_s))
        every = max(1, round(self.measures_hz / self.rate_hz))
        kept = np.flatnonzero(time_s >= -1e-9)[::every]
        said, course = self._written(told[kept])
        n = len(kept)
        blank = np.full(n, np.nan)
        return Observation(
            true_time_s=time_s[kept],
            time_s=time_s[kept],
            east_m=position[kept, 0],
            north_m=position[kept, 1],
            height_m=np.interp(time_s[kept], truth.time_s, truth.height_m),
            speed_mps=said if self.reports_speed else blank,
            course_rad=course if self.reports_speed else blank,
            hdop=np.round(hdop[kept], 1) if self.reports_hdop else blank,
            satellites=used[kept] if self.reports_hdop else blank,
            fix_kind=np.full(n, int(FixKind.AUTONOMOUS), dtype=np.int64),
            position_sd_m=blank,
            speed_sd_mps=blank,
        )

    def _errors(
        self, speed: FloatArray, step_s: float, rng: np.random.Generator
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Return the errors of fix and velocity, east and north, dilution and satellites used."""
        sky, n = self.sky, len(speed)
        many = sky.satellites + 6
        azimuth = rng.uniform(0.0, 2.0 * np.pi, many)
        elevation = np.arcsin(rng.uniform(np.sin(0.17), 1.0, many))
        worse = 1.0 / np.sin(elevation)
        range_m = worse * (
            sky.white_m * rng.standard_normal((n, many))
            # Reflections change over some metres of way; at a stand they stay for half a minute.
            + _lasting(n, many, sky.reflected_m, 4.0 / np.maximum(speed, 0.13), step_s, rng)
            + _lasting(n, many, sky.slow_m, np.full(n, 250.0), step_s, rng)
        )
        rate_mps = np.sqrt(worse) * (
            sky.rate_white_mps * rng.standard_normal((n, many))
            + _lasting(n, many, sky.rate_slow_mps, np.full(n, 1.0), step_s, rng)
        )
        for _ in range(rng.poisson(sky.bursts_per_min * n * step_s / 60.0)):
            begin = int(rng.integers(n))
            end = begin + round(rng.uniform(0.5, 4.0) / step_s)
            hit = rng.choice(many, int(rng.integers(1, 4)), replace=False)
            range_m[begin:end, hit] += rng.uniform(2.0, 12.0, len(hit))
            rate_mps[begin:end, hit] += rng.uniform(-0.6, 0.6, len(hit))
        off_m, off_mps = np.empty((n, 2)), np.empty((n, 2))
        hdop, used = np.empty(n), np.empty(n)
        seen = np.zeros(many, dtype=bool)
        seen[rng.permutation(many)[: sky.satellites]] = True
        changes = np.sort(rng.integers(0, n, rng.poisson(sky.changes_per_min * n * step_s / 60.0)))
        sight = np.stack(
            [
                -np.sin(azimuth) * np.cos(elevation),
                -np.cos(azimuth) * np.cos(elevation),
                -np.sin(elevation),
                np.ones(many),
            ],
            axis=1,
        )
        for begin, end in zip([0, *changes], [*changes, n], strict=True):
            at, weight = sight[seen], 1.0 / worse[seen] ** 2
            solve = np.linalg.solve(at.T @ (weight[:, None] * at), at.T * weight)
            off_m[begin:end] = range_m[begin:end, seen] @ solve[:2].T
            off_mps[begin:end] = rate_mps[begin:end, seen] @ solve[:2].T
            hdop[begin:end] = np.sqrt(np.trace(np.linalg.inv(at.T @ at)[:2, :2]))
            used[begin:end] = np.count_nonzero(seen)
            one = int(rng.integers(many))
            if not seen[one] or np.count_nonzero(seen) > 6:
                seen[one] = not seen[one]
        return off_m, off_mps, hdop, used

    def _filtered(
        self, fix: FloatArray, rate: FloatArray, step_s: float
    ) -> tuple[FloatArray, FloatArray]:
        how = self.habits
        if how.filter == "none":
            return fix, rate
        if how.filter == "carried":
            drawn = min(1.0, step_s / max(how.range_m * 4.0, step_s))
            place = fix.copy()
            for number in range(1, len(fix)):
                ahead = place[number - 1] + 0.5 * step_s * (rate[number] + rate[number - 1])
                place[number] = ahead + drawn * (fix[number] - ahead)
            return place, rate
        n = 2 if how.filter == "constant velocity" else 3
        forward = np.array([[1.0, step_s, 0.5 * step_s**2], [0.0, 1.0, step_s], [0.0, 0.0, 1.0]])[
            :n, :n
        ]
        shape = np.array(
            [step_s ** (n - k) / float(np.prod(range(1, n - k + 1))) for k in range(n)]
        )
        noise = how.agility**2 / step_s * np.outer(shape, shape)
        with_rate = np.isfinite(how.rate_mps)
        measured = np.eye(n)[: 2 if with_rate else 1]
        error = np.diag([how.range_m**2, how.rate_mps**2] if with_rate else [how.range_m**2])
        state, spread = np.zeros((n, 2)), np.diag([4.0, 1.0, 1.0])[:n, :n]
        state[0] = fix[0]
        out = np.empty((len(fix), 2, 2))
        lively = 0
        for number in range(len(fix)):
            state = forward @ state
            spread = forward @ spread @ forward.T + (how.livens**2 if lively else 1.0) * noise
            seen = np.stack([fix[number], rate[number]])[: len(measured)]
            surprise = seen - measured @ state
            expected = measured @ spread @ measured.T + error
            off = float(np.sum(surprise * np.linalg.solve(expected, surprise)))
            lively = round(1.0 / step_s) if off > 16.0 else max(lively - 1, 0)
            gain = np.linalg.solve(expected, measured @ spread).T
            state = state + gain @ surprise
            spread = spread - gain @ measured @ spread
            out[number] = state[:2]
        return out[:, 0], out[:, 1]

    def _locked(
        self, position: FloatArray, velocity: FloatArray, step_s: float
    ) -> tuple[FloatArray, FloatArray]:
        how = self.habits
        if how.lock_mps <= 0.0:
            return position, velocity
        speed = np.hypot(*velocity.T)
        place, told = position.copy(), velocity.copy()
        slow, locked = 0.0, False
        behind = np.zeros(2)
        for number in range(1, len(place)):
            slow = slow + step_s if speed[number] < how.lock_mps else 0.0
            away = float(np.hypot(*(position[number] - place[number - 1])))
            was, locked = locked, slow > 0.8 or (locked and speed[number] < 1.4 * how.lock_mps)
            if locked and away < 3.0:
                place[number], told[number] = place[number - 1], 0.0
                continue
            locked = False
            if was:
                behind = place[number - 1] - position[number]
            if how.blends_s > 0.0:
                behind = behind * np.exp(-step_s / how.blends_s)
                place[number] = position[number] + behind
        return place, told

    def _written(self, velocity: FloatArray) -> tuple[FloatArray, FloatArray]:
        speed = np.hypot(*velocity.T)
        course = np.arctan2(velocity[:, 0], velocity[:, 1]) % (2.0 * np.pi)
        step = np.radians(self.course_step_deg)
        course = np.round(course / step) * step % (2.0 * np.pi)
        blank = speed < self.course_blank_mps
        if self.freezes_course:
            last = np.maximum.accumulate(np.where(blank, 0, np.arange(len(speed))))
            course = course[last]
        else:
            course = np.where(blank, np.nan, course)
        return np.round(speed / self.speed_step_mps) * self.speed_step_mps, course


def _lasting(
    n: int, many: int, sd: float, lasts_s: FloatArray, step_s: float, rng: np.random.Generator
) -> FloatArray:
    """Return first-order errors whose correlation time may change, shape (n, many)."""
    keep = np.exp(-step_s / lasts_s)[:, None]
    fresh = sd * np.sqrt(1.0 - keep**2) * rng.standard_normal((n, many))
    error = np.empty((n, many))
    error[0] = sd * rng.standard_normal(many)
    for number in range(1, n):
        error[number] = keep[number] * error[number - 1] + fresh[number]
    return error


def _mean_before(values: FloatArray, width: int) -> FloatArray:
    """Return the mean of each value and those just before it."""
    if width < 2:
        return values
    padded = np.concatenate([np.repeat(values[:1], width - 1, axis=0), values])
    total = np.concatenate([np.zeros((1, 2)), np.cumsum(padded, axis=0)])
    mean: FloatArray = (total[width:] - total[:-width]) / width
    return mean


KINDS = ("plain", "accelerating", "carried", "raw", "walker", "mean", "town", "anyhow")


def drawn_receiver(
    kind: str, rate_hz: float, rng: np.random.Generator, *, reports_speed: bool
) -> tuple[SatelliteReceiver, int]:
    """Return a receiver of a kind with its properties drawn, and its decimals of a degree.

    plain: tuned to vehicles. accelerating: with an acceleration in its filter. carried: position
    carried on by Doppler. raw: no filter. walker: for people on foot, holds at a stand. mean:
    reports a mean. town: bursts, satellites come and go. anyhow: any of it.
    """
    uniform, choice = rng.uniform, rng.choice
    town = kind == "town" or (kind == "anyhow" and rng.random() < 0.3)
    sky = Sky(
        satellites=int(rng.integers(7, 11) if town else rng.integers(9, 17)),
        changes_per_min=float(uniform(2.0, 6.0) if town else uniform(0.0, 2.0)),
        white_m=float(uniform(0.15, 0.8)),
        reflected_m=float(uniform(0.3, 1.0) if town else uniform(0.1, 0.5)),
        slow_m=float(uniform(0.3, 1.5)),
        rate_white_mps=float(uniform(0.02, 0.12)),
        rate_slow_mps=float(uniform(0.005, 0.04)),
        bursts_per_min=float(uniform(1.0, 4.0)) if town else float(choice([0.0, 0.3])),
    )
    filters: tuple[Filter, ...] = (
        "none", "constant velocity", "constant acceleration", "carried",
    )  # fmt: skip
    named: dict[str, Filter] = {
        "plain": "constant velocity", "accelerating": "constant acceleration",
        "carried": "carried", "raw": "none", "walker": "constant velocity",
        "mean": str(choice(["constant velocity", "carried"])),  # type: ignore[dict-item]  # one of its filters
    }  # fmt: skip
    filter_ = named.get(kind) or filters[int(rng.integers(1 if kind == "town" else 0, 4))]
    third = filter_ == "constant acceleration"
    agility = float(np.exp(uniform(np.log(2.0), np.log(8.0)))) * (2.0 if third else 1.0)
    rate = float(uniform(0.05, 0.2))
    if not reports_speed and rng.random() < 0.5:
        rate = float("inf")
    if kind == "walker":
        agility = float(uniform(0.4, 1.2))
    habits = Habits(
        filter=filter_,
        agility=agility,
        range_m=float(np.exp(uniform(np.log(0.7), np.log(4.0)))),
        rate_mps=rate,
        livens=float(choice([1.0, 1.0, 5.0])),
        average_s=float(
            uniform(0.8, 2.5) if kind == "mean" else uniform(0.2, 1.0) * (rng.random() < 0.3)
            if kind == "anyhow" else 0.0
        ),
        lock_mps=float(
            uniform(0.25, 0.8) if kind == "walker" or (kind == "anyhow" and rng.random() < 0.3)
            else 0.0
        ),
        blends_s=float(choice([0.0, uniform(0.3, 1.5)])),
    )  # fmt: skip
    receiver = SatelliteReceiver(
        rate_hz=rate_hz,
        measures_hz=max(rate_hz, float(choice([5.0, 10.0]))),
        sky=sky,
        habits=habits,
        reports_speed=reports_speed,
        reports_hdop=bool(rng.random() < 0.6),
        speed_step_mps=float(choice([0.001, 0.01, 0.00514, 0.0514])),
        course_step_deg=float(choice([0.01, 0.1, 1.0])),
        course_blank_mps=float(uniform(0.1, 0.7)),
        freezes_course=bool(rng.random() < 0.3),
    )
    return receiver, int(choice([5, 6, 7, 7, 8]))
