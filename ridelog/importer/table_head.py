"""Where a table's head stands, what parts its cells, and whether text is a log at all."""

import codecs
import csv
from dataclasses import dataclass

from ridelog.importer.table_names import Head, head_of

# A logger may write some lines about itself above the head. Own choices.
_MOST_ABOVE, _LONGEST_LINE, _MOST_CELLS = 50, 20_000, 500
_DELIMITERS = (";", "\t", ",", "|")
_REMARKS = ("#", "%", "//")
# So many rows show whether there is a table. Own choice.
_ROWS_LOOKED_AT = 3


@dataclass(frozen=True)
class TableHead:
    """The head of a table.

    line : its line, counted from 1; 0 if the first row holds numbers and no head.
    end : place in the text where the rows begin.
    delimiter : what parts the cells.
    heads : what each column's head says.
    """

    line: int
    end: int
    delimiter: str
    heads: tuple[Head, ...]

    @property
    def names_a_place(self) -> bool:
        """Whether latitude and longitude are named."""
        return {"lat", "lon"} <= {head.kind for head in self.heads}


def decoded(data: bytes) -> str:
    """Return the text of a table: UTF-8, UTF-16 with its mark, or else Windows-1252."""
    if data[:2] in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", "replace")


def is_log_table(head: bytes) -> bool:
    """Return whether the start of a file is a table whose columns name a place."""
    found = _found(head)
    return found is not None and found.names_a_place


def is_table(head: bytes, *, told: bool) -> bool:
    """Return whether the start of a file is a table of numbers at all.

    ``told`` is whether the user says which column is which; then it may be a short one.
    """
    found = _found(head)
    if found is None or len(found.heads) < 2:
        return False
    text = decoded(head)
    rows = [line for line in text[found.end :].splitlines()[:_ROWS_LOOKED_AT] if line.strip()]
    if told:
        return bool(rows)
    alike = [len(split(row, found.delimiter)) == len(found.heads) for row in rows]
    return len(alike) >= 2 and all(alike) and all(any(c.isdigit() for c in row) for row in rows)


def _found(head: bytes) -> TableHead | None:
    # A cut may split the last letter of UTF-8.
    text = decoded(head if len(head) < 8 else head.rstrip(bytes(range(0x80, 0x100))))
    if any(letter < " " and letter not in "\t\r\n\f\v" for letter in text[:4096]):
        return None
    return None if text.lstrip().startswith(("<", "$")) else find_head(text)


def find_head(text: str) -> TableHead | None:
    """Return the head of a table: the first line that names a place, else the first with cells."""
    first: TableHead | None = None
    place = 0
    asked_for = ""
    for number in range(1, _MOST_ABOVE + 1):
        end = text.find("\n", place, place + _LONGEST_LINE)
        stop = len(text) if end < 0 else end
        if stop - place > _LONGEST_LINE:
            return first
        line = text[place:stop].strip("\r\n")
        if line[:4].lower() == "sep=":
            asked_for = line[4:5]
        elif line.strip() and not line.lstrip().startswith(_REMARKS):
            head = _head(line, number, stop + 1, place, asked_for)
            if head is not None and head.names_a_place:
                return head
            first = first or head
        if end < 0:
            break
        place = end + 1
    return first


def _head(line: str, number: int, end: int, begin: int, asked_for: str) -> TableHead | None:
    best: TableHead | None = None
    most = (0, 1)
    for delimiter in (asked_for,) if asked_for else _DELIMITERS:
        cells = split(line, delimiter)
        if not 2 <= len(cells) <= _MOST_CELLS:
            continue
        numbers = all(not cell.strip() or cell.strip()[0] in "+-.0123456789" for cell in cells)
        heads = tuple(Head(cell.strip()) if numbers else head_of(cell.strip()) for cell in cells)
        worth = (sum(bool(head.kind) for head in heads), len(cells))
        if worth > most:
            most = worth
            at, after = (0, begin) if numbers else (number, end)
            best = TableHead(at, after, delimiter, heads)
    return best


def split(line: str, delimiter: str) -> list[str]:
    """Return the cells of one line, quotes taken off; nothing if it cannot be split."""
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return []
