"""Columns of short texts inside one byte buffer, read as numbers all at once."""

import re

import numpy as np
import numpy.typing as npt

from ridelog.core.track import FloatArray, IntArray
from ridelog.importer.bounds import LONGEST_VALUE

ByteArray = npt.NDArray[np.uint8]
BoolArray = npt.NDArray[np.bool_]
# Buffer, starts, lengths.
Column = tuple[ByteArray, IntArray, IntArray]

# Every gather below may run this far past the end of the log. Own choice: above twice the longest
# text that is read in one sweep, a time stamp of 28 letters.
PADDING_BYTES = 64
# Longest text read in one sweep; own choice: longer ones are read one by one, to the same values.
# Any 18 digits still fit in int64, exactly.
_SWEEP_LETTERS = 20
_MOST_DIGITS = 18
# A quotient of two exactly held numbers is rounded once, as float() would: the integer must be
# below 2**53 and the power of ten at most 10**22 (IEEE 754, and any text on reading decimals).
_EXACT_INTEGER = 2**53
_POWERS_OF_TEN = 10.0 ** np.arange(23)
# Written so that no letter can be read in two ways: a failed match costs one pass.
_NUMBER = re.compile(rb"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?")


def padded(data: bytes) -> ByteArray:
    """Return the bytes as an array with zeros after them, so that no gather leaves it."""
    return np.frombuffer(data + bytes(PADDING_BYTES), dtype=np.uint8)


def text_at(column: Column, row: int) -> bytes:
    """Return the text of one row of a column."""
    buffer, start, length = column
    return buffer[start[row] : start[row] + length[row]].tobytes()


def joined(texts: list[bytes], length: list[IntArray]) -> Column:
    """Return the column of the texts that stand one after the other, of these lengths."""
    lengths = np.concatenate([np.zeros(0, dtype=np.int64), *length])
    return padded(b"".join(texts)), np.cumsum(lengths) - lengths, lengths


def decimals(buffer: ByteArray, start: IntArray, length: IntArray) -> FloatArray:
    """Return a column of decimal numbers; NaN where the text is blank or no finite number.

    Parameters
    ----------
    buffer : ndarray of uint8
        The log, padded.
    start, length : ndarray, shape (n,)
        Place and number of letters of each text; length 0 is a missing value.

    Returns
    -------
    ndarray, shape (n,)
        Exactly what ``float`` makes of each text of up to LONGEST_VALUE letters.
    """
    n = start.shape[0]
    integer = np.zeros(n, dtype=np.int64)
    digits = np.zeros(n, dtype=np.int64)
    places = np.zeros(n, dtype=np.int64)
    after_point = np.zeros(n, dtype=np.bool_)
    odd = length > _SWEEP_LETTERS
    negative = np.zeros(n, dtype=np.bool_)
    shortest, longest = (int(length.min()), int(length.max())) if n else (0, 0)
    for j in range(min(longest, _SWEEP_LETTERS)):
        letter = buffer[start + j]
        if j >= shortest:
            letter = np.where(length > j, letter, 0).astype(np.uint8)
        value = letter - np.uint8(48)  # wraps round for letters before "0"
        is_digit = value < 10
        integer = np.where(is_digit, integer * 10 + value, integer)
        digits += is_digit
        places += is_digit & after_point
        is_point = letter == 46
        other = ~(is_digit | is_point)
        if j >= shortest:
            other &= length > j
        if j == 0:
            negative = letter == 45
            other &= ~negative
        odd |= other | (is_point & after_point)
        after_point |= is_point
    odd |= (digits > _MOST_DIGITS) | (integer >= _EXACT_INTEGER)
    result = integer / _POWERS_OF_TEN[np.minimum(places, 22)]
    result = np.where(negative, -result, result)
    result[digits == 0] = np.nan
    for i in np.flatnonzero(odd):
        result[i] = _one_decimal(text_at((buffer, start, length), int(i)).strip())
    return result


def _one_decimal(text: bytes) -> float:
    if len(text) > LONGEST_VALUE or not _NUMBER.fullmatch(text):
        return float("nan")
    value = float(text)
    return value if np.isfinite(value) else float("nan")


def letters(buffer: ByteArray, start: IntArray, length: IntArray) -> ByteArray:
    """Return the single letter of each text as its code; 0 where it is not exactly one letter."""
    return np.where(length == 1, buffer[start], 0).astype(np.uint8)


def two_digits(buffer: ByteArray, start: IntArray) -> IntArray:
    """Return the two-digit numbers at these places; -1 where there are no two digits."""
    tens = buffer[start] - np.uint8(48)
    ones = buffer[start + 1] - np.uint8(48)
    number = tens.astype(np.int64) * 10 + ones
    return np.where((tens < 10) & (ones < 10), number, -1)


def days_since_1970(year: IntArray, month: IntArray, day: IntArray) -> tuple[IntArray, BoolArray]:
    """Return days since 1970-01-01 and whether year, month and day name a real date.

    Years 1 to 9999. Wrong dates give day 0.
    """
    plausible = (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (year >= 1)
    plausible &= year <= 9999
    safe_year = np.where(plausible, year, 1970)
    months = (safe_year - 1970) * 12 + np.where(plausible, month, 1) - 1
    first = months.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    following = (months + 1).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)
    days = first + np.where(plausible, day, 1) - 1
    real = plausible & (days < following)
    return np.where(real, days, 0), real
