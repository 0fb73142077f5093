"""How much of each thing a log may hold: so that work and memory stay in step with its bytes."""

from ridelog.core.errors import UnreadableLogError
from ridelog.core.text import shown_name

# A double is written in at most 24 letters; a longer text than this is no measured number and is
# not looked at. Own choice.
LONGEST_VALUE = 64
# Of a longer text of a GPX point no more is kept; white space round a value counts. Own choice.
LONGEST_TEXT = 200
# NMEA 0183 allows 82 letters (from memory); receivers with more decimals go beyond. Own choice.
LONGEST_SENTENCE = 256
# A day at 25 Hz. Own choice.
MAX_FIXES = 2_160_000
# Such a day with ten elements a point, or with RMC, GGA and two more sentences. Own choices.
MAX_ELEMENTS = 25_000_000
MAX_SENTENCES = 10_000_000
# A day at 10 Hz with two other messages a fix. Own choice.
MAX_FIT_RECORDS = 2_600_000


def too_many(name: str, noun: str, most: int) -> UnreadableLogError:
    """Return the error for a log that holds more of something than ridelog reads."""
    return UnreadableLogError(
        f"{shown_name(name)}: the log holds more than {most:,} {noun}, more than ridelog reads.",
        "cut the log down to the one test ride.",
    )
