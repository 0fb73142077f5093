"""The figures of one ride, each wide and narrow, as SVG for the page and as PNG files."""

from dataclasses import dataclass

from matplotlib.figure import Figure

from ridelog.analysis.ride import RideResult
from ridelog.filtering.motion import Motion
from ridelog.report.canvas import NARROW, WIDE, Shape, drawing, png_of, svg_of
from ridelog.report.plot_path import path_figure
from ridelog.report.plot_signal import signal_figure
from ridelog.report.plot_speed import speed_figure
from ridelog.report.wording import count_words, duration_words, plain_speed, speed_words
from ridelog.units import SpeedUnit


@dataclass(frozen=True)
class Picture:
    """One figure for the page and as a file.

    Attributes
    ----------
    name : what it is called, also the file's stem: "speed", "path" or "signal".
    wide_svg, narrow_svg : SVG elements for wide and narrow pages.
    png : the wide one as a file's bytes.
    label : what it shows, for those who do not see it.
    """

    name: str
    wide_svg: str
    narrow_svg: str
    png: bytes
    label: str


def ride_pictures(motion: Motion, result: RideResult, unit: SpeedUnit) -> tuple[Picture, ...]:
    """Return speed, path and signal of a ride; equal rides give equal bytes."""
    with drawing():
        return tuple(
            _picture(name, label, motion, result, unit)
            for name, label in (
                ("speed", _speed_label(result, unit)),
                ("path", _path_label(motion, unit)),
                ("signal", _signal_label(result)),
            )
        )


def _picture(name: str, label: str, motion: Motion, result: RideResult, unit: SpeedUnit) -> Picture:
    wide = _figure(name, motion, result, unit, WIDE)
    narrow = _figure(name, motion, result, unit, NARROW)
    return Picture(
        name=name,
        wide_svg=svg_of(wide, name=f"{name}-wide", label=label),
        narrow_svg=svg_of(narrow, name=f"{name}-narrow", label=label),
        png=png_of(wide),
        label=label,
    )


def _figure(name: str, motion: Motion, result: RideResult, unit: SpeedUnit, shape: Shape) -> Figure:
    if name == "speed":
        return speed_figure(motion, result, unit, shape)
    if name == "path":
        return path_figure(motion, result, unit, shape)
    return signal_figure(motion, result, shape)


def _speed_label(result: RideResult, unit: SpeedUnit) -> str:
    best = result.top_speed.best_1s
    top = f"its best second reaches {speed_words(best, unit)}" if best else "no best second"
    return (
        f"Speed over ground against time during {duration_words(result.source.duration_s)}; {top}. "
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


def _signal_label(result: RideResult) -> str:
    flagged = ", ".join(
        f"{name.lower().replace('_', ' ')} {count}" for name, count in result.signal.counts.items()
    )
    fixes = count_words(result.signal.fixes_read, "fix", "fixes")
    return f"Signal quality against time over {fixes}; flagged: {flagged or 'none'}."
