"""The section about rolling out on the page of a ride."""

from functools import partial

from ridelog.analysis.coasting.measure import Coasting
from ridelog.analysis.coasting.plot import coasting_figure
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.units import STANDARD_GRAVITY_MPS2, SpeedUnit
from ridelog.present.section import Picture, Section, Table, draw_picture
from ridelog.present.words import capital, count_words, plain_speed

_WHAT_IT_IS = (
    "Force = (a + b v + c v²) × mass, with the mass of machine, rider and turning wheels together. "
    "A log cannot see the throttle: easing off slowly looks like rolling out with more resistance. "
    "Roll out from top speed, throttle shut, in both directions on the same level straight."
)


def coasting_section(ride: MeasuredRide, unit: SpeedUnit) -> Section | None:
    """Return what the page says of rolling out; None if the machine nowhere did."""
    coasting = ride["coasting"]
    if not coasting.each:
        return None
    notes: tuple[str, ...] = (_WHAT_IT_IS,)
    if coasting.reason and coasting.columns is not None:
        notes = (f"{capital(coasting.reason)}.", _WHAT_IT_IS)
    return Section(
        name="coasting",
        heading="Rolling out",
        lead=_lead(coasting, unit),
        pictures=_pictures(coasting, unit),
        table=_table(coasting),
        notes=notes,
    )


def _lead(coasting: Coasting, unit: SpeedUnit) -> str:
    stretches = count_words(len(coasting.each), "stretch", "stretches")
    if coasting.columns is None:
        return f"The ride holds {stretches} of rolling out, but {coasting.reason}."
    index = len(coasting.speed_mps) // 2
    speed, decel = float(coasting.speed_mps[index]), coasting.decel[index]
    if decel is None:
        return f"The ride holds {stretches} of rolling out; what held it back cannot be told."
    share = 100.0 * decel.value / STANDARD_GRAVITY_MPS2
    return (
        f"Rolling out at {plain_speed(speed, unit)} it loses {decel.value:.2f} m/s² "
        f"({decel.low:.2f} to {decel.high:.2f}), as if {share:.1f} % of its weight pulled back; "
        f"from {stretches} in both directions, so that slope and wind cancel."
    )


def _pictures(coasting: Coasting, unit: SpeedUnit) -> tuple[Picture, ...]:
    if sum(decel is not None for decel in coasting.decel) < 2:
        return ()
    low, high = (plain_speed(float(coasting.speed_mps[k]), unit) for k in (0, -1))
    label = f"Deceleration of free rolling against speed, from {low} to {high}."
    return (draw_picture("coasting", label, partial(coasting_figure, coasting, unit)),)


def _table(coasting: Coasting) -> Table | None:
    if coasting.rolling is None or coasting.air is None:
        return None
    linear = (
        "cannot be told from c"
        if coasting.linear is None
        else f"{_words(coasting.linear, 4)} per second"
    )
    return Table(
        ("Part", "What it is", "Per kilogram of moving mass"),
        (
            ("a", "rolling, the same at every speed", f"{_words(coasting.rolling, 2)} m/s²"),
            ("b", "grows with speed: bearings, tyres", linear),
            ("c", "air, grows with its square", f"{_words(coasting.air, 5)} per metre"),
        ),
    )


def _words(estimate: Estimate, places: int) -> str:
    return f"{estimate.value:.{places}f} ({estimate.low:.{places}f} to {estimate.high:.{places}f})"
