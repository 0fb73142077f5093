"""What the model says of two neighbouring instants, as blocks of the system of equations.

The residual of an interval of length h is A x(k+1) - F x(k), filtering (5). Measured in units of h,
position, velocity, acceleration and drift velocity have the same A, F and precision in every
interval, so their blocks are constants times powers of h over the jerk's intensity; drift and slow
error add one number each.
"""

import numpy as np

from ridelog.core.track import BoolArray, FloatArray

# Precision of white jerk over a unit interval: filtering (4).
_JERK = np.array([[720.0, -360.0, 60.0], [-360.0, 192.0, -36.0], [60.0, -36.0, 9.0]])
# Its two parts, derived in filtering (7): one that says nothing of the position, and what that
# adds.
_OF_POSITION = np.outer(_JERK[0], _JERK[0]) / _JERK[0, 0]
_WITHOUT_POSITION = _JERK - _OF_POSITION
# The share of the second that is left where the position may step: the matrix stays definite. Own
# choice.
_LEFT_OF_STEP = 1e-9
# Its factor, U'U, exact; filtering (23): rows of whitened residuals, the first the position's.
_JERK_ROWS = np.array(
    [
        [12.0 * 5.0**0.5, -6.0 * 5.0**0.5, 5.0**0.5],
        [0.0, 2.0 * 3.0**0.5, -(3.0**0.5)],
        [0.0, 0.0, 1.0],
    ]
)
# Columns: position, velocity, acceleration, drift velocity. The drift moves the believed position
# by its trapezoid over the interval, hence the halves at both ends: filtering (5).
_ONTO = np.array([[1.0, 0.0, 0.0, -0.5], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]])
_FORWARD = np.array([[1.0, 1.0, 0.5, 0.5], [0.0, 1.0, 1.0, 0.0], [0.0, 0.0, 1.0, 0.0]])
# What the blocks of filtering (6) are multiples of: without position, and what is added of it.
_OF_TRANSITIONS = tuple(
    (sign * left.T @ _WITHOUT_POSITION @ right, sign * left.T @ _OF_POSITION @ right)
    for left, right, sign in (
        (_ONTO, _ONTO, 1.0), (_FORWARD, _FORWARD, 1.0), (_ONTO, _FORWARD, -1.0),
    )
)  # fmt: skip
# A rate per second times the interval is a length, and so on: exact.
_POWER = np.array([0, 1, 2, 1])


