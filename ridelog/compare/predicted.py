"""A prediction from measured rides, and what rides after the change showed beside it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ridelog.analysis.figure import Figure
from ridelog.analysis.launches.windows import Window, default_windows, suited
from ridelog.compare.difference import difference_by_direction, side_mean
from ridelog.compare.gravest import seen_of_machine
from ridelog.compare.matching import Rides, match_directions
from ridelog.core.estimate import LEVEL, Estimate
from ridelog.core.track import FloatArray
from ridelog.core.units import SpeedUnit
from ridelog.machine.calibration_data import CalibrationData, calibration_data_of
from ridelog.machine.conditions import Conditions
from ridelog.machine.options import ChangeOption, OptionsPredicted, predict_options
from ridelog.machine.possible import PredictedFigure
from ridelog.machine.predict import PREDICTED_NAMES, Prediction, predict
from ridelog.machine.setup import MachineSetup

# The launch windows of a machine whose rides tell no top speed: as of one that reaches 30 km/h. Own
# choice.
_USUAL_TOP_MPS = 25.0 / 3.0
# Points of the measured pull curve are this far apart, the same as the grid it is read from. [m/s]
_STEP_MPS = 0.5
# Figures that the rider decides as much as the machine: no test of a prediction.
_RIDERS = ("stopping_distance_m",)


@dataclass(frozen=True)
class MeasuredAfter:
    """What rides after a change showed.

    names : of the rides. figures : by the names of a prediction, means over the rides.
    pull : the pull at full throttle at ``pull_mps``, speeds that a ride tells. [m/s²], [m/s]
    """

    names: tuple[str, ...]
    figures: Mapping[str, Estimate]
    pull_mps: FloatArray
    pull: tuple[Estimate, ...]


@dataclass(frozen=True)
class Predicted:
    """A prediction made from the rides before a change, and what the rides after it showed."""

    prediction: Prediction
    after: MeasuredAfter


@dataclass(frozen=True)
class Agreement:
    """One figure predicted and measured.

    apart : measured minus predicted, with its interval. agrees : whether that interval holds
        nought, which it does in 9 of 10 cases if the prediction is right.
    """

    predicted: PredictedFigure
    measured: Estimate
    apart: Estimate
    agrees: bool

    @property
    def name(self) -> str:
        """Name of the figure in a prediction."""
        return self.predicted.figure.name


def predict_from(
    setup: MachineSetup,
    rides: Rides,
    asked: Mapping[str, Any],
    unit: SpeedUnit,
    *,
    windows: Sequence[Window] = (),
    sweep: tuple[str, Sequence[Any]] | None = None,
    told: Mapping[str, Estimate] | None = None,
    conditions: Conditions | None = None,
) -> Prediction:
    """Return what a change will do to the machine of some rides.

    ``setup``, ``asked`` and ``sweep`` are as for ``machine.predict.predict``; ``rides``, on the
    machine as it is, may be none. The windows of the standing start are those that suit the rides
    if left out. ``told`` is what a comparison says of these rides, name of a figure to their mean;
    the rest is found here. ``conditions`` are as for ``predict``.
    """
    data = [calibration_data_of(ride) for ride in rides]
    windows = windows or _suited_windows(data, unit)
    measured = side_means(rides, told)
    return predict(
        setup, data, asked, windows,
        sweep=sweep, measured=measured, conditions=conditions, seen=seen_of_machine(rides),
    )  # fmt: skip


def options_from(
    setup: MachineSetup,
    rides: Rides,
    options: Sequence[ChangeOption],
    unit: SpeedUnit,
    *,
    windows: Sequence[Window] = (),
    currency: str = "",
    conditions: Conditions | None = None,
) -> OptionsPredicted:
    """Return what each of some changes will do to the machine of some rides.

    Arguments are as of ``predict_from`` and ``machine.options.predict_options``.
    """
    data = [calibration_data_of(ride) for ride in rides]
    return predict_options(
        setup,
        data,
        options,
        windows or _suited_windows(data, unit),
        currency=currency,
        measured=side_means(rides),
        conditions=conditions,
        seen=seen_of_machine(rides),
    )


def _suited_windows(data: Sequence[CalibrationData], unit: SpeedUnit) -> tuple[Window, ...]:
    top_mps = max((one.top_mps[0] for one in data if one.top_mps), default=_USUAL_TOP_MPS)
    return suited(default_windows(top_mps), unit)


def measured_after(
    rides: Rides, others: Rides = (), told: Mapping[str, Estimate] | None = None
) -> MeasuredAfter:
    """Return what the rides after a change showed; ``others`` are those before it.

    ``told`` is as for ``predict_from``, of the rides after.
    """
    curves = [ride["acceleration"] for ride in rides]
    highest = max((float(one.speed_mps[-1]) for one in curves if len(one.speed_mps)), default=0.0)
    speed, pull = [], []
    for at in np.arange(_STEP_MPS, highest + 1e-9, _STEP_MPS):
        here = [found for one in curves if (found := one.at(float(at))) is not None]
        if here:
            speed.append(float(at))
            pull.append(side_mean(here))
    return MeasuredAfter(
        tuple(ride.name for ride in rides),
        side_means(rides, told, others),
        np.array(speed),
        tuple(pull),
    )


def side_means(
    rides: Rides, told: Mapping[str, Estimate] | None = None, others: Rides = ()
) -> dict[str, Estimate]:
    """Return every figure of the rides of one side, by the names of a prediction.

    What a comparison of the rides tells is taken from it; the rest is what it would tell of this
    side alone.
    """
    names = dict.fromkeys(name for ride in rides for name in ride.figures)
    found = {}
    for name in names:
        mean = (told or {}).get(name)
        if mean is None:
            mean = _mean_of(_of(name, rides), _of(name, others))
        if mean is not None:
            found[PREDICTED_NAMES.get(name, name)] = mean
    return found


def agreements(prediction: Prediction, after: MeasuredAfter) -> tuple[Agreement, ...]:
    """Return what was predicted beside what was measured, for figures that have both."""
    return tuple(
        _agreement(one, one.changed, seen)
        for one in prediction.figures
        if one.changed is not None
        and one.figure.name not in _RIDERS
        and (seen := after.figures.get(one.figure.name)) is not None
    )


def _of(name: str, rides: Rides) -> tuple[Figure, ...]:
    return tuple(ride.figures[name] for ride in rides if name in ride.figures)


def _mean_of(figures: tuple[Figure, ...], others: tuple[Figure, ...]) -> Estimate | None:
    """Return the mean of one side's figures; directions are kept apart as in a comparison."""
    comparable = figures[0].comparable
    if comparable is not None and comparable.one_direction:
        matched = match_directions(figures, figures)
        if not matched.obstacle:
            figures = matched.first
        if matched.directions is not None:
            ways = [
                w for w, one in zip(matched.directions[0], figures, strict=True) if one.estimate
            ]
            known = [one.estimate for one in figures if one.estimate is not None]
            return difference_by_direction(known, known, ways, ways).before
    known = [one.estimate for one in figures if one.estimate is not None]
    beside = [one.estimate for one in others if one.estimate is not None]
    shared = 0.0 if comparable is None else comparable.shared_sd
    return side_mean(known, beside, shared) if known else None


def _agreement(one: PredictedFigure, predicted: Estimate, measured: Estimate) -> Agreement:
    """Return one comparison; half widths of independent errors add in squares."""
    value = measured.value - predicted.value
    below = float(np.hypot(measured.value - measured.low, predicted.high - predicted.value))
    above = float(np.hypot(measured.high - measured.value, predicted.value - predicted.low))
    apart = Estimate(value, value - below, value + above, LEVEL)
    return Agreement(one, measured, apart, apart.low <= 0.0 <= apart.high)
