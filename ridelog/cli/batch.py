"""The command that measures many logs into one table."""

import os
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from urllib.parse import quote

import typer

from ridelog.cli.options import Asked, Force, JsonFile, Units, UnitsOption
from ridelog.cli.terminal import check_places, deliver, progress, shown
from ridelog.core.text import count_words

if TYPE_CHECKING:
    import pandas as pd

    from ridelog.workflow.batch import Counts, Engine, Row

# Machine and set-up stand behind the six columns that every row has.
_BESIDE_GRADE = 6


class PagesOf(StrEnum):
    """Of which rides pages are made."""

    ALL = "all"
    FLAGGED = "flagged"


_FIELD = re.compile(r"\{(machine|setup)\}")


def batch(
    *,
    rides: Annotated[
        list[Path],
        typer.Argument(metavar="FOLDER|RIDE...", help="Folders (with all below them), or logs."),
    ],
    out: Annotated[
        Path, typer.Option(metavar="TABLE", help="The table: a name that ends in .csv or .parquet.")
    ],
    workers: Annotated[
        int | None, typer.Option(min=1, max=256, help="Processes at once; else one a core.")
    ] = None,
    scheduler: Annotated[
        str | None,
        typer.Option(metavar="tcp://HOST:PORT", help="Give the logs to this Dask scheduler."),
    ] = None,
    send: Annotated[
        bool, typer.Option("--send", help="Send each log's bytes: the workers see no such disk.")
    ] = False,
    machine_from: Annotated[
        str | None,
        typer.Option(
            metavar="PATTERN", help="Where the name tells the machine: '{machine}/{setup}/*'."
        ),
    ] = None,
    page: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a page: each machine over time, what drifted."),
    ] = None,
    pages: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Make each ride's page here and link the page to it."),
    ] = None,
    pages_of: Annotated[
        PagesOf,
        typer.Option(help="Make them of all rides, or of machines that --page says to look at."),
    ] = PagesOf.ALL,
    units: UnitsOption = Units.KMH,
    json: JsonFile = None,
    force: Force = False,
    asked: Asked,
) -> None:
    """Measure many logs into one table, each once; run again, it measures only what is new."""
    if workers is not None and scheduler is not None:
        raise typer.BadParameter("the scheduler has its own workers: give one of the two.",
                                 param_hint="'--workers' / '--scheduler'")  # fmt: skip
    if pages is not None and page is None:
        raise typer.BadParameter("only the page of --page links to them: give both.",
                                 param_hint="'--pages'")  # fmt: skip
    named = _naming(machine_from)

    from ridelog.core.units import SPEED_UNITS
    from ridelog.report.fleet_page import fleet_page
    from ridelog.report.ride_json import to_bytes
    from ridelog.workflow.batch import Batch, Cluster, Processes, logs_of
    from ridelog.workflow.batch_pages import make_pages, pages_in
    from ridelog.workflow.batch_table import (
        GrowingTable,
        Journal,
        check_table_place,
        read_table,
        write_table,
    )

    check_table_place(out)
    check_places([page, json], rides[0], force, folder=pages)
    journal = Journal(out)
    growing = GrowingTable(read_table(out))
    growing.add_again(journal.rows())
    logs = [(name, path) for name, path in logs_of(rides) if not _same(path, out)]

    def keep(row: "Row") -> None:
        journal.keep(row)
        growing.add(row)

    engine: Engine = Cluster(scheduler) if scheduler else Processes(workers or os.cpu_count() or 1)
    settings = asked.settings.as_json()
    files: dict[Path, bytes] = {}
    try:
        with journal, _progress(len(logs)) as show:
            run = Batch(growing.known, keep, settings, send)
            run.run(logs, engine, show)
        table = named(growing.frame())
        write_table(out, table)
        journal.remove()
        print(f"Wrote {shown(out)}: {_words(run.counts, len(table))}", file=sys.stderr)
        if page is not None:
            links = {}
            if pages is not None:
                wanted = _wanted(table, pages_of)
                with progress(f"making the pages of {count_words(len(wanted), 'ride')}") as told:
                    made = make_pages(
                        logs, wanted, pages, engine, settings=settings, unit=units.value,
                        send=send, report_progress=lambda made: told(made / len(wanted)),
                    )  # fmt: skip
                print(f"Made {count_words(made, 'page')} in {shown(pages)}", file=sys.stderr)
                links = _links(pages_in(pages, table["sha256"]), page)
            files = {page: fleet_page(table, SPEED_UNITS[units.value], links).encode()}
    finally:
        engine.close()
    counts = {"schema": "ridelog.batch/1", **asdict(run.counts), "rows": len(table)}
    deliver(json, to_bytes(counts), files, rides[0], force)


