"""The section about rolling freely on the page of a ride, and its picture."""

from functools import partial

from matplotlib.figure import Figure

from ridelog.analysis.coasting.measure import CoastDown
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, plain, text_or_span
from ridelog.core.units import STANDARD_GRAVITY_MPS2, SpeedUnit
from ridelog.present.figure import Shape, framed, limits, title
from ridelog.present.palette import BAND, LINE
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import capital, count_words

_WHAT_IT_IS = (
    "A log cannot see the throttle: easing off slowly looks like rolling freely with more "
    "resistance. Let it roll from top speed, throttle shut, in both directions on the same level "
    "straight. The slowing times the mass of machine, rider and turning wheels is the force that "
    "holds it back."
)


def coasting_section(ride: MeasuredRide, reader: SpeedUnit) -> Section | None:
    """Return what the page says of rolling freely; None if the machine nowhere did."""
    found: CoastDown = ride["coasting"]
    if not found.coasts:
        return None
    doubts = (f"{capital(found.reason)}.",) if found.reason and found.curve else ()
    return Section(
        name="coasting",
        heading="Coast-down",
        lead=_lead(found, reader, ride["signal"].too_weak),
        pictures=_pictures(found, reader),
        table=_table(found, reader, ride["signal"].too_weak),
        notes=(*doubts, _WHAT_IT_IS),
    )


def _lead(found: CoastDown, reader: SpeedUnit, weak: str) -> str:
    stretches = count_words(len(found.coasts), "stretch", "stretches")
    if not found.curve:
        return f"The ride holds {stretches} of rolling freely, but {found.reason}."
    middle = found.curve[len(found.curve) // 2]
    if middle.decel_mps2 is None:
        return f"The ride holds {stretches} of rolling freely; what held it back cannot be told."
    share = 100.0 * middle.decel_mps2.value / STANDARD_GRAVITY_MPS2
    return (
        f"Rolling freely at {plain(middle.speed_mps, SPEED, reader)} it slows by "
        f"{text_or_span(middle.decel_mps2, ACCELERATION, reader, weak)}, as if {share:.1f} % "
        f"of its weight pulled back; from {stretches} in both directions, so that slope and wind "
        "cancel."
    )


def _pictures(found: CoastDown, reader: SpeedUnit) -> tuple[Picture, ...]:
    if sum(point.decel_mps2 is not None for point in found.curve) < 2:
        return ()
    low, high = (plain(found.curve[end].speed_mps, SPEED, reader) for end in (0, -1))
    label = f"Deceleration of free rolling against speed, from {low} to {high}."
    return (draw_picture("coasting", label, partial(coasting_figure, found, reader)),)


def _table(found: CoastDown, reader: SpeedUnit, weak: str) -> Table | None:
    """Return what each part takes in the middle of the speeds that were rolled through."""
    if found.rolling_mps2 is None or found.air_pm is None:
        return None
    at_mps = found.curve[len(found.curve) // 2].speed_mps

    def part(coefficient: Estimate, times: float) -> str:
        value, low, high = (times * getattr(coefficient, x) for x in ("value", "low", "high"))
        return text_or_span(Estimate(value, low, high), ACCELERATION, reader, weak)

    linear = part(found.linear_ps, at_mps) if found.linear_ps else "cannot be told from air"
    return Table(
        ("What holds it back", f"Slows it at {plain(at_mps, SPEED, reader)} by"),
        (
            ("Rolling, the same at every speed", part(found.rolling_mps2, 1.0)),
            ("Bearings and tyres, growing with speed", linear),
            ("Air, growing with the square of speed", part(found.air_pm, at_mps**2)),
        ),
    )


def coasting_figure(found: CoastDown, reader: SpeedUnit, shape: Shape) -> Figure:
    """Return the deceleration of free rolling against speed, where both directions cover it."""
    known = [(each.speed_mps, each.decel_mps2) for each in found.curve if each.decel_mps2]
    figure, axes = framed(shape, 0.85 * shape.height_in, 0.54, 0.14)
    speed = [SPEED.scaled(at_mps, reader) for at_mps, _ in known]
    value, low, high = zip(*(ACCELERATION.ends(decel, reader) for _, decel in known), strict=True)
    axes.fill_between(speed, low, high, color=BAND.light, linewidth=0.0, zorder=2)
    axes.plot(speed, value, color=LINE.light, linewidth=1.8, zorder=3)
    name = f"speed, {SPEED.label(reader)}"
    limits(axes, shape, (0.0, 1.04 * speed[-1]), (0.0, 1.15 * max(high)), name)
    title(
        figure, shape, "What slows it when it rolls freely",
        f"slowing, {ACCELERATION.label(reader)}; pale band: 90 % range",
    )  # fmt: skip
    return figure
