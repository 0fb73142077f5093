"""The commands about two sets of rides: compare them, and verify a result later."""

from pathlib import Path
from typing import Annotated

import typer

from ridelog.cli.compare_others import (
    SHEET,
    Wanted,
    against_stated_speed,
    between_modes,
    sheet_of_rides,
    stated_speed,
    usable,
)
from ridelog.cli.options import Asked, Force, JsonFile, Units, UnitsOption, takes, words_of
from ridelog.cli.papers import (
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
from ridelog.core.errors import RideLogError

# What holds for every ride of a comparison.
SHARED = ("windows", "rollout_m", "adult_rider", "columns")


def compare(
    *,
    before: Annotated[
        list[Path] | None,
        takes("RIDE...", "Logs of the rides before the change, or a folder of them."),
    ] = None,
    after: Annotated[
        list[Path] | None, takes("RIDE...", "Logs of the rides after it, or a folder of them.")
    ] = None,
    modes: Annotated[
        list[str] | None,
        takes("A B", "In place of before and after: two drive modes of --ride, named by --mode."),
    ] = None,
    ride: Annotated[
        list[Path] | None, takes("RIDE...", "With --modes: logs that hold both drive modes.")
    ] = None,
    stated: Annotated[
        str | None,
        takes("SPEED", 'In place of rides before: the top speed that was stated, "14 km/h".'),
    ] = None,
    stated_by: Annotated[str, takes("WHO", "Who stated it, such as the maker's leaflet.")] = "",
    stated_within: Annotated[
        str | None, takes("SHARE", 'How good the statement is, such as "10 %".')
    ] = None,
    out: Annotated[
        Path | None,
        takes(
            "DIR", "Write the owner's sheet (sheet.html, sheet.pdf), result.json and measures.csv."
        ),
    ] = None,
    units: UnitsOption = Units.KMH,
    json: JsonFile = None,
    noted_before: Annotated[
        list[str] | None,
        takes(
            "WHAT=HOW...",
            "What you noted before, such as rider=Ida battery=full; compared with after.",
        ),
    ] = None,
    noted_after: Annotated[
        list[str] | None,
        takes(
            "WHAT=HOW...",
            "The same for the rides after; machine=, change=, done=, price=, hours= and open= "
            "stand on the sheet.",
        ),
    ] = None,
    aim: AimOption = None,
    workshop: WorkshopOption = "",
    contact: ContactOption = "",
    logo: LogoOption = None,
    note: NoteOption = "",
    paper: PaperOption = Paper.A4,
    smoothed: Annotated[
        Path | None,
        takes("DIR", "Write each smoothed ride as GPX here. These files hold coordinates."),
    ] = None,
    setup_before: Annotated[
        Path | None, takes("SETUP", "Set-up of the machine before, with --setup-after.")
    ] = None,
    setup_after: Annotated[
        Path | None, takes("SETUP", "Set-up after: was the change as its rides before predict?")
    ] = None,
    force: Force = False,
    asked: Asked,
) -> None:
    """Say what a change did to the machine: rides before against rides after."""
    from ridelog.cli.machine import both_setups
    from ridelog.workflow.measure import logs_in, measure_rides

    with words_of("--noted-before"):
        first = _notes(noted_before or [])
    with words_of("--noted-after"):
        second = _notes(noted_after or [])
    head = asked_letterhead(workshop, contact, logo)
    wanted = Wanted(units, json, out, force, head, note, aim, paper, first, second)
    if modes or ride or asked.by_clock.get("modes_s"):
        if before or after or stated or smoothed or setup_before or setup_after:
            raise typer.BadParameter(
                "two drive modes are compared inside the same logs, without rides before or after.",
                param_hint="'--modes'",
            )
        between_modes(modes or [], ride or [], wanted, asked)
        return
    if after is None:
        raise typer.BadParameter("give the rides after the change.", param_hint="'--after'")
    if (before is None) == (stated is None):
        raise typer.BadParameter(
            "give the rides before, or the top speed that was stated.",
            param_hint="'--before' / '--stated'",
        )
    if stated is not None:
        if smoothed is not None or setup_before or setup_after:
            raise typer.BadParameter(
                "smoothed rides and predictions need rides before.", param_hint="'--stated'"
            )
        against_stated_speed(stated_speed(stated, stated_by, stated_within), after, wanted, asked)
        return
    assert before is not None
    setups = both_setups(setup_before, setup_after)
    logs: dict[str, list[Path]] = {}
    for side, places in (("before", before), ("after", after)):
        logs[side], others = logs_in(places, side, asked.settings.columns)
        warn(f"{name}: no log, left out." for name in others)
    every = [*logs["before"], *logs["after"]]
    tracks = _smoothed_names(smoothed, every)
    sheet = [out / name for name in (*SHEET, *(_FORETOLD if setups else ()))] if out else []
    for log in every:
        check_places([json, *sheet], log, force, folder=out)
        if smoothed is not None:
            check_places(list(tracks.values()), log, force, folder=smoothed)
    with progress("measuring the rides") as report_progress:
        measured = measure_rides(every, asked.settings, report_progress=report_progress)
    cut = len(logs["before"])
    sides = usable(measured[:cut]), usable(measured[cut:])
    for found in (*sides[0], *sides[1]):
        warn(f"{found.name}: {warning}" for warning in found.warnings)

    from ridelog.compare.comparison import compare as compare_rides
    from ridelog.compare.noted import with_open
    from ridelog.core.units import SPEED_UNITS
    from ridelog.report.compare_json import compare_json
    from ridelog.report.compare_words import compare_lines
    from ridelog.report.ride_json import to_bytes

    unit = SPEED_UNITS[units.value]
    second = with_open(second, setups[1:] if setups else ())
    comparison = compare_rides(
        *sides, unit=unit, noted_before=first, noted_after=second, setups=setups
    )
    document = to_bytes(compare_json(comparison))
    files = wanted.sheet(sheet_of_rides, comparison, unit, document)
    if smoothed is not None:
        from ridelog.report.sheet_pdf import gpx_files

        smooth = {
            name: each
            for name, each in zip(tracks, measured, strict=True)
            if not isinstance(each, RideLogError)
        }
        exports = {tracks[name]: data for name, data in gpx_files(smooth).items()}
        deliver(None, b"", exports, every[0], force, folder=smoothed)
        warn(("the smoothed rides hold coordinates: they show where the rides were made.",))
    lines = compare_lines(comparison, unit)
    deliver(json, document, files, every[0], force, folder=out, lines=lines)


_FORETOLD = ("predicted.json", "predicted.png")


def verify(
    result: Annotated[
        Path,
        typer.Argument(
            metavar="RESULT.json",
            help="A result that report, signal or compare wrote.",
            show_default=False,
        ),
    ],
    logs: Annotated[Path, takes("DIR", "The folder of its logs; they are found by their SHA-256.")],
    json: JsonFile = None,
    force: Force = False,
) -> None:
    """Compute a result again from its logs; fail with the names of the figures that differ."""
    check_places([json], result, force)

    from ridelog.report.ride_json import to_bytes
    from ridelog.workflow.verify import failure_of, verification_json, verification_lines
    from ridelog.workflow.verify import verify as verify_result

    with progress("verifying") as report_progress:
        found = verify_result(result, logs=logs, report_progress=report_progress)
    lines = verification_lines(found)
    deliver(json, to_bytes(verification_json(found)), {}, result, force, lines=lines)
    if not found.same:
        raise failure_of(found)


def _smoothed_names(folder: Path | None, logs: list[Path]) -> dict[str, Path]:
    """Return where each smoothed ride goes, by a key of its own; equal names get a number."""
    places: dict[str, Path] = {}
    for number, log in enumerate(logs):
        stem = log.name.split(".")[0] or "ride"
        place = (folder or Path()) / f"{stem}-smoothed.gpx"
        if place in places.values():
            place = place.with_name(f"{stem}-{number + 1}-smoothed.gpx")
        places[str(number)] = place
    return places


def _notes(words: list[str]) -> dict[str, str]:
    """Return notes given as WHAT=HOW."""
    notes: dict[str, str] = {}
    for word in words:
        what, equals, how = word.partition("=")
        if not equals or not what.strip() or not how.strip():
            raise RideLogError(
                f"{word!r}: a note has the form WHAT=HOW.", "write it like rider=Ida."
            )
        notes[what.strip().lower()] = how.strip()
    return notes
