"""What a reader must be warned of: as data with value, limit and source, and as sentences."""

from dataclasses import dataclass

from ridelog.analysis.coverage import WELL_SEEN
from ridelog.analysis.signal.measure import SignalQuality
from ridelog.analysis.top_speed.measure import TopSpeed
from ridelog.core.units import SPEED_UNITS

_MPH, _KMH = SPEED_UNITS["mph"], SPEED_UNITS["km/h"]
# Published youth classes, 16 CFR 1420 (ANSI/SVIA 1) as the CPSC explains them, and ASTM F2641-08.
_AGE_8_TO_12_MPS = _MPH.to_mps(10.0)
_AGE_6_MPS = _MPH.to_mps(15.0)
_AGE_10_AND_12_MPS = _MPH.to_mps(30.0)
# Opposite runs further apart than this are not accepted by the eKFV Annex, no. 2.1.2.
_RUNS_WITHIN = 0.10
# Slower than this nobody rode; common practice, no source.
_A_RIDE_MPS = 0.5
# An interval wider than this share of the figure; common practice, no source.
_WIDE_INTERVAL = 0.10


@dataclass(frozen=True)
class Caution:
    """One warning; value and limit in SI units, or None where the warning has no number.

    ``code`` is stable and meant for scripts; ``general`` is True for what holds on every ride.
    """

    code: str
    text: str
    value: float | None
    limit: float | None
    source: str
    general: bool = False


def top_speed_cautions(top: TopSpeed) -> tuple[Caution, ...]:
    """Return the warnings that the top speed of a ride calls for."""
    found: list[Caution] = []
    best = top.best_1s
    if best is None:
        return ()
    if best.value < _A_RIDE_MPS:
        return ()
    if best.value > _AGE_8_TO_12_MPS:
        found.append(_age_class(best.value))
    if best.value > 0.0 and (best.high - best.low) > _WIDE_INTERVAL * best.value:
        found.append(
            Caution(
                "wide_interval",
                f"The top speed is only known to {100 * (best.high - best.low) / best.value:.0f} % "
                "(width of its interval): the signal does not support a firmer figure.",
                (best.high - best.low) / best.value,
                _WIDE_INTERVAL,
                "common practice, no source",
            )
        )
    if top.seen_share < WELL_SEEN:
        found.append(
            Caution(
                "partly_seen",
                f"{100.0 * (1.0 - top.seen_share):.0f} % of the way lies between fixes too far "
                "apart to tell the speed of a second: the machine may have been faster there.",
                top.seen_share,
                WELL_SEEN,
                "own derivation: an interval for nine rides of ten cannot leave a tenth unseen",
            )
        )
    if top.two_way is None:
        found.append(
            Caution(
                "one_direction",
                "No mean of two opposite directions: a tail wind or a slope may be part of the "
                "top speed.",
                None,
                None,
                "eKFV Annex, no. 2.1.1: runs in both directions",
            )
        )
    elif len(top.runs) == 2:
        speeds = [run.speed.value for run in top.runs]
        apart = (max(speeds) - min(speeds)) / max(*speeds, 1e-9)
        if apart > _RUNS_WITHIN:
            found.append(
                Caution(
                    "directions_differ",
                    f"The two directions differ by {100 * apart:.0f} %: wind, slope or another way "
                    "of riding, so neither a run nor their mean is a fair top speed.",
                    apart,
                    _RUNS_WITHIN,
                    "eKFV Annex, no. 2.1.2: not more than 10 %",
                )
            )
    return tuple(found)


def signal_cautions(signal: SignalQuality) -> tuple[Caution, ...]:
    """Return the warnings that the quality of the log calls for."""
    if signal.grade != "weak":
        return ()
    return (
        Caution(
            "weak_signal",
            signal.verdict + " Do not take decisions on it; log again with a clear view of the "
            "sky.",
            signal.usable_share,
            None,
            "common practice, no source",
        ),
    )


def general_cautions() -> tuple[Caution, ...]:
    """Return what every result to an owner carries, whatever was measured."""
    return tuple(
        Caution(code, text, None, None, source, general=True) for code, text, source in _GENERAL
    )


def age_class_caution(speed_mps: float) -> Caution | None:
    """Return the warning that a speed is above a published youth class, if it is. [m/s]"""
    return _age_class(speed_mps) if speed_mps > _AGE_8_TO_12_MPS else None


def _age_class(speed_mps: float) -> Caution:
    seen = _both(speed_mps)
    if speed_mps > _AGE_10_AND_12_MPS:
        limit = _AGE_10_AND_12_MPS
        text = (
            f"{seen} is above {_both(limit)}, the most for which any youth quad class for ages 10 "
            "or 12 is designed: a machine this fast is not for a child."
        )
    elif speed_mps > _AGE_6_MPS:
        limit = _AGE_6_MPS
        text = (
            f"{seen} is above {_both(limit)}, the design limit of youth quads for ages 6 and over; "
            f"for 10 or 12 and over it is {_both(_AGE_10_AND_12_MPS)}. If a child rides it, "
            "compare with its age class."
        )
    else:
        limit = _AGE_8_TO_12_MPS
        text = (
            f"{seen} is above {_both(limit)}, the most for which powered scooters and pocket bikes "
            "for ages 8 to 12 are meant, and the limited setting of youth quads for ages 6 and "
            "over. If a child rides it, compare with its age class."
        )
    return Caution(
        "age_class",
        text,
        speed_mps,
        limit,
        "CPSC, children's ATV tips (classes of 16 CFR 1420); ASTM F2641-08, scope",
    )


def _both(speed_mps: float) -> str:
    return f"{_KMH.from_mps(speed_mps):.0f} km/h ({_MPH.from_mps(speed_mps):.0f} mph)"


_GENERAL = (
    (
        "closed_ground",
        "Ride and test only on closed, private, clear ground, never on public roads; local law "
        "and codes decide what is allowed where.",
        "CPSC, ATV safety tips",
    ),
    (
        "protective_gear",
        "Helmet, eye protection, gloves, long sleeves and trousers, and boots over the ankle on "
        "every run.",
        "CPSC, ATV safety tips",
    ),
    (
        "children",
        "Nobody under 6, no passenger on a one-person machine, a child only on a class meant for "
        "its age and with an adult watching.",
        "CPSC, ATV safety tips",
    ),
    (
        "brakes_first",
        "Brakes before speed: with the same brakes, a tenth more speed needs a fifth more "
        "stopping distance, and twice the speed four times as much.",
        "physics: distance = speed² / (2 × deceleration)",
    ),
    (
        "licensed_work",
        "Changes to wiring, battery or brakes belong in competent and, where local codes ask for "
        "it, licensed hands. A satellite log is neither a safety inspection nor a type approval.",
        "common practice, no source",
    ),
    (
        "road_approval",
        "A vehicle made faster than its class may lose approval, insurance or the licence class "
        "it was sold for: ask before it goes on a road.",
        "compare StVZO § 30a (1) on tampering; consequences from memory, check locally",
    ),
)
