"""From differences to verdicts in words, false alarms among several figures kept rare."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.special import stdtrit

from ridelog.compare.difference import Difference

# In at most one comparison of ten in which nothing changed may any figure be called changed.
# Own choice.
FAMILY_LEVEL = 0.10
Word = Literal["better", "worse", "no difference shown", "cannot say"]
BETTER: Final = "better"
WORSE: Final = "worse"
NOT_SHOWN: Final = "no difference shown"
CANNOT_SAY: Final = "cannot say"
# A difference counts as one that the rides could have shown if they would show it this
# often. Own choice.
POWER = 0.9
# More rides than this nobody makes for one change; common practice, no source.
_MOST_MORE_RIDES = 12


@dataclass(frozen=True)
class Tested:
    """What became of one figure.

    shown : whether its difference is claimed.
    level : the level at which it was tested in its step.
    adjusted : the smallest family level at which it would be claimed.
    """

    shown: bool
    level: float
    adjusted: float


@dataclass(frozen=True)
class Verdict:
    """What may be said of one figure.

    word : what may be said.
    smallest_shown : difference that rides like these would show nine times out of ten; None where
        nothing can be tested.
    more_rides : rides a side to add so that a difference as large as the one seen would be shown
        nine times out of ten; None if it is shown already, cannot be tested, or needs too many.
    tested : what became of it among the others; None where nothing can be tested.
    """

    word: Word
    smallest_shown: float | None = None
    more_rides: int | None = None
    tested: Tested | None = None

    @property
    def left_open(self) -> bool:
        """Whether the figure differs, but something else could have made all of it."""
        return self.word == CANNOT_SAY and self.tested is not None


def step_down(
    p_values: list[float], weights: list[float], family: float = FAMILY_LEVEL
) -> list[Tested]:
    """Return which figures are shown when the chance of any false claim stays below ``family``.

    The figure with the smallest ratio of p value to weight is tested at its share of the level;
    if it is shown, its share passes to those that remain, until one is not shown.

    p values are two-sided; weights are positive shares on any scale.

    Source
    ------
    Holm, A simple sequentially rejective multiple test procedure, Scandinavian Journal of
    Statistics 6 (1979) 65-70, with weights as in its section 4. It needs no independence.
    METHOD.md, (10).
    """
    order = sorted(range(len(p_values)), key=lambda i: p_values[i] / weights[i])
    tested: list[Tested | None] = [None] * len(p_values)
    adjusted, going, sharing = 0.0, True, sum(weights)
    for place, i in enumerate(order):
        left = sum(weights[j] for j in order[place:])
        # Once a figure is not shown, its share and those of the rest are not passed on.
        sharing = left if going else sharing
        level = family * weights[i] / sharing
        going = going and p_values[i] <= level
        adjusted = max(adjusted, min(1.0, p_values[i] * left / weights[i]))
        tested[i] = Tested(going, level, adjusted)
    return [each for each in tested if each is not None]


def verdicts(
    differences: list[Difference],
    weights: list[float],
    better_when: list[int],
    otherwise: list[tuple[float, float]] | None = None,
) -> list[Verdict]:
    """Return the verdicts of all figures of one comparison.

    Each figure has its weight (see ``step_down``), 1 where more is better or -1 where less is, and
    the least and the most difference that something else than the change could make (nothing if
    left out), such as the battery's charge. What is not surely beyond these is no claim, so its
    share of the level passes to no other figure: METHOD.md, (25). It cannot be said where it
    differs all the same.
    """
    otherwise = otherwise or [(0.0, 0.0)] * len(differences)
    can = [i for i, each in enumerate(differences) if each.contrast is not None]
    shares = [weights[i] for i in can]
    tested = step_down([differences[i].p_beyond(*otherwise[i]) for i in can], shares)
    differ = step_down([differences[i].p_value for i in can], shares)
    found = [Verdict(CANNOT_SAY) for _ in differences]
    for i, test, apart in zip(can, tested, differ, strict=True):
        difference = differences[i]
        made_else = difference.p_beyond(*otherwise[i]) > difference.p_value
        if apart.shown and made_else and not test.shown:
            found[i] = Verdict(CANNOT_SAY, smallest_shown(difference, test), None, test)
        elif test.shown:
            up = difference.difference.value * better_when[i] > 0.0
            found[i] = Verdict(
                BETTER if up else WORSE, smallest_shown(difference, test), None, test
            )
        else:
            found[i] = Verdict(
                NOT_SHOWN, smallest_shown(difference, test), more_rides(difference, test), test
            )
    return found


def smallest_shown(difference: Difference, tested: Tested) -> float:
    """Return the difference that such rides would show nine times out of ten.

    Standard error times the sum of both quantiles of Student's t, that of the test and that of the
    power; never less than what the receivers alone allow, and beyond what may be wind. Source:
    NIST/SEMATECH e-Handbook, 7.2.2.2, with t in place of the normal quantiles; METHOD.md, (11).
    """
    contrast = difference.contrast
    if contrast is None:
        raise ValueError("nothing can be tested with one ride a side")
    error = max(contrast.standard_error, difference.receiver_error)
    return error * _quantiles(tested.level, contrast.freedom) + abs(difference.wind_part)


def more_rides(difference: Difference, tested: Tested) -> int | None:
    """Return how many more rides a side would show a difference as large as the one seen.

    What may be wind is taken off: more rides in the same wind would not tell it apart.
    METHOD.md, (12).
    """
    contrast = difference.contrast
    seen = difference.nearest
    if contrast is None or seen == 0.0:
        return None
    n_before, n_after = difference.rides_before, difference.rides_after
    error = max(contrast.standard_error, difference.receiver_error)
    per_ride = error**2 / (1.0 / n_before + 1.0 / n_after)
    # A further pair is one more difference, a further ride a side two more values.
    grows = 1.0 if difference.method == "pairs" else 2.0
    for more in range(1, _MOST_MORE_RIDES + 1):
        n, m = n_before + more, n_after + more
        would_be = float(np.sqrt(per_ride * (1.0 / n + 1.0 / m)))
        if would_be * _quantiles(tested.level, contrast.freedom + grows * more) <= seen:
            return more
    return None


def _quantiles(level: float, freedom: float) -> float:
    return float(stdtrit(freedom, 1.0 - 0.5 * level) + stdtrit(freedom, POWER))
