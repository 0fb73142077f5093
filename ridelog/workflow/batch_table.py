"""The table of many rides: read, grown row by row, and written whole."""

import io
import json
from collections.abc import Iterable
from pathlib import Path

import pandas as pd

from ridelog.core.errors import OutputError, RideLogError
from ridelog.core.text import clean
from ridelog.present.files import write_files
from ridelog.workflow.batch import Batch, Engine, OneByOne, Processes, Row, logs_of

FIRST_COLUMNS = ("sha256", "file", "status", "reason", "start_utc", "grade")
_KEYS = {"sha256", "file", "status"}
_TEXT = {name: str for name in FIRST_COLUMNS}


def frame_of(rows: Iterable[Row], also: tuple[str, ...] = ()) -> pd.DataFrame:
    """Return the table of rows, in the order of the files' names.

    Columns are FIRST_COLUMNS, ``also`` where there are any, then NAME_value, NAME_low, NAME_high in
    the order in which the figures were met; numbers in SI units, NaN where a ride has none.
    """
    ordered = sorted(rows, key=lambda row: (str(row["file"]), str(row["sha256"])))
    first = [*FIRST_COLUMNS, *also]
    names = dict.fromkeys(name for row in ordered for name in row if name not in first)
    table = pd.DataFrame.from_records(ordered, columns=[*first, *names])
    return table.astype({name: float for name in names})


def read_table(place: Path) -> list[Row]:
    """Return the rows of a table that ``write_table`` wrote, none if there is no such file.

    RideLogError if the file is something else.
    """
    if not place.exists():
        return []
    try:
        if place.suffix == ".parquet":
            _need_parquet()
            table = pd.read_parquet(place)
        else:
            table = pd.read_csv(place, dtype=_TEXT, keep_default_na=False, na_values={})
            numbers = [name for name in table.columns if name.endswith(("_value", "_low", "_high"))]
            table[numbers] = table[numbers].apply(pd.to_numeric)
    except (OSError, ValueError) as error:
        raise _no_table(place) from error
    if not set(table.columns) >= _KEYS:
        raise _no_table(place)
    return [
        {
            str(name): None if pd.isna(value) or (value == "" and name in ("start_utc", "grade"))
            else value
            for name, value in row.items()
        }
        for row in table.to_dict("records")
    ]  # fmt: skip


def write_table(place: Path, table: pd.DataFrame) -> None:
    """Write a table as CSV or Parquet, as the file's name says; it appears whole or not at all.

    RideLogError if Parquet is asked for without pyarrow, OutputError if it cannot be written.
    """
    buffer = io.BytesIO()
    if place.suffix == ".parquet":
        _need_parquet()
        table.to_parquet(buffer, index=False)
    else:
        table.to_csv(buffer, index=False)
    write_files({place: buffer.getvalue()}, force=True)


def check_table_place(place: Path) -> None:
    """Fail before the work if the table could not be written.

    RideLogError if the name says neither CSV nor Parquet, or Parquet cannot be written here.
    """
    if place.suffix not in (".csv", ".parquet"):
        raise RideLogError(
            f"{clean(str(place))}: the name does not say what table it is.",
            "let it end in .csv or .parquet.",
        )
    if place.suffix == ".parquet":
        _need_parquet()
    if not place.parent.is_dir():
        raise OutputError(
            f"{clean(str(place))}: there is no folder {clean(str(place.parent))}.",
            "make the folder first, or choose another place.",
        )


def _need_parquet() -> None:
    try:
        import pyarrow  # noqa: F401  # pandas needs it for this format
    except ImportError as error:
        raise RideLogError(
            "a Parquet table needs the package pyarrow, which is not installed.",
            "install it with pip install 'ridelog[fleet]', or write a .csv table.",
        ) from error


def _no_table(place: Path) -> RideLogError:
    return RideLogError(
        f"{clean(str(place))}: this file is no table of rides and is left as it was.",
        "choose another name with --out.",
    )


class Journal:
    """New rows of a table, a line of JSON each, until the table is written whole."""

    def __init__(self, table: Path) -> None:
        self.path = table.with_name(f"{table.name}.part.jsonl")

    def rows(self) -> list[Row]:
        """Return the rows of a run that was cut off; a last line that is not whole is left out."""
        found: list[Row] = []
        try:
            text = self.path.read_text(encoding="utf-8", errors="replace")
        except FileNotFoundError:
            return found
        for line in text.splitlines():
            try:
                row = json.loads(line)
            except ValueError:
                continue
            if isinstance(row, dict) and {"sha256", "file", "status"} <= set(row):
                found.append(row)
        return found

    def __enter__(self) -> "Journal":
        self._file = self.path.open("a", encoding="utf-8")
        self._file.write("\n")  # ends a line that a kill cut off
        return self

    def __exit__(self, *error: object) -> None:
        self._file.close()

    def keep(self, row: Row) -> None:
        """Write a row down at once."""
        self._file.write(json.dumps(row, allow_nan=False) + "\n")
        self._file.flush()

    def remove(self) -> None:
        """Forget the rows: the table has them."""
        self.path.unlink(missing_ok=True)


def batch(paths: Iterable[str | Path], *, workers: int = 1) -> pd.DataFrame:
    """Return the table of many rides: a row a log, with every figure that may be named.

    Parameters
    ----------
    paths : iterable of str or Path
        Logs, and folders with all below them.
    workers : int
        Processes at once; more than one only below ``if __name__ == "__main__":``, since each
        of them reads the program again.

    Returns
    -------
    DataFrame
        Columns as ``frame_of`` has them, SI units.

    Raises
    ------
    RideLogError
        If a place does not exist; a log that gives no answer is a row with its reason.
    """
    run = Batch({}, lambda row: None)
    engine: Engine = OneByOne() if workers == 1 else Processes(workers)
    try:
        run.run(logs_of(Path(path) for path in paths), engine)
    finally:
        engine.close()
    return frame_of(run.known.values())
