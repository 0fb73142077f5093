"""Draws by weight."""

import numpy as np

from ridelog.core.track import FloatArray, IntArray


def systematic(weight: FloatArray, count: int, random: np.random.Generator) -> IntArray:
    """Return indices drawn by weight, evenly spaced in probability, in rising order.

    Fewer of them show a distribution than by lot: each comes as often as its weight asks, give or
    take one.

    Parameters
    ----------
    weight : ndarray, shape (n,)
        Not negative and not all 0; their sum does not matter.
    count : int
        How many indices.
    random : numpy.random.Generator
        Where the first of them lies.

    Source
    ------
    J. Carpenter, P. Clifford and P. Fearnhead, "Improved particle filter for nonlinear problems",
    IEE Proc. Radar, Sonar Navig. 146 (1999) 2-7 (systematic sampling; from memory).
    """
    total = np.cumsum(weight)
    places = (np.arange(count) + random.random()) / count
    return np.searchsorted(total / total[-1], places).astype(np.int64)
