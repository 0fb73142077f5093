"""What a receiver states of its own accuracy, believed as far as the residuals agree.

Receivers flatter themselves, so only the pattern of what they state is taken, from fix to fix; its
size is learnt as ever. METHOD.md, filtering (25) to (30).

Source
------
S. Geisser and W. F. Eddy, "A predictive approach to model selection", JASA 74 (1979) 153-160
(evidence from what the other data say of each); W. K. Newey and K. D. West, Econometrica 55 (1987)
703-708 (variance of a sum of dependent terms); F. Pauli, W. Racugno and L. Ventura, "Bayesian
composite marginal likelihoods", Statistica Sinica 21 (2011) 149-164 (a likelihood of dependent
terms taken to a power). All three from memory.
"""

from dataclasses import dataclass

import numpy as np

from ridelog.core.track import FloatArray

# That a receiver's statements mean nothing is as likely as that they mean something, and then any
# exponent is as likely as another: filtering (29), own choices, for want of anything known.
_LIES = 0.5
_EXPONENTS = np.linspace(0.0, 1.0, 11)
# Degrees of freedom of the white errors, as ``noise.TAIL`` has them: filtering (12).
_TAIL = 4.0
# Over so long residuals that are too large or too small together count as fewer: own choice, at
# walking pace the length of a stand of trees. [s]
_SHADE_S = 20.0
# More fixes than this tell no more that counts: own choice, for time.
_MOST_FIXES = 2000
# Steps in which the scale that goes with an exponent is found, and the longest of them, in
# logarithms: own choices, a few more than what is expected of it needs.
_STEPS, _LONGEST_STEP = 15, 1.0
# No fix determines itself to more than this: own choice, far below what counts.
_LEAST_LEFT = 1e-9
# So much of a ride has the sky that the sizes known beforehand belong to: own choice.
_OPEN_SHARE = 0.25
# No fix is stated to be more than so many times better or worse than the usual one. Own choice.
_MOST_RATIO = 20.0


def stated_ratio(stated_sd: FloatArray) -> FloatArray | None:
    """Return each fix's stated standard deviation over what the best quarter of a ride has.

    The sizes known beforehand are those of receivers under an open sky; and of a ride that is half
    under trees the usual one would jump with a fix more or less: filtering (25).

    Parameters
    ----------
    stated_sd : ndarray, shape (m,)
        In any unit, NaN where the receiver states none.

    Returns
    -------
    ndarray or None
        That of the usual fix where none is stated; None if so few are stated, or all are alike,
        that there is no pattern.
    """
    known = np.isfinite(stated_sd) & (stated_sd > 0.0)
    if known.sum() < 2 or np.ptp(stated_sd[known]) == 0.0:
        return None
    usual = float(np.median(stated_sd[known]))
    ratio = np.where(known, stated_sd, usual) / float(np.quantile(stated_sd[known], _OPEN_SHARE))
    return np.clip(ratio, 1.0 / _MOST_RATIO, _MOST_RATIO)


@dataclass(frozen=True)
class Trust:
    """How far a stated pattern is believed: the exponent of filtering (25), 0 to 1.

    Not at all before it is judged: what is believed makes its own residuals fit.
    """

    value: float = 0.0

    def raised(self, ratio: FloatArray) -> FloatArray:
        """Return stated ratios as far as they are believed."""
        believed: FloatArray = ratio**self.value
        return believed

    def between(self, alike: float, stated: float) -> float:
        """Return a size between what it is without the pattern and with all of it.

        The noise of a fix goes as its ratio to the power of the exponent, so the size's logarithm
        is even in it.
        """
        size: float = alike ** (1.0 - self.value) * stated**self.value
        return size


