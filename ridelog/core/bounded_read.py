"""The bytes of a file, no more than asked for: a device has no size and no end."""

from pathlib import Path


def read_at_most(path: Path, most_bytes: int) -> bytes:
    """Return the bytes of a file up to one more than ``most_bytes``, which tells that it is longer.

    OSError as from opening and reading.
    """
    with path.open("rb") as stream:
        return stream.read(most_bytes + 1)
