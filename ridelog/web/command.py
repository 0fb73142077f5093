"""The command that opens the workshop page."""

from pathlib import Path
from typing import Annotated

import typer


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command()(serve)


def serve(
    book: Annotated[
        Path | None,
        typer.Option(
            "--book", metavar="DIR", help="The book's folder; else the usual place for user data."
        ),
    ] = None,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port to listen on; 0 takes any free one.")
    ] = 8437,
    lan: Annotated[
        bool,
        typer.Option("--lan", help="Let telephones of the same network in, with a one-time code."),
    ] = False,
) -> None:
    """Open the workshop page on this machine: drop logs, read figures, compare."""
    from ridelog.web.serve import serve as open_page

    open_page(book, port=port, lan=lan)
