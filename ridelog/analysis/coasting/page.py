"""The section about rolling freely on the page of a ride."""

from functools import partial

from ridelog.analysis.coasting.measure import CoastDown
from ridelog.analysis.coasting.plot import coasting_figure
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, plain, text_or_span
from ridelog.core.units import STANDARD_GRAVITY_MPS2, SpeedUnit
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
    notes: tuple[str, ...] = (_WHAT_IT_IS,)
    if found.reason and found.curve:
        notes = (f"{capital(found.reason)}.", _WHAT_IT_IS)
    return Section(
        name="coasting",
        heading="Coast-down",
        lead=_lead(found, reader, weak=ride["signal"].grade == "too weak"),
        pictures=_pictures(found, reader),
        table=_table(found, reader),
        notes=notes,
    )


def _lead(found: CoastDown, reader: SpeedUnit, *, weak: bool) -> str:
    stretches = count_words(len(found.coasts), "stretch", "stretches")
    if not found.curve:
        return f"The ride holds {stretches} of rolling freely, but {found.reason}."
    middle = found.curve[len(found.curve) // 2]
    if middle.decel_mps2 is None:
        return f"The ride holds {stretches} of rolling freely; what held it back cannot be told."
    share = 100.0 * middle.decel_mps2.value / STANDARD_GRAVITY_MPS2
    return (
        f"Rolling freely at {plain(middle.speed_mps, SPEED, reader)} it slows by "
        f"{text_or_span(middle.decel_mps2, ACCELERATION, reader, weak=weak)}, as if {share:.1f} % "
        f"of its weight pulled back; from {stretches} in both directions, so that slope and wind "
        "cancel."
    )


def _pictures(found: CoastDown, reader: SpeedUnit) -> tuple[Picture, ...]:
    if sum(point.decel_mps2 is not None for point in found.curve) < 2:
        return ()
    low, high = (plain(found.curve[end].speed_mps, SPEED, reader) for end in (0, -1))
    label = f"Deceleration of free rolling against speed, from {low} to {high}."
    return (draw_picture("coasting", label, partial(coasting_figure, found, reader)),)


def _table(found: CoastDown, reader: SpeedUnit) -> Table | None:
    """Return what each part takes in the middle of the speeds that were rolled through."""
    if found.rolling_mps2 is None or found.air_pm is None:
        return None
    at_mps = found.curve[len(found.curve) // 2].speed_mps
    linear = "cannot be told from air"
    if found.linear_ps is not None:
        linear = _part(found.linear_ps, at_mps, reader)
    return Table(
        ("What holds it back", f"Slows it at {plain(at_mps, SPEED, reader)} by"),
        (
            ("Rolling, the same at every speed", _part(found.rolling_mps2, 1.0, reader)),
            ("Bearings and tyres, growing with speed", linear),
            ("Air, growing with the square of speed", _part(found.air_pm, at_mps**2, reader)),
        ),
    )


def _part(coefficient: Estimate, times: float, reader: SpeedUnit) -> str:
    value, low, high = (times * x for x in (coefficient.value, coefficient.low, coefficient.high))
    return text_or_span(Estimate(value, low, high, coefficient.level), ACCELERATION, reader)
