"""What the terminal and the page say of acceleration against speed; riders read "pull"."""

from functools import partial

from ridelog.analysis.acceleration.measure import AccelerationCurve
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import ACCELERATION, SPEED, Quantity, amount, plain, text_or_span
from ridelog.core.text import count_words
from ridelog.core.units import STANDARD_GRAVITY_MPS2, SpeedUnit
from ridelog.present.section import Section, Table, draw_picture

_WHAT_IS_LEFT = (
    "Pull is what is left for gaining speed: the drive's force less rolling and air drag."
)
_TRADE = (
    "Shorter gearing lifts the left end of this curve and lowers the speed at which it ends; "
    "taller gearing does the opposite. More current lifts the left, more voltage the right end."
)


def standing_words(ride: MeasuredRide, reader: SpeedUnit) -> str:
    """Return "2.07 m/s² (2.03 to 2.11) from standing; half as much at 30 km/h", or nothing."""
    measured: AccelerationCurve = ride["acceleration"]
    standing = measured.standing_mps2
    if standing is None:
        return ""
    words = f"{_told(standing, ACCELERATION, ride, reader)} from standing"
    half_mps = _half_mps(measured)
    if half_mps is not None and _is_named(standing, ride):
        words += f"; half as much at {plain(half_mps, SPEED, reader, 0)}"
    return words


def acceleration_section(ride: MeasuredRide, reader: SpeedUnit) -> Section:
    """Return what the page says of acceleration against speed."""
    from ridelog.analysis.acceleration.plot import acceleration_figure

    measured: AccelerationCurve = ride["acceleration"]
    if measured.reason:
        return Section("pull", "Pull against speed", f"No pull curve: {measured.reason}.")
    ends = [
        _told(one.accel_mps2, ACCELERATION, ride, reader)
        + f" at {plain(one.speed_mps, SPEED, reader)}"
        for one in (measured.curve[0], measured.curve[-1])
    ]
    label = f"Acceleration against speed: {ends[0]}, {ends[1]}."
    peak = measured.peak_power_speed_mps
    shown = peak if peak is not None and _is_named(peak, ride) else None
    draw = partial(acceleration_figure, measured, shown, reader)
    return Section(
        name="pull",
        heading="Pull against speed",
        lead=_lead(ride, reader),
        pictures=(draw_picture("pull", label, draw),),
        table=_table(ride, reader),
        notes=(
            f"{_basis_words(measured)}. {_slope_words(measured, reader)}.",
            _WHAT_IS_LEFT,
            _TRADE,
        ),
    )


def _lead(ride: MeasuredRide, reader: SpeedUnit) -> str:
    measured: AccelerationCurve = ride["acceleration"]
    words = standing_words(ride, reader)
    if not words:
        hardest = max(measured.curve, key=lambda one: one.accel_mps2.value)
        words = (
            f"{_told(hardest.accel_mps2, ACCELERATION, ride, reader)} at "
            f"{plain(hardest.speed_mps, SPEED, reader, 0)}, where it pulls hardest; no standing "
            "start tells more"
        )
    peak = measured.peak_power_speed_mps
    if peak is not None:
        words += f"; its power is highest at {_told(peak, SPEED, ride, reader)}"
    return f"Pull {words}."


def _table(ride: MeasuredRide, reader: SpeedUnit) -> Table:
    measured: AccelerationCurve = ride["acceleration"]
    rows = []
    if measured.standing_mps2 is not None:
        rows.append(("from standing", _told(measured.standing_mps2, ACCELERATION, ride, reader)))
    rows += [
        (f"at {plain(one.at_mps, SPEED, reader)}", _told(one.estimate, ACCELERATION, ride, reader))
        for one in ride.figures.values()
        if one.name.startswith("pull_at_") and one.estimate and one.at_mps
    ]
    return Table(("Speed", "Pull"), tuple(rows))


def _told(estimate: Estimate, quantity: Quantity, ride: MeasuredRide, reader: SpeedUnit) -> str:
    return text_or_span(estimate, quantity, reader, ride["signal"].too_weak)


def _is_named(estimate: Estimate, ride: MeasuredRide) -> bool:
    return estimate.firm and not ride["signal"].too_weak


def _half_mps(measured: AccelerationCurve) -> float | None:
    """Return the speed of half the pull from standing, None if the curve ends above that."""
    assert measured.standing_mps2 is not None  # asked for beside it only
    goal = 0.5 * measured.standing_mps2.value
    for one, other in zip(measured.curve, measured.curve[1:], strict=False):
        before, after = one.accel_mps2.value, other.accel_mps2.value
        if before >= goal > after:
            share = (before - goal) / (before - after)
            return one.speed_mps + share * (other.speed_mps - one.speed_mps)
    return None


def _basis_words(measured: AccelerationCurve) -> str:
    """Return what the curve rests on."""
    words = f"Mean of {count_words(measured.runs_used, 'run')} at full throttle"
    if not (slower := measured.runs_left_out):
        return words
    return f"{words}; {slower} more pulled less than 70 % as hard and count as part throttle"


def _slope_words(measured: AccelerationCurve, reader: SpeedUnit) -> str:
    difference = measured.direction_difference_mps2
    if difference is None:
        percent = plain(0.01 * STANDARD_GRAVITY_MPS2, ACCELERATION, reader)
        return (
            "Not corrected for slope: all runs went one way, and the heights of a log are far too "
            f"coarse for it (1 % of slope makes {percent})"
        )
    return (
        "Both directions count the same, so that an even slope cancels; they differ by "
        f"{amount(difference, ACCELERATION, reader)}"
    )