def _wanted(table: "pd.DataFrame", pages_of: PagesOf) -> set[str]:
    """Return the SHA-256 of the rides whose page is to be made."""
    from ridelog.report.fleet_page import rides_to_look_at

    if pages_of is PagesOf.FLAGGED:
        return rides_to_look_at(table)
    return set(table["sha256"][table["status"] == "measured"])


def _links(made: dict[str, Path], page: Path) -> dict[str, str]:
    """Return the pages of rides as links from another page."""
    return {
        sha256: quote(os.path.relpath(place, page.parent).replace(os.sep, "/"))
        for sha256, place in made.items()
    }


def _words(counts: "Counts", rows: int) -> str:
    new = counts.measured + counts.no_answer + counts.unreadable
    return (
        f"{count_words(rows, 'row')}; {new:,} new ({counts.measured:,} measured, "
        f"{counts.no_answer:,} without an answer, {counts.unreadable:,} unreadable), "
        f"{counts.skipped:,} known before"
    )


def _same(path: Path, table: Path) -> bool:
    return table.exists() and path.samefile(table)


def _naming(pattern: str | None) -> "Callable[[pd.DataFrame], pd.DataFrame]":
    """Return what reads machine and set-up from the file names of a table into columns.

    A name that does not fit leaves what stands there. BadParameter if the pattern names neither.
    """
    if pattern is None:
        return lambda table: table
    if not _FIELD.search(pattern):
        raise typer.BadParameter(
            "it names neither {machine} nor {setup}.", param_hint="'--machine-from'"
        )
    parts = re.split(r"(\{machine\}|\{setup\}|\*)", pattern)
    words = {"{machine}": "(?P<machine>[^/]+?)", "{setup}": "(?P<setup>[^/]+?)", "*": "[^/]*"}
    try:
        read = re.compile("".join(words.get(part) or re.escape(part) for part in parts))
    except re.error as error:
        raise typer.BadParameter(
            "it names one thing twice.", param_hint="'--machine-from'"
        ) from error

    def named(table: "pd.DataFrame") -> "pd.DataFrame":
        found = [read.fullmatch(str(file).replace(os.sep, "/")) for file in table["file"]]
        table = table.copy()  # in one piece again, for columns are put between others
        for at, name in enumerate(("machine", "setup")):
            before = table[name] if name in table else [""] * len(table)
            told = [(one.groupdict().get(name) if one else "") or "" for one in found]
            filled = [new or old or "" for new, old in zip(told, before, strict=True)]
            if name in table:
                table.pop(name)
            table.insert(_BESIDE_GRADE + at, name, filled)
        return table

    return named


@contextmanager
def _progress(logs: int) -> "Iterator[Callable[[Counts, float], None]]":
    """Show how far a batch is, its rate, and the time left, on standard error."""
    if not sys.stderr.isatty():
        yield lambda counts, since_s: None
        return
    from rich.console import Console
    from rich.live import Live

    with Live(console=Console(stderr=True), transient=True) as live:

        def show(counts: "Counts", since_s: float) -> None:
            new = counts.measured + counts.no_answer + counts.unreadable
            left = max(0, logs - new - counts.skipped)
            minutes = left * since_s / max(new, 1) / 60.0
            rate = new / max(since_s, 1e-9)
            live.update(f"{new + counts.skipped:,} of {logs:,} logs, {rate:.2f} a second, "
                        f"about {minutes:.0f} min left")  # fmt: skip

        yield show