class Transitions:
    """Intervals with precisions: what they add to the equations, and their pull on states.

    ``told``, shape (m,): how much of what an interval says of the position is left beside the
    position's own random walk, filtering (7).

    Parameters
    ----------
    interval_s : ndarray, shape (m,)
        Length of each; any positive number across a break. [s]
    breaks, steps : ndarray of bool, shape (m,)
        Intervals that carry nothing, and those in which the position may step.
    drift_keep, slow_keep : ndarray, shape (m,)
        Share of the drift velocity and of the slow error that is left after each.
    jerk, drift, slow_sd, walk : ndarray, shape (m,), the last a float
        As in ``Precisions``.
    """

    def __init__(
        self,
        interval_s: FloatArray,
        breaks: BoolArray,
        steps: BoolArray,
        drift_keep: FloatArray,
        slow_keep: FloatArray,
        jerk: FloatArray,
        drift: FloatArray,
        slow_sd: FloatArray | float,
        walk: float = 0.0,
    ) -> None:
        self._interval_s = interval_s
        self._live = live = ~breaks
        self.told = np.where(
            steps, _LEFT_OF_STEP, 1.0 / (1.0 + _JERK[0, 0] * walk / (jerk * interval_s**4))
        )
        self._drift_keep = drift_keep
        self._slow_keep = slow_keep
        self._jerk = np.where(live, 1.0 / jerk, 0.0)
        self._drift = np.where(live, 1.0 / (drift**2 * (1.0 - drift_keep**2)), 0.0)
        self._slow = np.where(live, 1.0 / (slow_sd**2 * (1.0 - slow_keep**2)), 0.0)

    def blocks(self, d: int) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return A'QA, F'QF and -A'QF of every interval, each of shape (m, d, d).

        In memory the intervals lie along the last axis, where whole-array steps are fastest.
        """
        powers = self._interval_s ** _POWER[:, None]
        units = powers[:, None] * powers / self._interval_s**5 * self._jerk
        found = []
        for (bare, position), drift, slow in zip(
            _OF_TRANSITIONS,
            (1.0, self._drift_keep**2, -self._drift_keep),
            (1.0, self._slow_keep**2, -self._slow_keep),
            strict=True,
        ):
            block = np.zeros((d, d, len(self._jerk)))
            np.multiply(self.told, position[:, :, None], out=block[:4, :4])
            block[:4, :4] += bare[:, :, None]
            block[:4, :4] *= units
            block[3, 3] += drift * self._drift
            if d == 5:
                block[4, 4] = slow * self._slow
            found.append(np.moveaxis(block, 2, 0))
        return found[0], found[1], found[2]

    def rows(self, d: int) -> FloatArray:
        """Return whitened rows on both instants of every interval, shape (d, 2 d, m)."""
        rows = np.zeros((d, 2 * d, len(self._jerk)))
        scale = np.sqrt(self._jerk / self._interval_s**5)
        units = scale * self._interval_s ** _POWER[:, None]
        for first, each, sign in ((0, _FORWARD, -1.0), (d, _ONTO, 1.0)):
            rows[:3, first : first + 4] = units * (sign * _JERK_ROWS @ each)[:, :, None]
        rows[0] *= np.sqrt(self.told)
        for row, size, keep in (
            (3, self._drift, self._drift_keep),
            (4, self._slow, self._slow_keep),
        )[: d - 3]:
            rows[row, d + row] = np.sqrt(size)
            rows[row, row] = -np.sqrt(size) * keep
        return rows

    def pull(self, states: FloatArray) -> FloatArray:
        """Return the negative gradient of half the weighted squares, both of shape (d, 2, n).

        The residuals are formed from differences of neighbouring states, so that no digits are
        lost where the blocks would lose them.
        """
        h = self._interval_s
        before, after = states[:, :, :-1], states[:, :, 1:]
        position, velocity, acceleration, drift = after[:4] - before[:4]
        position -= h * (before[1] + 0.5 * h * before[2] + 0.5 * (before[3] + after[3]))
        velocity -= h * before[2]
        drift += (1.0 - self._drift_keep) * before[3]
        # In units of the interval.
        residual = np.stack([position, h * velocity, h**2 * acceleration])
        back = np.tensordot(_WITHOUT_POSITION, residual, axes=1)
        back += self.told * np.tensordot(_OF_POSITION, residual, axes=1)
        back *= self._jerk / self._interval_s**5
        drift *= self._drift
        pull = np.zeros_like(states)
        on = pull[:, :, 1:]
        on[0] -= back[0]
        on[1] -= h * back[1]
        on[2] -= h**2 * back[2]
        on[3] -= drift - 0.5 * h * back[0]
        off = pull[:, :, :-1]
        off[0] += back[0]
        off[1] += h * (back[0] + back[1])
        off[2] += h**2 * (0.5 * back[0] + back[1] + back[2])
        off[3] += self._drift_keep * drift + 0.5 * h * back[0]
        if len(states) == 5:
            keep = self._slow_keep
            slow = self._slow * (after[4] - keep * before[4])
            on[4] -= slow
            off[4] += keep * slow
        return pull

    def log_determinants(self, d: int) -> FloatArray:
        """Return the logarithm of the determinant of each residual's precision, 0 at breaks."""
        live = self._live
        each = np.full(len(live), float(np.linalg.slogdet(_JERK)[1]))
        each += np.log(self.told)
        each[~live] = 0.0
        each[live] += 3.0 * np.log(self._jerk[live]) - 9.0 * np.log(self._interval_s[live])
        each[live] += np.log(self._drift[live])
        if d == 5:
            each[live] += np.log(self._slow[live])
        return each

    def walked(self, states: FloatArray) -> FloatArray:
        """Return what the position walked by itself in each interval, shape (2, m); filtering (7).

        Per metre of the walk's variance in the interval, so that it can be formed where there is
        none: times ``walk`` and the interval's length it is the expected walk. [1/m]
        """
        h = self._interval_s
        before, after = states[:, :, :-1], states[:, :, 1:]
        position, velocity, acceleration, _ = after[:4] - before[:4]
        position -= h * (before[1] + 0.5 * h * before[2] + 0.5 * (before[3] + after[3]))
        residual = np.stack([position, h * (velocity - h * before[2]), h**2 * acceleration])
        result: FloatArray = np.tensordot(_JERK[0], residual, axes=1)
        return result * self.told * self._jerk / h**5

    def variance_of_walked(self, blocks: FloatArray, beside: FloatArray) -> FloatArray:
        """Return the posterior variance of ``walked``, one axis, shape (m,).

        ``blocks`` and ``beside`` are the covariances of instants and of each with the one before.
        """
        powers = self._interval_s ** _POWER[:, None]
        after, before = (_JERK[0] @ side for side in (_ONTO, _FORWARD))
        after, before = after[:, None] * powers, before[:, None] * powers
        own = np.einsum("im,mij,jm->m", after, blocks[1:, :4, :4], after, optimize=True)
        own += np.einsum("im,mij,jm->m", before, blocks[:-1, :4, :4], before, optimize=True)
        own -= 2.0 * np.einsum("im,mij,jm->m", after, beside[:, :4, :4], before, optimize=True)
        result: FloatArray = own * (self.told * self._jerk / self._interval_s**5) ** 2
        return result
