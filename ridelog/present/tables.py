"""Cells of tables that other programs open."""

# Spreadsheets take a cell that begins so for a formula (OWASP, "CSV Injection"); an apostrophe
# before it makes it words again.
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def safe_cell(value: object) -> object:
    """Return a cell that no spreadsheet takes for a formula; numbers stay as they are.

    None becomes an empty cell.
    """
    if value is None:
        return ""
    if isinstance(value, str) and value.startswith(_FORMULA) and not _is_number(value):
        return f"'{value}"
    return value


def _is_number(words: str) -> bool:
    try:
        float(words)
    except ValueError:
        return False
    return True
