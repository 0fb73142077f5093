"""The section about pull on the page of a ride."""

from functools import partial

import numpy as np

from ridelog.analysis.acceleration.measure import PullCurve
from ridelog.analysis.acceleration.plot import pull_figure
from ridelog.analysis.acceleration.words import accel_words, half_pull_mps, pull_basis
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.units import SpeedUnit
from ridelog.present.section import Section, Table, draw_picture
from ridelog.present.words import bounds_words, capital, plain_speed, speed_words

_TRADE = (
    "Shorter gearing lifts the left end of this curve and lowers the speed at which it ends; "
    "taller gearing does the opposite. More current lifts the left, more voltage the right end."
)


def pull_section(ride: MeasuredRide, unit: SpeedUnit) -> Section:
    """Return what the page says of acceleration against speed."""
    pull = ride["acceleration"]
    if pull.reason:
        return Section("pull", "Pull against speed", f"No pull curve: {pull.reason}.")
    slope = f"{capital(pull.slope_note)}."
    return Section(
        name="pull",
        heading="Pull against speed",
        lead=_pull_lead(pull, unit),
        pictures=(draw_picture("pull", _pull_label(pull, unit), partial(pull_figure, pull, unit)),),
        table=_pull_table(pull, unit),
        notes=(
            f"{pull_basis(pull)}. {slope}",
            "It is what is left for gaining speed: the drive's pull less rolling and air drag.",
            _TRADE,
        ),
    )


def _pull_lead(pull: PullCurve, unit: SpeedUnit) -> str:
    words = []
    if pull.standing_pull is not None:
        words.append(f"From standing it pulls with {accel_words(pull.standing_pull)}")
        half = half_pull_mps(pull)
        if half is not None:
            words.append(f"half of that is left at {plain_speed(half, unit, 0)}")
    else:
        known = [
            (speed, accel)
            for speed, accel in zip(pull.speed_mps, pull.accel, strict=True)
            if accel is not None
        ]
        speed, accel = max(known, key=lambda pair: pair[1].value)
        words.append(
            f"It pulls hardest at {plain_speed(float(speed), unit, 0)}, with {accel_words(accel)}; "
            "no standing start tells more"
        )
    if pull.peak_power_speed is not None:
        low, high = bounds_words(pull.peak_power_speed, unit)
        words.append(
            f"it does most work at {speed_words(pull.peak_power_speed, unit)} ({low} to {high})"
        )
    return "; ".join(words) + "."


def _pull_table(pull: PullCurve, unit: SpeedUnit) -> Table:
    rows: list[tuple[str, ...]] = []
    if pull.standing_pull is not None:
        rows.append(("from standing", accel_words(pull.standing_pull), ""))
    known = [k for k, accel in enumerate(pull.accel) if accel is not None]
    # Five speeds tell the curve.
    for k in [known[i] for i in np.unique(np.linspace(0, len(known) - 1, 5).round().astype(int))]:
        accel = pull.accel[k]
        if accel is not None:
            rows.append(
                (
                    plain_speed(float(pull.speed_mps[k]), unit),
                    accel_words(accel),
                    f"{int(pull.runs_at[k])}",
                )
            )
    return Table(("Speed", "Acceleration", "Pulls"), tuple(rows))


def _pull_label(pull: PullCurve, unit: SpeedUnit) -> str:
    known = [
        (float(speed), accel)
        for speed, accel in zip(pull.speed_mps, pull.accel, strict=True)
        if accel is not None
    ]
    (low, first), (high, last) = known[0], known[-1]
    return (
        f"Acceleration against speed: {accel_words(first)} at {plain_speed(low, unit)}, "
        f"{accel_words(last)} at {plain_speed(high, unit)}."
    )
