"""The suites' baseline smoother against filterpy, and the score by hand."""

import numpy as np
import pytest
from filtered_rides import ride_and_log
from filterpy.kalman import KalmanFilter
from log_in_memory import to_track
from plain_smoother import START_SD, Log, Noise, Smoothed, best_second, fitted, log_of
from scores import Answers, interval_score

from ridelog.core.estimate import LEVEL

NOISE = Noise(jerk=0.8, position_m=0.1, velocity_mps=0.09)


def short_log() -> Log:
    log = log_of(to_track(ride_and_log(21)[1]))
    # On the move, where every fix has a course: filterpy's batch knows no fix without one.
    first = int(np.flatnonzero(np.isfinite(log.velocity_mps[:, 0]))[0])
    part = slice(first, first + 150)
    assert np.isfinite(log.velocity_mps[part]).all()
    return Log(log.time_s[part], log.position_m[part], log.velocity_mps[part])


def filterpy_axis(log: Log, noise: Noise, axis: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Return means, covariances and log-likelihood of one axis, forward and back."""
    kalman = KalmanFilter(3, 2)
    kalman.x = np.zeros((3, 1))
    kalman.P = np.diag(np.square(START_SD))
    kalman.H = np.eye(2, 3)
    kalman.R = np.diag([noise.position_m**2, noise.velocity_mps**2])
    forward, process, means, covariances = [], [], [], []
    likelihood = 0.0
    for k in range(len(log.time_s)):
        if k:
            dt = float(log.time_s[k] - log.time_s[k - 1])
            forward.append(np.array([[1, dt, dt**2 / 2], [0, 1, dt], [0, 0, 1]]))
            process.append(
                noise.jerk
                * np.array(
                    [
                        [dt**5 / 20, dt**4 / 8, dt**3 / 6],
                        [dt**4 / 8, dt**3 / 3, dt**2 / 2],
                        [dt**3 / 6, dt**2 / 2, dt],
                    ]
                )
            )
            kalman.predict(F=forward[-1], Q=process[-1])
        kalman.update(np.array([[log.position_m[k, axis]], [log.velocity_mps[k, axis]]]))
        likelihood += float(kalman.log_likelihood)
        means.append(kalman.x)
        covariances.append(kalman.P)
    # rts_smoother takes F and Q of the step from k to k + 1 at place k + 1 in 1.4.5.
    smoothed, spread, _, _ = kalman.rts_smoother(
        np.array(means),
        np.array(covariances),
        [forward[0], *forward],
        [process[0], *process],
    )
    return smoothed[:, :, 0], spread, likelihood


def test_the_baseline_is_the_kalman_smoother_of_filterpy() -> None:
    log = short_log()
    ours = Smoothed(log, NOISE)
    for axis in (0, 1):
        states, spread, _ = filterpy_axis(log, NOISE, axis)
        np.testing.assert_allclose(ours.states[:, :, axis], states, atol=2e-5)
        unit = np.zeros((len(log.time_s), 3, 1))
        unit[70, 1] = 1.0
        assert ours.solve(unit)[70, 1, 0] == pytest.approx(spread[70, 1, 1], rel=1e-4)


def test_its_likelihood_differs_between_noises_as_that_of_filterpy() -> None:
    log = short_log()
    other = Noise(jerk=3.0, position_m=0.05, velocity_mps=0.15)
    expected = sum(
        filterpy_axis(log, NOISE, axis)[2] - filterpy_axis(log, other, axis)[2] for axis in (0, 1)
    )
    found = Smoothed(log, NOISE).log_likelihood - Smoothed(log, other).log_likelihood
    assert found == pytest.approx(expected, abs=0.02)


def test_the_fitted_noise_is_that_of_the_receiver() -> None:
    log = log_of(to_track(ride_and_log(22, position_white_m=0.1)[1]))
    noise, smoothed = fitted(log)
    assert noise.position_m == pytest.approx(0.1, rel=0.1)
    assert noise.velocity_mps == pytest.approx(0.085, rel=0.1)
    value, low, high = best_second(log, smoothed, LEVEL)
    assert low < value < high < low + 0.2


def test_the_score_is_the_width_and_twenty_times_what_is_missed() -> None:
    low, high = np.array([9.0, 9.0, 9.0, 9.5]), np.array([10.0, 10.0, 10.0, 9.5])
    true = np.array([9.2, 8.9, 10.3, 9.4])
    np.testing.assert_allclose(interval_score(low, high, true), [1.0, 3.0, 7.0, 2.0])
    answers = Answers(true, 0.5 * (low + high), low, high)
    assert answers.held == 0.25
    assert answers.score == pytest.approx(3.25)
    assert answers.bias == pytest.approx(0.05)
