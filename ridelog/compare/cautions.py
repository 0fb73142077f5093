"""What a comparison warns of: of each caution the gravest ride, and what a change itself brings."""

from ridelog.analysis.subject import DOUBT, WARNING, Caution
from ridelog.compare.comparison import Comparison
from ridelog.compare.gravest import gravest_of, of_ride
from ridelog.compare.verdict import BETTER
from ridelog.present.words import capital, share_words


def cautions_of(comparison: Comparison) -> tuple[Caution, ...]:
    """Return the cautions of a comparison, the gravest first, then those that always hold.

    What the rides after the change warn of counts. Of the rides before it count what makes their
    figures doubtful and what the machine may still do: go backwards. Of two drive modes both may
    be ridden, so that both count.
    """
    found = gravest_of(comparison.after)
    for ride in comparison.before:
        for caution in ride.cautions:
            lasts = caution.gravity == DOUBT or caution.code.startswith("reverse")
            lasts = lasts or comparison.modes is not None
            if lasts and not caution.general and caution.code not in found:
                found[caution.code] = of_ride(caution, ride, _side_before(comparison, caution))
    particular = [caution for caution in found.values() if not caution.general]
    particular += _faster(comparison)
    return (
        *sorted(particular, key=lambda one: -one.gravity),
        *(caution for caution in found.values() if caution.general),
    )


def _side_before(comparison: Comparison, caution: Caution) -> str:
    """Return of which side a caution is told, and where the other side does not tell."""
    before, after = comparison.names.at_length
    if caution.code.startswith("reverse") and all(
        ride["reverse"].state == "none" for ride in comparison.after
    ):
        return f"{capital(before)} ({after}, reverse was not ridden)"
    return capital(before)


def _faster(comparison: Comparison) -> list[Caution]:
    """Return the warning that a higher top speed needs a longer way to stand still."""
    top = comparison.get("two_way_mps") or comparison.get("best_1s_mps")
    if top is None or top.difference is None or top.verdict.word != BETTER:
        return []
    before, after = top.difference.before.value, top.difference.after.value
    if before <= 0.0:
        return []
    longer = (after / before) ** 2 - 1.0
    return [
        Caution(
            "faster_needs_room",
            "Faster needs more room: from top speed, with the same brakes, the braking distance "
            f"grows by {share_words(longer)}.",
            longer,
            None,
            "physics: distance = speed² / (2 × deceleration)",
            gravity=WARNING,
        )
    ]
