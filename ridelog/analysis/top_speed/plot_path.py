"""The path in local metres: coloured and widened by speed, with arrows and a scale bar."""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle

from ridelog.analysis.subject import MeasuredRide
from ridelog.analysis.top_speed.subject import fastest_places
from ridelog.core.track import BoolArray, FloatArray
from ridelog.core.units import SpeedUnit
from ridelog.present.figure import Shape, axes_in, blank, title
from ridelog.present.palette import INK, MARK, PAPER, QUIET, SPEED_CLASSES, SPEED_ROLES
from ridelog.present.thinning import rows_in_time, thin_path

_LEAST_SPAN_M = 12.0
_MOST_POINTS = 4000
_MOST_ARROWS = 48
# Where an arrow head stands and the unit vector of its direction.
_Arrow = tuple[float, float, float, float]


class _Line(NamedTuple):
    """The path in time order [m], the speed along it [m/s], and after which points it breaks."""

    east: FloatArray
    north: FloatArray
    speed: FloatArray
    broken: BoolArray


@dataclass(frozen=True)
class _Frame:
    """The part of the ground that is drawn, in metres, and how many points a metre takes."""

    centre_m: tuple[float, float]
    half_width_m: float
    half_height_m: float
    points_per_m: float


def path_figure(ride: MeasuredRide, unit: SpeedUnit, shape: Shape) -> Figure:
    """Return the path seen from above, north up, without any coordinates."""
    figure = blank(shape, shape.height_in + (0.9 if not shape.wide else 0.5))
    title(figure, shape, "Path", "seen from above, north up; wider is faster")
    axes = axes_in(figure, 0.1, 0.72, 0.1, 0.5)
    axes.set_axis_off()
    motion = ride.motion
    rows, broken = rows_in_time(motion)
    line = _Line(motion.east_m[rows], motion.north_m[rows], motion.speed_mps[rows], broken)
    frame = _frame(axes, figure, line.east, line.north)
    if len(rows) > 1:
        classes, top = _draw_line(axes, line, frame)
        _draw_arrows(axes, line, frame)
        _draw_places(axes, ride, line, frame, shape)
        _draw_scale_of_speed(figure, classes, top, unit, shape)
    _draw_bar(axes, frame, unit, shape)
    _draw_north(axes, shape)
    return figure


def _frame(axes: Axes, figure: Figure, east: FloatArray, north: FloatArray) -> _Frame:
    box = axes.get_position()
    width_in, height_in = figure.get_size_inches()
    width_pt, height_pt = 72.0 * box.width * width_in, 72.0 * box.height * height_in
    if not len(east):
        east = north = np.zeros(1)
    centre = 0.5 * (east.min() + east.max()), 0.5 * (north.min() + north.max())
    # Room around the path for arrows beside it and for the bar below.
    margin_pt = 26.0
    scale = min(
        (width_pt - 2 * margin_pt) / max(float(np.ptp(east)), _LEAST_SPAN_M),
        (height_pt - 2 * margin_pt) / max(float(np.ptp(north)), _LEAST_SPAN_M),
    )
    half_width, half_height = 0.5 * width_pt / scale, 0.5 * height_pt / scale
    axes.set_xlim(centre[0] - half_width, centre[0] + half_width)
    axes.set_ylim(centre[1] - half_height, centre[1] + half_height)
    return _Frame((float(centre[0]), float(centre[1])), half_width, half_height, scale)


def _draw_line(axes: Axes, line: _Line, frame: _Frame) -> tuple[FloatArray, float]:
    """Draw the path; return the speeds between the classes and the highest one. [m/s]"""
    east, north, speed, broken = line
    top = max(float(speed.max()), 0.1)
    bounds = np.linspace(0.0, top, SPEED_CLASSES + 1)
    grade = np.clip((speed / top * SPEED_CLASSES).astype(np.int64), 0, SPEED_CLASSES - 1)
    beside = np.zeros(len(speed), dtype=bool)
    beside[:-1] |= broken
    beside[1:] |= broken
    # A change of class is kept where it happened, unless that alone makes too many points.
    changed = np.zeros(len(speed), dtype=bool)
    changed[1:] = np.diff(grade) != 0
    keep = beside | changed
    if np.count_nonzero(keep) > _MOST_POINTS // 2:
        keep = beside
    chosen = thin_path(east, north, keep, 0.25 / frame.points_per_m, _MOST_POINTS)
    cut = np.concatenate([[0], np.cumsum(broken)])[chosen]
    lines: list[list[FloatArray]] = [[] for _ in range(SPEED_CLASSES)]
    points = np.column_stack([east[chosen], north[chosen]])
    of_step = grade[chosen[:-1]]
    ends = np.flatnonzero((np.diff(of_step) != 0) | (cut[1:-1] != cut[:-2])) + 1
    for first, stop in zip(np.append(0, ends), np.append(ends, len(of_step)), strict=True):
        inside = [k for k in range(first, stop) if cut[k] == cut[k + 1]]
        if inside:
            lines[of_step[first]].append(points[inside[0] : inside[-1] + 2])
    for index, group in enumerate(lines):
        if group:
            axes.add_collection(
                LineCollection(
                    group, colors=SPEED_ROLES[index].light, linewidths=_width_pt(index),
                    capstyle="round", joinstyle="round", zorder=3,
                ),
                autolim=False,
            )  # fmt: skip
    return bounds, top


