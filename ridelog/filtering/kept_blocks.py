"""The blocks of a ride's equations, kept stretch by stretch: what is drawn is cut from them.

Made anew for every span they cost as much as the span's factors. What is kept is bounded, so that
memory does not grow with the ride.
"""

import numpy as np

from ridelog.core.track import FloatArray
from ridelog.filtering.precisions import Precisions, add_seen, known_of_start
from ridelog.filtering.state_space import StateSpace

# Intervals of a stretch, and how many stretches are kept: some 6 MB each, together as much as an
# hour at 10 Hz has. Own choices: spans across an edge are made anew, so a stretch is long beside
# them.
_STRETCH, _MOST = 9_000, 5
# Blocks of intervals, numbers before intervals: onto the later instant, the earlier, both.
_Stretch = tuple[FloatArray, FloatArray, FloatArray]


class KeptBlocks:
    """Blocks of the precision of spans, as ``StateSpace.blocks`` has them of their part."""

    def __init__(self, space: StateSpace, precisions: Precisions) -> None:
        self._space = space
        self._precisions = precisions
        self._kept: dict[int, _Stretch] = {}

    def between(self, first: int, last: int) -> tuple[FloatArray, FloatArray]:
        """Return diagonal and lower blocks of instants first to last, both included.

        As if the ride had nothing else.
        """
        number = first // _STRETCH
        if last > (number + 1) * _STRETCH or first == last:
            part = self._space.part(first, last + 1)
            blocks = part.blocks(self._precisions.part(first, last + 1))
            return blocks.diagonal, blocks.lower
        onto, forward, lower = self._stretch(number)
        here = slice(first - number * _STRETCH, last - number * _STRETCH)
        # As in memory: numbers before instants.
        diagonal = np.empty((self._space.d, self._space.d, last + 1 - first))
        diagonal[:, :, :-1] = forward[:, :, here]
        diagonal[:, :, -1] = 0.0
        diagonal[:, :, 1:] += onto[:, :, here]
        precisions = self._precisions.part(first, last + 1)
        for place, known in enumerate(known_of_start(precisions, self._space.d)):
            diagonal[place, place, 0] += known
        add_seen(diagonal, precisions)
        return np.moveaxis(diagonal, 2, 0), np.moveaxis(lower[:, :, here], 2, 0)

    def _stretch(self, number: int) -> _Stretch:
        found = self._kept.get(number)
        if found is None:
            first, stop = number * _STRETCH, min((number + 1) * _STRETCH + 1, self._space.n)
            part, precisions = self._space.part(first, stop), self._precisions.part(first, stop)
            onto, forward, lower = part.transitions(precisions).blocks(part.d)
            found = np.moveaxis(onto, 0, 2), np.moveaxis(forward, 0, 2), np.moveaxis(lower, 0, 2)
            if len(self._kept) >= _MOST:
                # The one made first: what is measured goes through a ride from its beginning.
                self._kept.pop(next(iter(self._kept)))
            self._kept[number] = found
        return found
