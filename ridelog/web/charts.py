"""The interactive charts of a ride as Bokeh items; the page's own script fills and links them."""

from typing import Any

import numpy as np
from bokeh.embed import json_item
from bokeh.layouts import column
from bokeh.models import (
    BasicTicker,
    BoxAnnotation,
    ColorBar,
    ColumnDataSource,
    DatetimeTickFormatter,
    LinearColorMapper,
    PanTool,
    Range1d,
    TapTool,
    WheelZoomTool,
)
from bokeh.plotting import figure

from ridelog.core.units import SpeedUnit
from ridelog.present.palette import ROLES, SPEED_ROLES

# Names under which the page's script finds the parts.
SPEED, STRIP, PATH = "speed-chart", "strip-chart", "path-chart"
# How a phase is drawn: role of its fill, pattern of its hatch.
_PHASES = {
    "standstill": ("paper", "blank"), "launch": ("shade", "right_diagonal_line"),
    "pull": ("shade", "right_diagonal_line"), "steady": ("band", "blank"),
    "coasting": ("shade", "dot"), "braking": ("shade", "left_diagonal_line"),
    "turning": ("shade", "vertical_line"), "reverse": ("mark", "cross"),
}  # fmt: skip


# How a stretch is shaded: role and opacity of its ground; pattern, scale and opacity of its hatch.
_SPANS = {
    "best": ("mark", 0.35, "blank", 10, 0.0),
    "reverse": ("shade", 0.7, "cross", 10, 0.7),
    "left_out": ("shade", 0.9, "right_diagonal_line", 12, 0.7),
    "gap": ("shade", 0.9, "blank", 12, 0.0),
    "mode": ("band", 0.25, "vertical_line", 24, 0.5),
}
_DAY_MS = 86_400_000.0
Colours = dict[str, str]


def _colours(shade: str) -> Colours:
    """Return the palette of the reports in one of its two shades, by role."""
    return {role.name: getattr(role, shade) for role in ROLES}


def time_item(
    unit: SpeedUnit,
    shade: str,
    *,
    start_s: float,
    end_s: float,
    top: float,
    spans: list[tuple[float, float, str]],
    phases: list[tuple[float, float, str]],
) -> dict[str, Any]:
    """Return speed over time, without data (the page asks for what is in view), under its phases.

    ``shade`` is "light" or "dark"; times are in s, ``top`` is the upper end of the axis [unit].
    ``spans`` are shaded by their kind: "best", "reverse", "left_out", "gap", "mode"; ``phases``
    tell by name, in time order, what the machine was doing; without any there is no strip.
    """
    colours = _colours(shade)
    # Milliseconds, because Bokeh then labels the axis as a clock does.
    start, span = 1000.0 * start_s, 1000.0 * max(end_s - start_s, 1.0)
    bounds = (start - 0.02 * span, start + 1.02 * span)
    range_ms = Range1d(start, start + span, bounds=bounds, min_interval=500.0)
    chart = _blank(colours, SPEED, 300, range_ms, days=start + span > _DAY_MS)
    chart.y_range = Range1d(0.0, max(top, 1e-3))
    chart.yaxis.axis_label = unit.label
    source = ColumnDataSource({"time": [], "speed": [], "low": [], "high": []}, name="trace")
    for span_start, span_end, kind in spans:
        _shade_span(chart, colours, span_start, span_end, kind)
    chart.varea(
        x="time", y1="low", y2="high", source=source, fill_color=colours["band"], fill_alpha=0.9
    )
    chart.line(x="time", y="speed", source=source, line_color=colours["line"], line_width=2)
    if not phases:
        return dict(json_item(chart))
    strip = _strip(colours, range_ms, phases)
    return dict(json_item(column(strip, chart, sizing_mode="stretch_width")))


def path_item(
    unit: SpeedUnit, shade: str, path: dict[str, list[float | None]], *, top: float
) -> dict[str, Any]:
    """Return the chart of the path in local metres (or feet).

    ``path`` holds lists "east", "north" [m or ft], "speed" [unit] and "time" [s], null at
    interruptions; ``top`` is the speed at the upper end of the scale [unit].
    """
    colours = _colours(shade)
    chart = figure(
        name=PATH, height=360, sizing_mode="stretch_width", match_aspect=True, tools=[],
        toolbar_location=None, aspect_scale=1,
    )  # fmt: skip
    _dress(chart, colours)
    for axis, words in ((chart.xaxis, "east"), (chart.yaxis, "north")):
        axis.axis_label = f"{words}, {unit.distance_label}"
        # Labels of thousands of metres stand side by side on a telephone.
        axis.ticker = BasicTicker(desired_num_ticks=4)
    _tools(chart, "both")
    mapper = LinearColorMapper(
        palette=[colours[role.name] for role in SPEED_ROLES], low=0.0, high=max(top, 1e-3)
    )
    source = ColumnDataSource(_segments(path), name="path")
    chart.segment(
        x0="x0", y0="y0", x1="x1", y1="y1", source=source,
        line_color={"field": "speed", "transform": mapper}, line_width=4, line_cap="round",
    )  # fmt: skip
    chart.add_layout(
        ColorBar(
            color_mapper=mapper, width=220, height=10, orientation="horizontal",
            ticker=BasicTicker(desired_num_ticks=4), background_fill_alpha=0.0,
            major_label_text_color=colours["quiet"], title=unit.label,
            title_text_color=colours["quiet"], location="left", padding=4,
        ),
        "above",
    )  # fmt: skip
    return dict(json_item(chart))