def _width_pt(grade: int) -> float:
    return 1.2 + 3.0 * grade / (SPEED_CLASSES - 1)


def _draw_arrows(axes: Axes, line: _Line, frame: _Frame) -> None:
    """Draw arrow heads on the right-hand side of the path, so both ways of a straight show."""
    east, north, speed, broken = line
    step = np.hypot(np.diff(east), np.diff(north)) * frame.points_per_m
    step[broken] = 0.0
    along = np.concatenate([[0.0], np.cumsum(step)])
    placed: list[_Arrow] = []
    spacing = max(48.0, along[-1] / 2000.0)
    for goal in np.arange(0.5 * spacing, along[-1], spacing):
        index = int(np.searchsorted(along, goal))
        # Direction over about 6 points of drawing: neighbouring fixes alone scatter.
        before = int(np.searchsorted(along, goal - 3.0))
        after = min(int(np.searchsorted(along, goal + 3.0)), len(along) - 1)
        dx, dy = east[after] - east[before], north[after] - north[before]
        length = float(np.hypot(dx, dy))
        if length * frame.points_per_m < 2.0 or speed[index] < 0.2:
            continue
        ux, uy = dx / length, dy / length
        away_m = 7.5 / frame.points_per_m
        arrow = east[index] + away_m * uy, north[index] - away_m * ux, ux, uy
        if _is_crowded(placed, arrow, frame.points_per_m):
            continue
        placed.append(arrow)
        axes.add_patch(
            Polygon(
                _outline(arrow, frame.points_per_m), closed=True, facecolor=INK.light,
                edgecolor=PAPER.light, linewidth=0.6, zorder=4,
            )
        )  # fmt: skip
        if len(placed) >= _MOST_ARROWS:
            break


def _is_crowded(placed: list[_Arrow], new: _Arrow, points_per_m: float) -> bool:
    x, y, ux, uy = new
    for other_x, other_y, other_ux, other_uy in placed:
        away = float(np.hypot(x - other_x, y - other_y)) * points_per_m
        same_way = ux * other_ux + uy * other_uy > 0.7
        if away < (34.0 if same_way else 10.0):
            return True
    return False


def _outline(arrow: _Arrow, points_per_m: float) -> FloatArray:
    x, y, ux, uy = arrow
    outline = np.array([[5.5, 0.0], [-3.5, 3.5], [-1.6, 0.0], [-3.5, -3.5]]) / points_per_m
    turn = np.array([[ux, uy], [-uy, ux]])
    shape: FloatArray = outline @ turn + np.array([x, y])
    return shape


