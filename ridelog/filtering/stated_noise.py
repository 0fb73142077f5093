"""What a receiver states of its own accuracy, believed as far as the residuals agree.

Receivers flatter themselves, so only the pattern of what they state is taken, from fix to fix; its
size is learnt as ever. METHOD.md, filtering (25) and (26).
"""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray

# Half believed at first, and as open as that: the residuals of a few fixes outweigh it. Own choice.
_FIRST_TRUST, _TRUST_SD = 0.5, 0.5
# Between such shares of the expected curvature a secant is believed, if the exponent moved by more
# than this. Own choices.
_SECANT, _LEAST_MOVE = (0.1, 3.0), 1e-3
# No fix is stated to be more than so many times better or worse than the usual one. Own choice.
_MOST_RATIO = 20.0


def stated_ratio(stated_sd: FloatArray) -> FloatArray | None:
    """Return each fix's stated standard deviation over the usual one.

    Parameters
    ----------
    stated_sd : ndarray, shape (m,)
        In any unit, NaN where the receiver states none.

    Returns
    -------
    ndarray or None
        1 where none is stated; None if so few are, or all are alike, that there is no pattern.
    """
    known = np.isfinite(stated_sd) & (stated_sd > 0.0)
    if known.sum() < 2 or np.ptp(stated_sd[known]) == 0.0:
        return None
    usual = float(np.median(stated_sd[known]))
    ratio = np.where(known, np.where(known, stated_sd, usual) / usual, 1.0)
    return np.clip(ratio, 1.0 / _MOST_RATIO, _MOST_RATIO)


@dataclass(frozen=True)
class Trust:
    """How far a stated pattern is believed: the exponent of filtering (25), 0 to 1.

    value : as it is now. before, slope : what it was a round ago, and the slope of the evidence's
        logarithm then; NaN in the first round.
    """

    value: float = _FIRST_TRUST
    before: float = float("nan")
    slope: float = float("nan")

    def raised(self, ratio: FloatArray) -> FloatArray:
        """Return stated ratios as far as they are believed."""
        believed: FloatArray = ratio**self.value
        return believed

    def improved(
        self,
        ratio: FloatArray,
        residual: FloatArray,
        variance: FloatArray,
        precision: FloatArray,
        share: FloatArray | float = 1.0,
    ) -> "Trust":
        """Return a better exponent, one step of filtering (26).

        Parameters
        ----------
        ratio : ndarray, shape (k,)
            From ``stated_ratio``, of the fixes that are seen.
        residual : ndarray, shape (k, 2)
            What was seen less the solution.
        variance, precision : ndarray, shape (k,)
            Posterior variance of one axis, and the precision that was used.
        share : ndarray, shape (k,), or float
            How much of each fix's variance the exponent acts on.
        """
        determined = 2.0 * np.clip(1.0 - variance * precision, 0.0, 1.0) * share
        squared = (residual**2).sum(axis=1) * precision * share
        total = float(determined.sum())
        logarithm = np.log(ratio)
        if total > 0.0:  # so that the exponent and the scale hardly touch each other
            logarithm = logarithm - float((logarithm * determined).sum()) / total
        slope = float((logarithm * (squared - determined)).sum())
        slope -= (self.value - _FIRST_TRUST) / _TRUST_SD**2
        curvature = float((logarithm**2 * determined**2).sum()) + _TRUST_SD**-2
        moved = self.value - self.before
        if abs(moved) > _LEAST_MOVE:
            # The other scales move as well: the last two rounds show how fast the slope falls.
            secant = (self.slope - slope) / moved
            least, most = _SECANT
            curvature = min(max(secant, least * curvature), most * curvature)
        value = float(np.clip(self.value + slope / curvature, 0.0, 1.0))
        return Trust(value, self.value, slope)
