"""The time of day as the book writes it."""

from datetime import UTC, datetime


def now_utc() -> str:
    """Return the present moment as ISO 8601 text in UTC, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
