"""What a reader must be warned of: as data with value, limit and source, and as sentences."""

from dataclasses import dataclass

from ridelog.core.units import SPEED_UNITS

_MPH, _KMH = SPEED_UNITS["mph"], SPEED_UNITS["km/h"]
# Published youth classes, 16 CFR 1420 (ANSI/SVIA 1) as the CPSC explains them, and ASTM F2641-08.
_AGE_8_TO_12_MPS = _MPH.to_mps(10.0)
_AGE_6_MPS = _MPH.to_mps(15.0)
_AGE_10_AND_12_MPS = _MPH.to_mps(30.0)

DANGER, WARNING, DOUBT = 3, 2, 1
GRAVITY_WORDS = {DANGER: "Danger", WARNING: "Warning", DOUBT: "Doubt"}
# What always holds, where there is no room for ``general_cautions``.
ALWAYS = (
    "Protective gear, closed private ground, local law and codes. Wiring, battery and brakes "
    "belong in competent hands, licensed where codes ask."
)


@dataclass(frozen=True)
class Caution:
    """One warning; value and limit in SI units, or None where the warning has no number.

    ``code`` is stable and meant for scripts; ``general`` is True for what holds on every ride.
    ``gravity`` is DANGER where somebody can get hurt, WARNING where that depends on how it is
    ridden, DOUBT where a figure is in question: the gravest are said first.
    """

    code: str
    text: str
    value: float | None
    limit: float | None
    source: str
    general: bool = False
    gravity: int = DOUBT


def general_cautions() -> tuple[Caution, ...]:
    """Return what every result to an owner carries, whatever was measured."""
    return tuple(
        Caution(code, text, None, None, source, general=True) for code, text, source in _GENERAL
    )


def age_class_caution(speed_mps: float) -> Caution | None:
    """Return the warning that a speed is above a published youth class, if it is. [m/s]"""
    return _age_class(speed_mps) if speed_mps > _AGE_8_TO_12_MPS else None


def _age_class(speed_mps: float) -> Caution:
    seen, limit = f"It reached {both_units(speed_mps)}", _AGE_8_TO_12_MPS
    if speed_mps > _AGE_10_AND_12_MPS:
        limit = _AGE_10_AND_12_MPS
        text = (
            f"{seen}, above the {both_units(limit)} of the fastest youth quad class: not for a "
            "child."
        )
    elif speed_mps > _AGE_6_MPS:
        limit = _AGE_6_MPS
        text = (
            f"{seen}; youth quads are built for {both_units(limit)} from age 6, and for "
            f"{both_units(_AGE_10_AND_12_MPS)} from age 10 or 12."
        )
    else:
        text = (
            f"{seen}; powered scooters and pocket bikes for ages 8 to 12 are meant for "
            f"{both_units(limit)} at most."
        )
    return Caution(
        "age_class",
        text,
        speed_mps,
        limit,
        "CPSC, children's ATV tips (classes of 16 CFR 1420); ASTM F2641-08, scope",
        gravity=WARNING,
    )


def both_units(speed_mps: float) -> str:
    """Return a speed in both of the units that readers use."""
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
