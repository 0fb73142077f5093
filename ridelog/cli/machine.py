"""The commands about a machine's set-up: write one, check one, predict the next change."""

import sys
from dataclasses import replace
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Annotated

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
from ridelog.cli.options import (
    Asked,
    Columns,
    CsvFile,
    Force,
    JsonFile,
    Units,
    UnitsOption,
    command_group,
    read_columns,
    takes,
    words_of,
)
from ridelog.cli.papers import (
    PAPERS,
    ContactOption,
    LogoOption,
    NoteOption,
    Paper,
    PaperOption,
    WorkshopOption,
    asked_letterhead,
)
from ridelog.cli.terminal import check_places, deliver, warn
from ridelog.core.errors import RideLogError, SetupError
from ridelog.core.text import count_words

if TYPE_CHECKING:
    from ridelog.machine.setup import MachineSetup

setup_app = command_group(
    "setup", "Write and check the file that describes a machine in one state."
)

SetupPath = Annotated[
    Path,
    typer.Argument(
        metavar="SETUP", help="The set-up: a TOML file, one machine and state.", show_default=False
    ),
]


@setup_app.command()
def new(
    setup: SetupPath,
    force: Force = False,
    blank: Annotated[
        bool, typer.Option("--blank", help="Ask nothing: write all keys as comments to fill in.")
    ] = False,
) -> None:
    """Ask for everything about a machine in order, and write its set-up file."""
    from ridelog.machine.setup import MachineSetup
    from ridelog.machine.setup_check import contradictions
    from ridelog.machine.setup_file import ask_setup, setup_text
    from ridelog.present.files import check_free, write_files

    check_free([setup], force=force)
    if blank:
        answers = MachineSetup()
    else:
        print("Press Enter for what you do not know: it stays unknown.", file=sys.stderr)
        try:
            answers = ask_setup(_ask, lambda line: print(line, file=sys.stderr))
        except EOFError as error:
            raise SetupError(
                f"{setup}: the answers ended before the questions; nothing was written.",
                "answer every question, with an empty line for what is not known, or use --blank.",
            ) from error
    write_files({setup: setup_text(answers).encode()}, force=force)
    print(f"Wrote {setup}", file=sys.stderr)
    warn(doubt.text for doubt in contradictions(answers))


@setup_app.command()
def check(setup: SetupPath) -> None:
    """Tell every key that cannot be, and every contradiction; leave with 1 if there is one."""
    from ridelog.machine.electrics import electrical_sheet
    from ridelog.machine.setup_check import contradictions, dangers
    from ridelog.machine.setup_file import problems_in, read_setup

    problems = problems_in(setup)
    if not problems:
        known = read_setup(setup)
        sheet = electrical_sheet(known)
        problems = [doubt.text for doubt in contradictions(known)]
        problems += [
            f"{line.name}: {line.text} ({line.source})"
            for line in sheet
            if line.state == "contradicts" and not line.elsewhere
        ]
        warn(f"Danger: {doubt.text}" for doubt in dangers(known))
        if not problems:
            print(f"{setup.name}: {len(known.given())} keys given, no contradiction found.")
            for state in ("confirmed", "not confirmed"):
                names = [line.name for line in sheet if line.state == state]
                print(
                    "\n".join(wrap(f"{state.capitalize()}: {', '.join(names) or 'nothing'}.", 80))
                )
            return
    for problem in problems:
        print(problem)
    words = count_words(len(problems), "thing is", "things are")
    raise SetupError(
        f"{setup.name}: {words} wrong in the set-up.",
        "settle each sentence above; nothing was changed in the file.",
    )


def _ask(question: str) -> str:
    # Questions go where warnings go, so that standard output stays free of them.
    sys.stderr.write(question)
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    return line


