"""A result computed again from its logs and from what it says it was computed with."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from ridelog.analysis.launches.windows import parse_window
from ridelog.analysis.ride import analyse
from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.subject import MeasuredRide, RideSource
from ridelog.compare.comparison import compare
from ridelog.compare.predicted import options_from
from ridelog.compare.stated import StatedSpeed, against_stated
from ridelog.core.errors import RideLogError, UnreadableLogError
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.machine.options import ChangeOption
from ridelog.machine.setup import MachineSetup
from ridelog.report.compare_json import compare_json, settings_in, stated_json
from ridelog.report.options_json import options_json
from ridelog.report.predict_json import conditions_in
from ridelog.report.ride_json import (
    COMPARE_SCHEMA,
    OPTIONS_SCHEMA,
    RIDE_SCHEMA,
    SIGNAL_SCHEMA,
    ride_json,
    signal_json,
)
from ridelog.workflow.measure import motion_of_bytes

_AS_WRITTEN = "give the result as ridelog wrote it."


def sources_of(document: dict[str, Any], name: str) -> list[tuple[str, str]]:
    """Return file and SHA-256 of each log that a result names."""
    try:
        if document["schema"] == OPTIONS_SCHEMA:
            sources = document["rides"]
        elif document["schema"] == COMPARE_SCHEMA:
            sources = document["before"] + document["after"]
        else:
            sources = [document["source"]]
        return [(str(each["file"]), str(each["sha256"])) for each in sources]
    except (KeyError, TypeError) as error:
        raise UnreadableLogError(
            f"{name}: the result does not name its logs ({error}).", _AS_WRITTEN
        ) from error


def computed_again(
    document: dict[str, Any],
    logs: Sequence[tuple[str, Path]],
    report_progress: Callable[[float], None],
) -> dict[str, Any]:
    """Return a result computed again from its logs, each with its name in the result.

    UnreadableLogError if what it was computed with cannot be read from it.
    """
    try:
        settings = settings_in(document, len(logs))
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise UnreadableLogError(
            f"The settings in the result cannot be read ({error}).", _AS_WRITTEN
        ) from error
    rides = []
    for number, (file, path) in enumerate(logs):
        motion = motion_of_bytes(file, path.read_bytes(), columns=settings[number].columns)
        if document["schema"] == SIGNAL_SCHEMA:
            source, columns = RideSource.of(motion), settings[number].columns
            return signal_json(source, judge_signal(motion), columns)
        rides.append(analyse(motion, settings[number]))
        report_progress((number + 1) / len(logs))
    if document["schema"] == RIDE_SCHEMA:
        return ride_json(rides[0])
    unit = SPEED_UNITS.get(str(document.get("round_in")), SPEED_UNITS["km/h"])
    if document["schema"] == OPTIONS_SCHEMA:
        return _options(document, tuple(rides), unit)
    noted = document.get("noted") or {}
    if document.get("stated") is not None:
        stated, after = _stated(document["stated"]), dict(noted.get("after") or {})
        return stated_json(against_stated(stated, tuple(rides), noted=after), unit)
    cut = len(document["before"])
    return compare_json(
        compare(
            tuple(rides[:cut]),
            tuple(rides[cut:]),
            unit=unit,
            noted_before=dict(noted.get("before") or {}),
            noted_after=dict(noted.get("after") or {}),
            setups=_setups(document.get("predicted")),
            modes=_modes(document.get("modes")),
        )
    )


def _stated(stated: Any) -> StatedSpeed:
    try:
        return StatedSpeed(float(stated["mps"]), float(stated["within"]), str(stated["by"]))
    except (LookupError, TypeError, ValueError) as error:
        raise UnreadableLogError(
            "The stated speed in the result cannot be read.", _AS_WRITTEN
        ) from error


def _modes(named: Any) -> tuple[str, str] | None:
    """Return the drive modes that a result compares, None for rides before and after."""
    if named is None:
        return None
    first, second = named
    return str(first), str(second)


def _setups(predicted: Any) -> tuple[MachineSetup, MachineSetup] | None:
    """Return the set-ups that a result's prediction was made from, None without a prediction."""
    if predicted is None:
        return None
    try:
        return MachineSetup(**predicted["setup_before"]), MachineSetup(**predicted["setup_after"])
    except (LookupError, TypeError, ValueError) as error:
        raise UnreadableLogError(
            "The set-ups in the result cannot be read, so its prediction cannot be computed again.",
            _AS_WRITTEN,
        ) from error


def _options(
    document: dict[str, Any], rides: tuple[MeasuredRide, ...], unit: SpeedUnit
) -> dict[str, Any]:
    """Return options side by side again, from set-up, changes and conditions in the result."""
    try:
        setup = MachineSetup(**document["setup"])
        options = [
            ChangeOption(o["name"], dict(o["changes"]), o["price"], o["hours"], o["note"])
            for o in document["options"]
        ]
        windows = [parse_window(words) for words in document["windows"]]
        conditions = conditions_in(document["conditions"])
        currency = str(document["currency"])
    except (LookupError, TypeError, ValueError, RideLogError) as error:
        raise UnreadableLogError(
            "Set-up, options or conditions in the result cannot be read.", _AS_WRITTEN
        ) from error
    found = options_from(
        setup, rides, options, unit, windows=windows, currency=currency, conditions=conditions
    )
    return options_json(found, rides, unit)
