"""What a reader must be warned of about stopping, and about a speed above the advised one."""

from ridelog.analysis.braking.measure import Brakings, StoppingDistance
from ridelog.analysis.braking.procedure import yardstick_for
from ridelog.analysis.cautions import DANGER, WARNING, Caution
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS

_KMH, _MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
# From this share above the fastest braking seen, the brakes are untested; common practice.
_UNTESTED = 1.2
# Below walking pace nobody asks for a stopping distance (6 km/h, e.g. eKFV § 1).
_FROM_MPS = _KMH.to_mps(6.0)


def braking_cautions(
    brakings: Brakings, stop: StoppingDistance | None, top: Estimate | None
) -> tuple[Caution, ...]:
    """Return the warnings that the brakings of a ride call for, the gravest first.

    Parameters
    ----------
    brakings : Brakings
        What was measured.
    stop : StoppingDistance or None
        Projected from the top speed.
    top : Estimate or None
        Top speed of the ride, which chooses the yardstick. [m/s]
    """
    if stop is None or top is None or top.value < _FROM_MPS:
        return ()
    return (*_yardstick(brakings, top.value), *_untested(stop), _distance(stop))


def _yardstick(brakings: Brakings, top_mps: float) -> tuple[Caution, ...]:
    hardest = max((b.mean_decel for b in brakings.each), key=lambda decel: decel.value)
    yardstick = yardstick_for(top_mps)
    if hardest.value >= yardstick.least_mps2:
        return ()
    # The log shows what was asked of the brakes, not what they could have given.
    either = (
        "either it was never braked hard, or its brakes are too weak. Find out on closed ground "
        "first."
    )
    if hardest.high < yardstick.one_brake_mps2:
        return (
            Caution(
                "braking_far_below_yardstick",
                f"The hardest braking reached {hardest.value:.1f} m/s², less than the "
                f"{yardstick.one_brake_mps2:.2f} m/s² asked of one brake alone: {either}",
                hardest.value,
                yardstick.one_brake_mps2,
                yardstick.source,
                gravity=DANGER,
            ),
        )
    unsure = " (its interval reaches above that)" if hardest.high >= yardstick.least_mps2 else ""
    return (
        Caution(
            "braking_below_yardstick",
            f"The hardest braking reached {hardest.value:.1f} m/s², below the "
            f"{yardstick.least_mps2:.1f} m/s² asked of road vehicles this fast{unsure}: {either}",
            hardest.value,
            yardstick.least_mps2,
            yardstick.source,
            gravity=WARNING,
        ),
    )


def _untested(stop: StoppingDistance) -> tuple[Caution, ...]:
    if stop.from_mps <= _UNTESTED * stop.fastest_mps:
        return ()
    return (
        Caution(
            "brakes_untested_at_top_speed",
            f"The fastest braking began at {_both(stop.fastest_mps)}, the machine reaches "
            f"{_both(stop.from_mps)}: how it stops from there was not measured.",
            stop.from_mps,
            stop.fastest_mps,
            "common practice, no source",
            gravity=WARNING,
        ),
    )


def _distance(stop: StoppingDistance) -> Caution:
    return Caution(
        "stopping_distance",
        f"From {_both(stop.from_mps)} it takes about {stop.whole.value:.0f} m to stop, "
        f"{stop.reaction_m:.0f} m of them while the rider reacts ({stop.reaction_s:.2g} s): keep "
        "more than that clear.",
        stop.whole.value,
        None,
        "distance = speed × reaction time + speed² / (2 × deceleration); reaction time: sources "
        "give 0.67 to 2.5 s",
        gravity=WARNING,
    )


def _both(speed_mps: float) -> str:
    return f"{_KMH.from_mps(speed_mps):.0f} km/h ({_MPH.from_mps(speed_mps):.0f} mph)"
