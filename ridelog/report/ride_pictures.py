"""The figures of one ride, each wide and narrow, as SVG for the page and as PNG files."""

from functools import partial

from matplotlib.figure import Figure

from ridelog.analysis.signal.plot import signal_figure
from ridelog.analysis.signal.subject import signal_label
from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.plot import speed_figure
from ridelog.analysis.top_speed.plot_path import path_figure
from ridelog.analysis.top_speed.subject import path_label, speed_label
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape
from ridelog.present.section import Picture, draw_picture

NAMES = ("speed", "path", "signal")


def ride_pictures(
    ride: MeasuredRide, unit: SpeedUnit, names: tuple[str, ...] = NAMES
) -> tuple[Picture, ...]:
    """Return speed, path and signal of a ride, or some of them; equal rides give equal bytes."""
    return tuple(
        draw_picture(name, label, partial(_figure, name, ride, unit))
        for name, label in (
            ("speed", speed_label(ride, unit)),
            ("path", path_label(ride, unit)),
            ("signal", signal_label(ride["signal"])),
        )
        if name in names
    )


def _figure(name: str, ride: MeasuredRide, unit: SpeedUnit, shape: Shape) -> Figure:
    if name == "speed":
        return speed_figure(ride, unit, shape)
    if name == "path":
        return path_figure(ride, unit, shape)
    return signal_figure(ride, shape)
