"""The cautions on the owner's sheet: those of these rides first, then the ones that always hold."""

from ridelog.analysis.cautions import general_cautions
from ridelog.compare.comparison import Comparison
from ridelog.core.units import SpeedUnit
from ridelog.present.words import clean, share_words

# About the log and not about the machine: they stand with the conditions, not with the cautions.
_ABOUT_THE_LOG = {
    "weak_signal",
    "wide_interval",
    "one_direction",
    "directions_differ",
    "partly_seen",
}
# Codes whose smaller value is the graver one.
_LESS_IS_GRAVER = {"braking_below_yardstick", "braking_far_below_yardstick"}


def particular_words(comparison: Comparison, unit: SpeedUnit) -> tuple[str, ...]:
    """Return the cautions that these rides after the change call for, the gravest of each kind."""
    gravest: dict[str, tuple[float, str]] = {}
    for ride in comparison.after:
        for caution in ride.cautions:
            if caution.general or caution.code in _ABOUT_THE_LOG:
                continue
            value = caution.value or 0.0
            if caution.code in _LESS_IS_GRAVER:
                value = -value
            if caution.code not in gravest or value > gravest[caution.code][0]:
                gravest[caution.code] = (value, clean(caution.text))
    faster: list[str] = []
    top = comparison.get("two_way_mps") or comparison.get("best_1s_mps")
    if top is not None and top.difference is not None and top.verdict.word == "better":
        before, after = top.difference.before.value, top.difference.after.value
        if before > 0.0:
            longer = (after / before) ** 2 - 1.0
            # One sentence about the way to rest is enough for one sheet: the one with the change.
            now = gravest.pop("stopping_distance", (0.0, ""))[1]
            more = (
                "Faster needs more room: with the same brakes the way under the brake grows by "
                f"{share_words(longer)}."
            )
            faster = [f"{more} {now}".strip()]
    words = [text for _, text in gravest.values()]
    return (*words, *_reverse_before(comparison, set(gravest)), *faster)


def _reverse_before(comparison: Comparison, told: set[str]) -> list[str]:
    """Return cautions about going backwards that only the rides before show: it still can."""
    found: dict[str, str] = {}
    for ride in comparison.before:
        for caution in ride.cautions:
            if caution.code.startswith("reverse") and caution.code not in told:
                found.setdefault(caution.code, clean(caution.text))
    return [f"{text} (Seen in the rides before the change.)" for text in found.values()]


def general_words() -> tuple[str, ...]:
    """Return the cautions that hold whatever was measured."""
    return tuple(caution.text for caution in general_cautions())