def predict(
    *,
    setup: SetupPath,
    ride: Annotated[
        list[Path] | None, takes("RIDE...", "Logs of rides on the machine as the file says.")
    ] = None,
    change: Annotated[
        list[str] | None, takes("KEY=VALUE...", "What is changed, such as front_teeth=10.")
    ] = None,
    sweep: Annotated[
        str | None, takes("KEY=A:B", "Try one key at several values: front_teeth=9:13.")
    ] = None,
    ridden: Annotated[
        list[Path] | None,
        takes("RIDE...", "Logs of rides after the change: is what they show as predicted?"),
    ] = None,
    window: WindowOption = None,
    slope: SlopeOption = None,
    surface: SurfaceOption = None,
    charge: ChargeOption = None,
    volts: VoltsOption = None,
    book: NotedOption = None,
    at: AtOption = None,
    believe: BelieveOption = None,
    units: UnitsOption = Units.KMH,
    columns: Columns = None,
    json: JsonFile = None,
    csv: CsvFile = None,
    out: Annotated[
        Path | None,
        takes(
            "DIR",
            "Write prediction.html, prediction.pdf (one page), its pictures and prediction.json.",
        ),
    ] = None,
    price: Annotated[
        float | None, takes("AMOUNT", "What the change costs, such as 39.60, with --currency.")
    ] = None,
    hours: Annotated[float | None, takes("HOURS", "Hours of work, such as 1.5.")] = None,
    currency: Annotated[str, takes("WORD", "Of the price, such as EUR.")] = "",
    workshop: WorkshopOption = "",
    contact: ContactOption = "",
    logo: LogoOption = None,
    note: NoteOption = "",
    paper: PaperOption = Paper.A4,
    force: Force = False,
    asked: Asked,
) -> None:
    """Say what a change would do to the machine, and what else it would break."""
    from ridelog.machine.change import changed, parse_change, parse_sweep
    from ridelog.machine.cost import checked_cost
    from ridelog.machine.setup_check import contradictions
    from ridelog.machine.setup_file import read_setup

    with words_of("--change"):
        wanted = dict(parse_change(text) for text in change or [])
        if not (wanted or sweep or slope or surface or charge or at):
            raise RideLogError(
                "nothing is to be changed.",
                "add --change KEY=VALUE or --sweep KEY=A:B, or ask for other conditions: --slope, "
                "--surface, --charge, --at.",
            )
        if not wanted and ridden:
            raise RideLogError(
                "rides after a change are given, but no change.", "add --change KEY=VALUE."
            )
    with words_of("--sweep"):
        swept = parse_sweep(sweep) if sweep else None
    with words_of("--price", "--hours", "--currency"):
        cost = checked_cost(price, hours, currency)
    which = read_columns(columns)
    head = asked_letterhead(workshop, contact, logo)
    windows = asked_windows(window)
    conditions = asked_conditions(slope, surface, at)
    names = ("prediction.html", "prediction.pdf", "prediction.json", "pull.png", "sweep.png")
    places = [json, csv, *([out / name for name in names] if out else [])]
    for log in [setup, *(ride or []), *(ridden or [])]:
        check_places(places, log, force, folder=out)
    known = read_setup(setup)
    conditions = conditions_of_pack(conditions, known, charge, volts, believe)
    conditions = noted_in_book(conditions, known, book, ride or [])
    # What cannot be is said before the rides are read, not after.
    changed(known, wanted)
    for key, values in [swept] if swept else []:
        for value in values:
            changed(known, {**wanted, key: value})
    warn(doubt.text for doubt in contradictions(known))

    from ridelog.analysis.settings import Settings
    from ridelog.compare.comparison import compare, predicted_change
    from ridelog.compare.predicted import measured_after, predict_from
    from ridelog.core.units import SPEED_UNITS
    from ridelog.report.figures_csv import predict_csv
    from ridelog.report.predict_json import predict_json
    from ridelog.report.predict_words import predict_lines
    from ridelog.report.ride_json import to_bytes

    unit = SPEED_UNITS[units.value]
    settings = Settings(
        windows=tuple(window or []),
        has_reverse=known.has_reverse,
        adult_rider=bool(known.adult_rider),
        columns=which,
    )
    before, later = rides_measured([ride or [], ridden or []], settings, asked, known.mode)
    for found in before:
        if not found["launches"].launches:
            warn((f"{found.name}: no standing start was found in this ride.",))
    after = None
    if before and later:
        # As a comparison of the same rides has it, figure by figure.
        compared = compare(before, later, unit=unit)
        told = predicted_change(
            compared, known, wanted, windows=windows, sweep=swept, conditions=conditions
        )
        prediction, after = told.prediction, told.after
    else:
        prediction = predict_from(
            known, before, wanted, unit, windows=windows, sweep=swept, conditions=conditions
        )
        after = measured_after(later) if later else None
    prediction = replace(prediction, cost=cost)
    made = predict_json(prediction, after)
    document, table = to_bytes(made), (csv, predict_csv(made) if csv else b"")
    files: dict[Path, bytes] = {}
    if out is not None:
        from ridelog.report.predict_page import predict_page
        from ridelog.report.predict_pdf import predict_pdf
        from ridelog.report.predict_plot import predict_pictures

        pictures = predict_pictures(prediction, unit, after)
        page = predict_page(prediction, pictures, unit, after, head, note)
        files[out / "prediction.html"] = page.encode("utf-8", errors="replace")
        files |= {out / f"{picture.name}.png": picture.png for picture in pictures}
        files[out / "prediction.json"] = document
        pdf, lacking = predict_pdf(
            prediction, unit, document, before, after,
            letterhead=head, note=note, paper=PAPERS[paper],
        )  # fmt: skip
        warn((lacking,) if lacking else ())
        files[out / "prediction.pdf"] = pdf
    lines = predict_lines(prediction, unit, after)
    deliver(json, document, files, setup, force, folder=out, lines=lines, table=table)


def both_setups(
    before: Path | None, after: Path | None
) -> "tuple[MachineSetup, MachineSetup] | None":
    """Return the set-ups of both states, None without any.

    SetupError if one of the two is missing, cannot be read, or the change between them cannot be.
    """
    if before is None and after is None:
        return None
    from ridelog.machine.change import changed, changes_between
    from ridelog.machine.setup_file import read_setup

    if before is None or after is None:
        with words_of("--setup-before", "--setup-after"):
            raise RideLogError("only one set-up is given.", "give both, or neither.")
    old, new = read_setup(before), read_setup(after)
    asked = changes_between(old, new)
    if not asked:
        raise SetupError(
            f"{before.name} and {after.name} describe the same machine.",
            "write what was changed into the second one.",
        )
    changed(old, asked)
    return old, new