def _draw_places(axes: Axes, ride: MeasuredRide, line: _Line, frame: _Frame, shape: Shape) -> None:
    """Mark where the log begins and ends, and where it was fastest."""
    east, north = line.east, line.north
    places = [(float(east[0]), float(north[0]), "start", "o")]
    if np.hypot(east[-1] - east[0], north[-1] - north[0]) * frame.points_per_m > 14.0:
        places.append((float(east[-1]), float(north[-1]), "end", "s"))
    else:
        places[0] = (*places[0][:2], "start and end", "o")
    rows = np.flatnonzero(np.isfinite(ride.motion.east_m) & ride.motion.used)
    for start_s, name in fastest_places(ride):
        row = rows[np.argmin(np.abs(ride.motion.track.time_s[rows] - start_s - 0.5))]
        places.append((float(ride.motion.east_m[row]), float(ride.motion.north_m[row]), name, "D"))
    marks = np.array([[x, y] for x, y, _, _ in places]) * frame.points_per_m
    # Words are put where they cover least of the path, of the marks and of one another.
    crowd = np.column_stack([east, north]) * frame.points_per_m
    crowd = np.concatenate([crowd[:: max(1, len(crowd) // 3000)], np.repeat(marks, 200, axis=0)])
    for (x, y, words, marker), at in zip(places, marks, strict=True):
        axes.plot(
            [x], [y], marker=marker, markersize=7, markerfacecolor=PAPER.light,
            markeredgecolor=MARK.light if marker == "D" else INK.light, markeredgewidth=1.6,
            zorder=6, linestyle="none",
        )  # fmt: skip
        size = np.array([0.62 * len(words) * shape.small_pt, 1.4 * shape.small_pt])
        centre = _least_crowded(at, size, crowd, frame)
        box = np.linspace(centre - 0.5 * size, centre + 0.5 * size, 15)
        grid = np.stack(np.meshgrid(box[:, 0], box[:, 1]), axis=-1).reshape(-1, 2)
        crowd = np.concatenate([crowd, grid])
        axes.annotate(
            words, (x, y), xytext=tuple(centre - at), textcoords="offset points",
            ha="center", va="center", fontsize=shape.small_pt, color=INK.light, zorder=7,
            arrowprops={"arrowstyle": "-", "color": QUIET.light, "linewidth": 0.8, "shrinkB": 4},
            bbox={"facecolor": PAPER.light, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
        )  # fmt: skip


def _least_crowded(
    at: FloatArray, size: FloatArray, crowd: FloatArray, frame: _Frame
) -> FloatArray:
    """Return the middle of a box near a mark that holds fewest of the points. [pt]"""
    half = 0.5 * size
    limit = np.array([frame.half_width_m, frame.half_height_m]) * frame.points_per_m
    centre = np.array(frame.centre_m) * frame.points_per_m
    best, least = at, np.inf
    for away in (14.0, 26.0, 40.0):
        for angle in np.radians(np.arange(0.0, 360.0, 30.0)):
            course = np.array([np.cos(angle), np.sin(angle)])
            middle = at + course * away + np.sign(np.round(course, 3)) * half * np.abs(course)
            if (np.abs(middle - centre) + half > limit).any():
                continue
            held = np.all(np.abs(crowd - middle) < half + 2.0, axis=1).sum() + 0.2 * away
            if held < least:
                best, least = middle, float(held)
    return best


def _draw_bar(axes: Axes, frame: _Frame, unit: SpeedUnit, shape: Shape) -> None:
    """Draw a bar of a round length, about a sixth of the picture wide."""
    rough = unit.from_metres(2.0 * frame.half_width_m / (6.0 if shape.wide else 4.0))
    power = 10.0 ** np.floor(np.log10(rough))
    length = max(step * power for step in (1.0, 2.0, 5.0) if step * power <= rough)
    metres = length * unit.metres_per_distance
    x = frame.centre_m[0] - frame.half_width_m + 4.0 / frame.points_per_m
    y = frame.centre_m[1] - frame.half_height_m + 4.0 / frame.points_per_m
    tick = 4.0 / frame.points_per_m
    axes.plot(
        [x, x, x + metres, x + metres], [y + tick, y, y, y + tick],
        color=INK.light, linewidth=1.4, zorder=8, solid_joinstyle="miter",
    )  # fmt: skip
    axes.text(
        x + 0.5 * metres, y + tick, _length_words(length, unit), ha="center", va="bottom",
        fontsize=shape.small_pt, color=INK.light, zorder=8,
    )  # fmt: skip


def _length_words(length: float, unit: SpeedUnit) -> str:
    if unit.distance_label == "m" and length >= 1000.0:
        return f"{length / 1000.0:g} km"
    return f"{length:,g} {unit.distance_label}"


def _draw_north(axes: Axes, shape: Shape) -> None:
    axes.annotate(
        "", (0.985, 0.92), xytext=(0.985, 0.78), xycoords="axes fraction",
        textcoords="axes fraction",
        arrowprops={"arrowstyle": "-|>", "color": INK.light, "linewidth": 1.2},
    )  # fmt: skip
    axes.text(
        0.985, 0.925, "N", transform=axes.transAxes, ha="center", va="bottom",
        fontsize=shape.small_pt, color=INK.light,
    )  # fmt: skip


def _draw_scale_of_speed(
    figure: Figure, bounds: np.ndarray, top: float, unit: SpeedUnit, shape: Shape
) -> None:
    """Draw the classes of speed as boxes that grow with it, and name every second limit."""
    height = figure.get_size_inches()[1]
    inner = shape.width_in - 0.5
    scale = figure.add_axes((0.25 / shape.width_in, 0.1 / height, inner / shape.width_in,
                             0.5 / height))  # fmt: skip
    scale.set_axis_off()
    scale.set_xlim(0.0, SPEED_CLASSES)
    scale.set_ylim(0.0, 1.0)
    for index, role in enumerate(SPEED_ROLES):
        tall = _width_pt(index) / 36.0 * 2.2
        scale.add_patch(Rectangle((index, 0.55), 1.0, tall, facecolor=role.light, edgecolor="none"))
    decimals = 0 if unit.from_mps(top) >= 20.0 else 1
    for index in range(0, SPEED_CLASSES + 1, 2):
        if index == SPEED_CLASSES - 2 and not shape.wide:
            continue  # the last limit brings its unit and needs the room
        words = f"{unit.from_mps(bounds[index]):.{decimals}f}"
        last = index == SPEED_CLASSES
        scale.text(
            index, 0.45, f"{words} {unit.label}" if last else words,
            ha="right" if last else "left" if index == 0 else "center", va="top",
            fontsize=shape.small_pt, color=QUIET.light,
        )  # fmt: skip
