"""The commands about a machine's set-up: write one, check one, predict the next change."""

import sys
from pathlib import Path
from typing import Annotated

import typer

setup_app = typer.Typer(
    name="setup",
    help="Write and check the file that describes a machine in one state.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
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
    force: Annotated[bool, typer.Option("--force", help="Replace a file that is there.")] = False,
    blank: Annotated[
        bool, typer.Option("--blank", help="Ask nothing: write all keys as comments to fill in.")
    ] = False,
) -> None:
    """Ask for everything about a machine in order, and write its set-up file."""
    from ridelog.errors import SetupError
    from ridelog.machine.setup import MachineSetup
    from ridelog.machine.setup_questions import ask_setup, setup_text
    from ridelog.report.output import check_free, write_files

    check_free([setup], force=force)
    if blank:
        answers = MachineSetup()
    else:
        print("Press Enter for what you do not know: it stays unknown.", file=sys.stderr)
        try:
            answers = ask_setup(_ask, _tell)
        except EOFError as error:
            raise SetupError(
                f"{setup}: the answers ended before the questions; nothing was written.",
                "answer every question, with an empty line for what is not known, or use --blank.",
            ) from error
    write_files({setup: setup_text(answers).encode()}, force=force)
    print(f"Wrote {setup}", file=sys.stderr)
    _say_doubts(answers)


@setup_app.command()
def check(setup: SetupPath) -> None:
    """Tell every key that cannot be, and every contradiction; leave with 1 if there is one."""
    from ridelog.errors import SetupError
    from ridelog.machine.setup_check import contradictions
    from ridelog.machine.setup_file import problems_in, read_setup

    problems = problems_in(setup)
    if not problems:
        known = read_setup(setup).setup
        problems = [doubt.text for doubt in contradictions(known)]
        if not problems:
            print(f"{setup.name}: {len(known.given())} keys given, no contradiction found.")
            return
    for problem in problems:
        print(problem)
    count = len(problems)
    raise SetupError(
        f"{setup.name}: {count} {'thing is' if count == 1 else 'things are'} wrong in the set-up.",
        "settle each sentence above; nothing was changed in the file.",
    )


def _say_doubts(setup: object) -> None:
    from ridelog.machine.setup import MachineSetup
    from ridelog.machine.setup_check import contradictions

    assert isinstance(setup, MachineSetup)
    for doubt in contradictions(setup):
        print(f"Warning: {doubt.text}", file=sys.stderr)


def _ask(question: str) -> str:
    # Questions go where warnings go, so that standard output stays free of them.
    sys.stderr.write(question)
    sys.stderr.flush()
    line = sys.stdin.readline()
    if not line:
        raise EOFError
    return line


def _tell(line: str) -> None:
    print(line, file=sys.stderr)
