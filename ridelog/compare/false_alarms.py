"""Several figures at once: keep the chance of any false claim below one level (Holm's steps)."""

from dataclasses import dataclass

# In at most one comparison of ten in which nothing changed may any figure be called changed.
FAMILY_LEVEL = 0.10


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


def step_down(
    p_values: list[float], weights: list[float], family: float = FAMILY_LEVEL
) -> list[Tested]:
    """Return which figures are shown when the chance of any false claim stays below ``family``.

    The figure with the smallest ratio of p value to weight is tested at its share of the level;
    if it is shown, its share passes to those that remain, until one is not shown.

    Parameters
    ----------
    p_values : list of float
        Two-sided, one for each figure.
    weights : list of float
        Positive shares, any scale.
    family : float
        Chance of any false claim that is allowed.

    Source
    ------
    Holm, A simple sequentially rejective multiple test procedure, Scandinavian Journal of
    Statistics 6 (1979) 65-70, with weights as in its section 4. It needs no independence.
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
