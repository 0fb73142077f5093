"""Comparisons without rides before: with a stated speed, and of two drive modes inside logs."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from ridelog.cli.options import Asked, Units
from ridelog.cli.papers import PAPERS, Paper
from ridelog.cli.terminal import check_places, deliver, motion_of, progress, warn
from ridelog.core.errors import RideLogError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ridelog.analysis.subject import MeasuredRide
    from ridelog.compare.stated import StatedSpeed
    from ridelog.core.units import SpeedUnit
    from ridelog.report.aim import Aim
    from ridelog.report.letterhead import Letterhead

# Makes the files of a sheet, and says what they had to do without.
_SheetOf = Callable[..., tuple[dict[str, bytes], str]]
SHEET = ("sheet.html", "sheet.pdf", "runs.png", "result.json", "measures.csv")


@dataclass(frozen=True)
class Wanted:
    """What is to be written of a comparison, where, and in whose words."""

    units: Units
    json: Path | None
    out: Path | None
    force: bool
    head: "Letterhead"
    note: str
    aim: "Aim | None"
    paper: Paper
    noted_before: dict[str, str]
    noted_after: dict[str, str]

    def check(self, logs: list[Path]) -> None:
        """Fail before the work if a file is in the way."""
        sheet = [self.out / name for name in SHEET] if self.out else []
        for log in logs:
            check_places([self.json, *sheet], log, self.force, folder=self.out)

    def sheet(
        self, made_by: Callable[[], _SheetOf], found: object, unit: "SpeedUnit", document: bytes
    ) -> dict[Path, bytes]:
        """Return the files of the sheet where they go, if wanted; tell what it had to do without.

        ``made_by`` loads what makes them, slowly.
        """
        if self.out is None:
            return {}
        files, lacking = made_by()(
            found, unit, document, letterhead=self.head, note=self.note, aim=self.aim,
            paper=PAPERS[self.paper],
        )  # fmt: skip
        warn((lacking,) if lacking else ())
        return {self.out / name: data for name, data in files.items()}


def sheet_of_rides() -> _SheetOf:
    """Return what makes the sheet of rides before and after."""
    from ridelog.report.sheet_pdf import sheet_files

    return sheet_files


def _sheet_of_statement() -> _SheetOf:
    from ridelog.report.stated_sheet import stated_files

    return stated_files


def usable(measured: "Sequence[MeasuredRide | RideLogError]") -> "tuple[MeasuredRide, ...]":
    """Return the rides of one side that could be measured, and tell of the others.

    RideLogError if there is none.
    """
    problems = [each for each in measured if isinstance(each, RideLogError)]
    if len(problems) == len(measured):
        raise problems[0]
    warn(f"{problem} The ride is left out." for problem in problems)
    return tuple(each for each in measured if not isinstance(each, RideLogError))


def stated_speed(speed: str, by: str, within: str | None) -> "StatedSpeed":
    """Return a stated speed; BadParameter if a part of it is missing or cannot be read."""
    from ridelog.analysis.settings import speed_of
    from ridelog.compare.stated import StatedSpeed

    if within is None:
        raise typer.BadParameter(
            "how good the statement is decides what can be said: such as 10 % for a leaflet.",
            param_hint="'--stated-within'",
        )
    share = re.fullmatch(r"(\d{1,2}(?:[.,]\d+)?)\s*%", within.strip())
    try:
        if share is None:
            raise RideLogError(f"{within!r} is no share.", 'write it like "10 %".')
        return StatedSpeed(speed_of(speed), float(share[1].replace(",", ".")) / 100.0, by)
    except RideLogError as error:
        raise typer.BadParameter(str(error), param_hint="'--stated' / '--stated-within'") from error


def against_stated_speed(
    stated: "StatedSpeed", places: list[Path], wanted: Wanted, asked: Asked
) -> None:
    """Hold rides against a stated top speed."""
    from ridelog.workflow.measure import logs_in, measure_rides

    logs, others = logs_in(places, "after", asked.settings.columns)
    warn(f"{name}: no log, left out." for name in others)
    wanted.check(logs)
    with progress("measuring the rides") as report_progress:
        rides = usable(measure_rides(logs, asked.settings, report_progress=report_progress))

    from ridelog.compare.stated import against_stated
    from ridelog.core.units import SPEED_UNITS
    from ridelog.report.compare_json import stated_json
    from ridelog.report.ride_json import to_bytes
    from ridelog.report.stated_words import stated_lines

    unit = SPEED_UNITS[wanted.units.value]
    found = against_stated(stated, rides, noted=wanted.noted_after)
    document = to_bytes(stated_json(found, unit))
    files = wanted.sheet(_sheet_of_statement, found, unit, document)
    lines = stated_lines(found, unit)
    deliver(wanted.json, document, files, logs[0], wanted.force, folder=wanted.out, lines=lines)


def between_modes(names: list[str], places: list[Path], wanted: Wanted, asked: Asked) -> None:
    """Compare two drive modes inside the same logs."""
    from ridelog.workflow.measure import logs_in

    first, second = [*(name.strip() for name in names), "", ""][:2]
    if len(names) != 2 or not places or first == second:
        raise typer.BadParameter(
            'name two drive modes and the logs: --modes eco sport --ride RIDE… --mode "eco=0/60".',
            param_hint="'--modes'",
        )
    logs, others = logs_in(places, "of --ride", asked.settings.columns)
    warn(f"{name}: no log, left out." for name in others)
    wanted.check(logs)

    from ridelog.analysis.ride import analyse, sides_of_modes
    from ridelog.compare.comparison import compare as compare_rides
    from ridelog.core.units import SPEED_UNITS
    from ridelog.report.compare_json import compare_json
    from ridelog.report.compare_words import compare_lines
    from ridelog.report.ride_json import to_bytes

    motions = [motion_of(log, asked.settings.columns) for log in logs]
    each = asked.on_each([motion.track for motion in motions])
    rides: list[MeasuredRide] = []
    for motion, settings in zip(motions, each, strict=True):
        with progress("measuring the modes") as report_progress:
            rides.append(analyse(motion, settings, report_progress=report_progress))
    modes = (first, second)
    unit = SPEED_UNITS[wanted.units.value]
    found = compare_rides(
        *sides_of_modes(rides, modes), unit=unit, modes=modes,
        noted_before=wanted.noted_before, noted_after=wanted.noted_after,
    )  # fmt: skip
    document = to_bytes(compare_json(found))
    files = wanted.sheet(sheet_of_rides, found, unit, document)
    lines = compare_lines(found, unit)
    deliver(wanted.json, document, files, logs[0], wanted.force, folder=wanted.out, lines=lines)
