"""The command that lays options before the owner, side by side."""

from pathlib import Path
from typing import Annotated

import typer

from ridelog.cli.conditions import (
    AtOption,
    BelieveOption,
    ChargeOption,
    NotedOption,
    SlopeOption,
    SurfaceOption,
    VoltsOption,
    WindowOption,
    asked_conditions,
    asked_windows,
    conditions_of_pack,
    noted_in_book,
    rides_measured,
)
from ridelog.cli.machine import SetupPath
from ridelog.cli.options import (
    Asked,
    Columns,
    CsvFile,
    Force,
    JsonFile,
    Units,
    UnitsOption,
    read_columns,
    takes,
)
from ridelog.cli.papers import (
    PAPERS,
    AimOption,
    ContactOption,
    LogoOption,
    NoteOption,
    Paper,
    PaperOption,
    WorkshopOption,
    asked_letterhead,
)
from ridelog.cli.terminal import check_places, deliver, progress, warn


def options(
    *,
    setup: SetupPath,
    choices: Annotated[
        Path,
        typer.Argument(
            metavar="OPTIONS.toml",
            help="Two to six changes: [[option]] with name, price, hours, note, change.",
            show_default=False,
        ),
    ],
    ride: Annotated[
        list[Path] | None, takes("RIDE...", "Logs of rides on the machine as the file says.")
    ] = None,
    window: WindowOption = None,
    slope: SlopeOption = None,
    surface: SurfaceOption = None,
    charge: ChargeOption = None,
    volts: VoltsOption = None,
    book: NotedOption = None,
    at: AtOption = None,
    believe: BelieveOption = None,
    aim: AimOption = None,
    units: UnitsOption = Units.KMH,
    columns: Columns = None,
    json: JsonFile = None,
    csv: CsvFile = None,
    out: Annotated[
        Path | None,
        takes("DIR", "Write options.html, options.pdf (one page), options.png, options.json."),
    ] = None,
    workshop: WorkshopOption = "",
    contact: ContactOption = "",
    logo: LogoOption = None,
    note: NoteOption = "",
    paper: PaperOption = Paper.A4,
    force: Force = False,
    asked: Asked,
) -> None:
    """Lay two to six changes side by side for the owner to decide between."""
    from ridelog.machine.options_file import read_options
    from ridelog.machine.setup_check import contradictions
    from ridelog.machine.setup_file import read_setup

    windows = asked_windows(window)
    conditions = asked_conditions(slope, surface, at)
    which = read_columns(columns)
    head = asked_letterhead(workshop, contact, logo)
    places = [json, csv, *([out / name for name in _NAMES] if out else [])]
    for log in [setup, choices, *(ride or [])]:
        check_places(places, log, force, folder=out)
    known = read_setup(setup)
    conditions = conditions_of_pack(conditions, known, charge, volts, believe)
    conditions = noted_in_book(conditions, known, book, ride or [])
    currency, listed = read_options(choices)
    warn(doubt.text for doubt in contradictions(known))

    from ridelog.machine.options import changes_of

    # What cannot be is said before the rides are read, not after.
    changes_of(known, listed)

    from ridelog.analysis.settings import Settings
    from ridelog.compare.predicted import options_from
    from ridelog.core.units import SPEED_UNITS
    from ridelog.report.figures_csv import options_csv
    from ridelog.report.options_json import options_json
    from ridelog.report.options_screen import options_lines
    from ridelog.report.ride_json import to_bytes

    unit = SPEED_UNITS[units.value]
    settings = Settings(
        windows=tuple(window or []),
        has_reverse=known.has_reverse,
        adult_rider=bool(known.adult_rider),
        columns=which,
    )
    (rides,) = rides_measured([ride or []], settings, asked, known.mode)
    with progress("predicting the options"):
        found = options_from(
            known, rides, listed, unit, windows=windows, currency=currency, conditions=conditions
        )
    told = options_json(found, rides, unit)
    document, table = to_bytes(told), (csv, options_csv(told) if csv else b"")
    files: dict[Path, bytes] = {}
    if out is not None:
        from ridelog.report.options_page import options_files

        with progress("drawing the page"):
            made, lacking = options_files(
                found, rides, unit, document,
                aim=aim, letterhead=head, note=note, paper=PAPERS[paper],
            )  # fmt: skip
        warn((lacking,) if lacking else ())
        files = {out / name: data for name, data in made.items()}
    lines = options_lines(found, unit, aim)
    deliver(json, document, files, setup, force, folder=out, lines=lines, table=table)


# As ``report.options_page`` has them; looked at before anything heavy is loaded.
_NAMES = ("options.html", "options.pdf", "options.png", "options.json")
