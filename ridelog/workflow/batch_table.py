"""The table of many rides: read, grown row by row, and written whole."""

import io
import json
from collections.abc import Iterable, Iterator
from pathlib import Path

import pandas as pd

from ridelog.core.errors import OutputError, RideLogError
from ridelog.core.text import clean
from ridelog.present.files import write_files
from ridelog.workflow.batch import Batch, Engine, OneByOne, Processes, Row, logs_of

FIRST_COLUMNS = ("sha256", "file", "status", "reason", "start_utc", "grade")
PARTS = ("value", "low", "high")
_ENDINGS = tuple(f"_{part}" for part in PARTS)
_KEYS = {"sha256", "file", "status"}
# Rows are packed by so many: a row as a dict is some ten times as large as in a table.
_PACKED_ROWS = 500
_TEXT = {name: str for name in (*FIRST_COLUMNS, "machine", "setup")}


def frame_of(rows: Iterable[Row]) -> pd.DataFrame:
    """Return the table of rows, in the order of the files' names.

    Columns are FIRST_COLUMNS, others that are no figures, then NAME_value, NAME_low, NAME_high in
    the order of the figures' names, windows last; numbers in SI units, NaN where a ride has none.
    """
    return _in_order([pd.DataFrame.from_records(list(rows))])


def _in_order(parts: list[pd.DataFrame]) -> pd.DataFrame:
    """Return one table of several, whose rows and columns do not tell in which order they came."""
    names = dict.fromkeys(str(name) for part in parts for name in part)
    numbers = sorted((name for name in names if name.endswith(_ENDINGS)), key=_place)
    words = list(dict.fromkeys([*FIRST_COLUMNS, *(n for n in names if n not in numbers)]))
    whole = [
        part.reindex(columns=[*words, *numbers]).astype({name: float for name in numbers})
        for part in parts
        if len(part)
    ]
    table = pd.concat(whole) if whole else pd.DataFrame(columns=[*words, *numbers])
    said = table[words].astype(object)
    told = pd.concat([said.where(said.notna(), None), table[numbers]], axis=1)
    return told.sort_values(["file", "sha256"], ignore_index=True)


def _place(column: str) -> tuple[bool, str, int]:
    name, _, part = column.rpartition("_")
    return name[:1].isdigit(), name, PARTS.index(part) if part in PARTS else 0


def read_table(place: Path) -> pd.DataFrame:
    """Return the table that ``write_table`` wrote, without rows if there is no such file.

    RideLogError if the file is something else.
    """
    if not place.exists():
        return frame_of([])
    try:
        if place.suffix == ".parquet":
            _need_parquet()
            table = pd.read_parquet(place)
        else:
            names = pd.read_csv(place, nrows=0).columns
            # Python's own reading of numbers is exact, whatever a version of pandas thinks fast.
            exact = {name: _number for name in names if name.endswith(_ENDINGS)}
            table = pd.read_csv(
                place, dtype=_TEXT, keep_default_na=False, na_values={}, converters=exact
            )
            blank = ["start_utc", "grade"]
            table[blank] = table[blank].astype(object).replace("", None)
    except (OSError, ValueError, KeyError) as error:
        raise _no_table(place) from error
    if not set(table.columns) >= _KEYS:
        raise _no_table(place)
    return _in_order([table])


class GrowingTable:
    """A table to which rows are added; they lie packed, so that a hundred thousand need little.

    Attributes
    ----------
    known : SHA-256 of every log that has its row, but of those that could not be opened: they are
        tried again.
    """

    def __init__(self, old: pd.DataFrame) -> None:
        kept = old[old["sha256"] != ""]
        self._parts, self._rows = [kept], list[Row]()
        self.known: set[str] = set(kept["sha256"])

    def add(self, row: Row) -> None:
        """Add a row."""
        self._rows.append(row)
        if len(self._rows) == _PACKED_ROWS:
            self._pack()

    def add_again(self, rows: Iterable[Row]) -> None:
        """Add the rows of a run that was cut off, each once."""
        for row in rows:
            if row["sha256"] and row["sha256"] not in self.known:
                self.known.add(row["sha256"])
                self.add(row)

    def frame(self) -> pd.DataFrame:
        """Return the whole table, as ``frame_of`` has it."""
        self._pack()
        return _in_order(self._parts)

    def _pack(self) -> None:
        part = pd.DataFrame.from_records(self._rows)
        self._parts.append(part.astype({n: float for n in part if str(n).endswith(_ENDINGS)}))
        self._rows.clear()


def _number(word: str) -> float:
    return float(word or "nan")


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

    def rows(self) -> Iterator[Row]:
        """Yield the rows of a run that was cut off; a last line that is not whole is left out."""
        if not self.path.exists():
            return
        with self.path.open(encoding="utf-8", errors="replace") as lines:
            for line in lines:
                try:
                    row = json.loads(line)
                except ValueError:
                    continue
                if isinstance(row, dict) and set(row) >= _KEYS:
                    yield row

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
    table = GrowingTable(frame_of([]))
    run = Batch(table.known, table.add)
    engine: Engine = OneByOne() if workers == 1 else Processes(workers)
    try:
        run.run(logs_of(Path(path) for path in paths), engine)
    finally:
        engine.close()
    return table.frame()
