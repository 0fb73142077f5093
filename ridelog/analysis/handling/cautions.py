"""What a reader must be warned of about handling: weave, and turns near tipping over."""

from ridelog.analysis.cautions import DANGER, Caution
from ridelog.analysis.handling.measure import Handling
from ridelog.analysis.handling.tip_over import LEAST_TILT_QUAD, TipOver
from ridelog.core.units import SPEED_UNITS, STANDARD_GRAVITY_MPS2

_KMH, _MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]
# Lateral load near tipping: from this share of the threshold; common practice, no source.
_NEAR = 0.75
_ADVISORY = (
    "Advisory only: lean, suspension, tyres, slope and ruts move the threshold. A machine that "
    "leans, such as a motorcycle, does not tip this way."
)
_SOURCE = (
    "NHTSA, Why choose SSF?, ch. V (track width / (2 × height)); 15 % taken off after the "
    "tilt-table figures of the FME report for The Oregonian (2007)"
)


def handling_cautions(handling: Handling) -> tuple[Caution, ...]:
    """Return the warnings that a ride's handling calls for, the gravest first."""
    return (*_tipping(handling), *_weaving(handling))


def _tipping(handling: Handling) -> tuple[Caution, ...]:
    lateral = handling.turns.max_lateral
    if lateral is None:
        return ()
    if handling.tip_over is not None:
        return _against_threshold(handling.tip_over, lateral.value, lateral.high)
    limit = _NEAR * LEAST_TILT_QUAD * STANDARD_GRAVITY_MPS2
    if lateral.high < limit:
        return ()
    return (
        Caution(
            "lateral_load_of_quads",
            f"The hardest turn reached {lateral.value:.1f} m/s² sideways; quads on a tilt table "
            f"tip from {LEAST_TILT_QUAD * STANDARD_GRAVITY_MPS2:.1f} m/s² on "
            f"({LEAST_TILT_QUAD:.2f} g). Give track width and height of the centre of gravity to "
            f"know the margin of this machine. {_ADVISORY}",
            lateral.value,
            limit,
            "FME report for The Oregonian (2007), tilt table; three quarters of it: common "
            "practice, no source",
            gravity=DANGER,
        ),
    )


def _against_threshold(
    threshold: TipOver, lateral_mps2: float, high_mps2: float
) -> tuple[Caution, ...]:
    tilt = threshold.tilt_mps2
    if high_mps2 < _NEAR * tilt:
        return ()
    over = lateral_mps2 >= tilt
    share = 100.0 * lateral_mps2 / tilt
    return (
        Caution(
            "lateral_load_above_tip_over" if over else "lateral_load_near_tip_over",
            f"The hardest turn reached {lateral_mps2:.1f} m/s² sideways, {share:.0f} % of the "
            f"{tilt:.1f} m/s² at which a machine of this width and height begins to tip: "
            f"{'a wheel may have lifted; ' if over else ''}take turns slower, or widen the track "
            f"or lower the load. {_ADVISORY}",
            lateral_mps2,
            tilt,
            _SOURCE,
            gravity=DANGER,
        ),
    )


def _weaving(handling: Handling) -> tuple[Caution, ...]:
    weave = handling.weave
    if weave.twitchy_from is None or weave.rms is None or weave.frequency_hz is None:
        return ()
    speed = weave.twitchy_from.high if weave.or_below else weave.twitchy_from.value
    seen = f"{_KMH.from_mps(speed):.0f} km/h ({_MPH.from_mps(speed):.0f} mph)"
    where = f"At {seen} or below already" if weave.or_below else f"From about {seen} on"
    return (
        Caution(
            "weave",
            f"{where} it swings from side to side, about {weave.frequency_hz:.1f} times a second: "
            "ride no faster until the cause is found (tyre pressure, wheel and steering bearings, "
            "play, alignment, load, ruts).",
            speed,
            None,
            "band of weave: Appl. Sci. 2021, 11(16), 7393; causes: common practice, no source",
            gravity=DANGER,
        ),
    )