def _segments(path: dict[str, list[float | None]]) -> dict[str, Any]:
    east, north, speed = (
        np.array([np.nan if v is None else v for v in path[name]], dtype=np.float64)
        for name in ("east", "north", "speed")
    )
    whole = np.isfinite(east[1:]) & np.isfinite(east[:-1])
    return {
        "x0": east[:-1][whole], "y0": north[:-1][whole],
        "x1": east[1:][whole], "y1": north[1:][whole],
        "speed": 0.5 * (speed[1:] + speed[:-1])[whole],
    }  # fmt: skip


def _strip(colours: Colours, range_ms: Any, phases: list[tuple[float, float, str]]) -> Any:
    """Return the strip that says what the machine was doing when."""
    chart = _blank(colours, STRIP, 56, range_ms)
    chart.y_range = Range1d(0.0, 1.0)
    chart.yaxis.visible = chart.xaxis.visible = chart.grid.visible = False
    drawn = [_PHASES.get(name, ("shade", "blank")) for _, _, name in phases]
    source = ColumnDataSource(
        {
            "left": [1000.0 * start for start, _, _ in phases],
            "right": [1000.0 * end for _, end, _ in phases],
            "fill": [colours[role] for role, _ in drawn],
            "hatch": [hatch for _, hatch in drawn],
        },
        name="phases",
    )
    chart.quad(
        left="left", right="right", bottom=0.08, top=0.92, source=source, fill_color="fill",
        line_color=colours["quiet"], hatch_pattern="hatch", hatch_color=colours["hatch"],
        hatch_scale=7, name="bars",
    )  # fmt: skip
    labels = ColumnDataSource({"x": [], "words": []}, name="labels")
    chart.text(
        x="x", y=0.5, text="words", source=labels, text_align="center", text_baseline="middle",
        text_color=colours["ink"], text_font_size="12px", background_fill_color=colours["paper"],
        background_fill_alpha=0.85, padding=2,
    )  # fmt: skip
    return chart


def _blank(colours: Colours, name: str, height: int, range_ms: Any, *, days: bool = False) -> Any:
    chart = figure(
        name=name, height=height, sizing_mode="stretch_width", tools=[], toolbar_location=None,
        x_axis_type="datetime", x_range=range_ms,
    )  # fmt: skip
    _dress(chart, colours)
    # Midnight is the start of the ride, and of every day after it in a log that goes on so long.
    midnight = "day %-j" if days else "%-M:%S"
    chart.xaxis.formatter = DatetimeTickFormatter(
        milliseconds="%-M:%S.%1N", seconds="%-M:%S", minsec="%-M:%S", minutes="%-M:%S",
        hourmin="%-H:%M:%S", hours="%-H:%M:%S", days=midnight, months=midnight, years=midnight,
    )  # fmt: skip
    _tools(chart, "width")
    return chart


def _dress(chart: Any, colours: Colours) -> None:
    chart.background_fill_color = chart.border_fill_color = colours["paper"]
    chart.outline_line_color = None
    chart.grid.grid_line_color = colours["rule"]
    chart.min_border_left, chart.min_border_right = 44, 12
    for axis in chart.axis:
        axis.axis_line_color = colours["quiet"]
        axis.major_tick_line_color = colours["quiet"]
        axis.minor_tick_line_color = None
        axis.major_label_text_color = axis.axis_label_text_color = colours["quiet"]
        axis.major_label_text_font_size = axis.axis_label_text_font_size = "13px"
        axis.axis_label_text_font_style = "normal"


def _tools(chart: Any, dimensions: str) -> None:
    pan = PanTool(dimensions=dimensions)
    # With the key held only: otherwise a wheel over the chart could not scroll the page.
    wheel = WheelZoomTool(dimensions=dimensions, modifiers="ctrl")
    chart.add_tools(pan, wheel, TapTool())
    chart.toolbar.active_drag = pan
    chart.toolbar.active_scroll = wheel


def _shade_span(chart: Any, colours: Colours, start_s: float, end_s: float, kind: str) -> None:
    role, fill, pattern, scale, alpha = _SPANS[kind]
    chart.add_layout(
        BoxAnnotation(
            left=1000.0 * start_s, right=1000.0 * end_s, line_color=None, level="underlay",
            fill_color=colours[role], fill_alpha=fill, hatch_pattern=pattern, hatch_scale=scale,
            hatch_color=colours["hatch"], hatch_alpha=alpha,
        )
    )  # fmt: skip