def evidence(
    time_s: FloatArray,
    ratio: FloatArray,
    residual: FloatArray,
    variance: FloatArray,
    precision: FloatArray,
    *,
    sd: float,
    other: FloatArray | float = 0.0,
) -> FloatArray:
    """Return the logarithm of each exponent's evidence, filtering (26) to (28), less a constant.

    Parameters
    ----------
    time_s : ndarray, shape (k,)
        Of the fixes that are seen. [s]
    ratio : ndarray, shape (k,)
        Theirs from ``stated_ratio``.
    residual : ndarray, shape (k, 2)
        What was seen less the solution.
    variance, precision : ndarray, shape (k,)
        Posterior variance of one axis, and the precision that was used.
    sd : float
        White error of a usual fix, from which the one that goes with an exponent is sought.
    other : ndarray, shape (k,), or float
        Variance of each fix that no exponent acts on.
    """
    some = slice(None, None, -(-len(ratio) // _MOST_FIXES))
    left = np.clip(1.0 - variance * precision, _LEAST_LEFT, 1.0)
    squared = ((residual**2).sum(axis=1) / left**2)[some]
    free = (variance / left + other)[some]
    logarithm = np.log(ratio[some])
    scale = np.full((len(_EXPONENTS), 1), np.log(sd))
    for _ in range(_STEPS):
        slope, known = _slope(squared, free, logarithm, scale)
        step = slope.sum(axis=1) / np.maximum(known, _LEAST_LEFT)
        scale = scale + np.clip(step, -_LONGEST_STEP, _LONGEST_STEP)[:, None]
    total = np.exp(2.0 * (scale + _EXPONENTS[:, None] * logarithm)) + free
    each = -np.log(total) - 0.5 * (_TAIL + 2.0) * np.log1p(squared / (_TAIL * total))
    found: FloatArray = each.sum(axis=1)
    best = int(found.argmax())
    slope = _slope(squared, free, logarithm, scale)[0][best]
    return found / _counted_too_often(time_s[some], slope, slope * logarithm)


def _slope(
    squared: FloatArray, free: FloatArray, logarithm: FloatArray, scale: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return how each fix's log density grows with the logarithm of the scale, (exponents, k).

    And what all of them are expected to tell of it (Fisher's information), (exponents,).
    """
    white = np.exp(2.0 * (scale + _EXPONENTS[:, None] * logarithm))
    total = white + free
    share, off = white / total, squared / total
    slope = 2.0 * share * (0.5 * (_TAIL + 2.0) * off / (_TAIL + off) - 1.0)
    # Of Student's t on two axes: Lange, Little and Taylor (1989), appendix.
    return slope, 4.0 * _TAIL / (_TAIL + 4.0) * (share**2).sum(axis=1)


def _counted_too_often(time_s: FloatArray, by_scale: FloatArray, by_exponent: FloatArray) -> float:
    """Return how many fixes count as one, at least 1: filtering (28).

    From the slopes of each fix's log density by scale and by exponent at the best exponent.
    """
    along = float(by_scale @ by_exponent) / max(float(by_scale @ by_scale), _LEAST_LEFT)
    slope = by_exponent - along * by_scale
    slope = slope - slope.mean()
    second = np.floor(time_s - time_s[0]).astype(np.int64)
    if second[-1] < 1:
        return 1.0
    # A long pause is no time in which slopes are alike; the bins of it are empty.
    second = np.concatenate([[0], np.cumsum(np.minimum(np.diff(second), int(_SHADE_S) + 1))])
    sums = np.bincount(second, slope)
    total = float(sums @ sums)
    for lag in range(1, min(int(_SHADE_S), len(sums))):
        total += 2.0 * (1.0 - lag / _SHADE_S) * float(sums[lag:] @ sums[:-lag])
    return max(1.0, total / max(float(slope @ slope), _LEAST_LEFT))


def judged(position: FloatArray | None, speed: FloatArray | None) -> tuple[Trust, Trust]:
    """Return how far what is stated of positions and of speeds is believed.

    From the evidences of both, None where nothing is stated. A receiver whose statements mean
    nothing has no pattern in either: filtering (29).
    """
    told = [each for each in (position, speed) if each is not None]
    means_nothing = np.log(_LIES) + sum(float(each[0]) for each in told)
    means_something = np.log(1.0 - _LIES)
    for each in told:
        top = float(each.max())
        means_something += top + float(np.log(np.exp(each - top).mean()))
    share = 1.0 / (1.0 + np.exp(np.clip(means_nothing - means_something, -700.0, 700.0)))

    def mean(each: FloatArray | None) -> Trust:
        if each is None:
            return Trust()
        weight = np.exp(each - each.max())
        return Trust(float(share * (weight @ _EXPONENTS) / weight.sum()))

    return mean(position), mean(speed)
