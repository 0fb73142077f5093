"""The figures of one ride, each wide and narrow, as SVG for the page and as PNG files."""

from functools import partial

from matplotlib.figure import Figure

from ridelog.analysis.signal.plot import signal_figure
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.plot import speed_figure
from ridelog.analysis.top_speed.plot_path import path_figure
from ridelog.core.units import SpeedUnit
from ridelog.filtering.motion import Motion
from ridelog.present.figure import Shape
from ridelog.present.section import Picture, draw_picture
from ridelog.present.words import count_words, duration_words, plain_speed, speed_words

NAMES = ("speed", "path", "signal")


def ride_pictures(
    ride: MeasuredRide, unit: SpeedUnit, names: tuple[str, ...] = NAMES
) -> tuple[Picture, ...]:
    """Return speed, path and signal of a ride, or some of them; equal rides give equal bytes."""
    return tuple(
        draw_picture(name, label, partial(_figure, name, ride, unit))
        for name, label in (
            ("speed", _speed_label(ride, unit)),
            ("path", _path_label(ride.motion, unit)),
            ("signal", _signal_label(ride)),
        )
        if name in names
    )


def _figure(name: str, ride: MeasuredRide, unit: SpeedUnit, shape: Shape) -> Figure:
    if name == "speed":
        return speed_figure(ride, unit, shape)
    if name == "path":
        return path_figure(ride, unit, shape)
    return signal_figure(ride, shape)


def _speed_label(ride: MeasuredRide, unit: SpeedUnit) -> str:
    best = ride["top_speed"].best_1s_mps
    top = f"its best second reaches {speed_words(best, unit)}" if best else "no best second"
    return (
        f"Speed over ground against time during {duration_words(ride.source.duration_s)}; {top}. "
        "Stretches with a doubtful signal are shaded and named."
    )


def _path_label(motion: Motion, unit: SpeedUnit) -> str:
    east = motion.east_m[motion.east_m == motion.east_m]
    north = motion.north_m[motion.north_m == motion.north_m]
    if not len(east):
        return "Path of the ride: no position is known."
    wide, tall = (unit.from_metres(float(axis.max() - axis.min())) for axis in (east, north))
    top = float(motion.speed_mps[motion.speed_mps == motion.speed_mps].max())
    return (
        f"Path of the ride from above, {wide:.0f} {unit.distance_label} from west to east and "
        f"{tall:.0f} {unit.distance_label} from south to north, coloured by speed up to "
        f"{plain_speed(top, unit)}, with arrows in the direction of travel."
    )


def _signal_label(ride: MeasuredRide) -> str:
    flagged = ", ".join(
        f"{name.lower().replace('_', ' ')} {count}" for name, count in ride["signal"].counts.items()
    )
    fixes = count_words(ride["signal"].fixes_read, "fix", "fixes")
    return f"Signal quality against time over {fixes}; flagged: {flagged or 'none'}."
