"""What other programs use of ridelog: load a ride, save it, compare, predict."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path

import pandas as pd

from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import Comparison
from ridelog.compare.comparison import compare as compare_rides
from ridelog.compare.predicted import predict_from
from ridelog.core.errors import RideLogError
from ridelog.core.units import SPEED_UNITS, SpeedUnit
from ridelog.machine.predict import Prediction
from ridelog.machine.setup_file import read_setup
from ridelog.present.files import make_folder, write_files
from ridelog.report.ride_page import ride_files
from ridelog.workflow.measure import measure_ride


@dataclass(frozen=True)
class Ride(MeasuredRide):
    """One ride with everything that was measured on it."""

    def to_frame(self) -> pd.DataFrame:
        """Return every figure as a table.

        Returns
        -------
        DataFrame
            Columns name, value, low, high, unit, reason; SI units, NaN with a reason where the ride
            does not tell a figure.
        """
        rows = []
        for figure in self.figures.values():
            found = figure.firm
            numbers = (found.value, found.low, found.high) if found else (float("nan"),) * 3
            rows.append((figure.name, *numbers, figure.quantity.si, figure.why_none))
        return pd.DataFrame(rows, columns=["name", "value", "low", "high", "unit", "reason"])

    def save(
        self,
        folder: str | Path,
        *,
        units: str = "km/h",
        show_coordinates: bool = False,
        force: bool = False,
    ) -> None:
        """Write the page, its pictures and result.json into a folder.

        Parameters
        ----------
        folder : str or Path
            Made if it is not there.
        units : str
            "km/h" or "mph".
        show_coordinates : bool
            Whether the page may tell where on earth the ride took place.
        force : bool
            Whether files that are there already are replaced.

        Raises
        ------
        OutputError
            If a file is in the way or cannot be written.
        """
        files = ride_files(self, _unit(units), show_coordinates=show_coordinates)
        place = Path(folder)
        make_folder(place)
        write_files({place / name: data for name, data in files.items()}, force=force)


def load(log: str | Path, settings: Settings | None = None) -> Ride:
    """Return one ride, read, smoothed and measured.

    Parameters
    ----------
    log : str or Path
        GPX, NMEA 0183, UBX, FIT, TCX or a CSV table, plain, gzip or zip.
    settings : Settings, optional
        What is to be measured how; the usual choices without it.

    Raises
    ------
    RideLogError
        If the log cannot be read or cannot give an answer: what, where, and what to do next.
    """
    try:
        checked = Settings.from_json((settings or Settings()).as_json())
    except ValueError as error:
        raise RideLogError(f"these settings cannot be: {error}") from error
    found = measure_ride(Path(log), checked)
    return Ride(**{field.name: getattr(found, field.name) for field in fields(found)})


def compare(
    before: Sequence[MeasuredRide],
    after: Sequence[MeasuredRide],
    *,
    units: str = "km/h",
    noted_before: Mapping[str, str] | None = None,
    noted_after: Mapping[str, str] | None = None,
) -> Comparison:
    """Return what a change did: ``change["two_way_mps"].difference`` and ``.verdict``.

    Parameters
    ----------
    before, after : sequence of Ride
        At least one each; two a side for a verdict.
    units : str
        "km/h" or "mph": in which the usual launch windows are round.
    noted_before, noted_after : mapping, optional
        What was noted for a side, such as {"rider": "Ida"}.

    Raises
    ------
    RideLogError
        If a side has no ride, or one log is named twice.
    """
    return compare_rides(
        tuple(before),
        tuple(after),
        unit=_unit(units),
        noted_before=dict(noted_before or {}),
        noted_after=dict(noted_after or {}),
    )


def predict(
    setup: str | Path, rides: Sequence[MeasuredRide] = (), *, units: str = "km/h", **changes: object
) -> Prediction:
    """Return what a change would do: ``predict(...)["two_way_mps"].changed``.

    Parameters
    ----------
    setup : str or Path
        The machine's set-up file as it is now.
    rides : sequence of Ride
        On the machine as it is; without any the answer rests on the set-up alone.
    units : str
        "km/h" or "mph": in which the usual launch windows are round.
    **changes
        Keys of the set-up file and their new values, such as ``rear_teeth=56``.

    Raises
    ------
    RideLogError
        If the set-up or a change cannot be.
    """
    known = read_setup(Path(setup))
    return predict_from(known, tuple(rides), changes, _unit(units))


def _unit(words: str) -> SpeedUnit:
    if words not in SPEED_UNITS:
        raise ValueError(f"{words!r} is no unit to read in: {' or '.join(SPEED_UNITS)}")
    return SPEED_UNITS[words]
