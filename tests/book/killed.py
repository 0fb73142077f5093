"""A process that adds logs to a book until it is killed, and what must be there afterwards."""

import hashlib
import subprocess
import sys
import time
from pathlib import Path

from ridelog.book.book import Book
from ridelog.book.check import check_book

# Says the hash of each log only after the book has acknowledged it.
_ADD = """
import hashlib, sys
from pathlib import Path
from ridelog.book.book import Book
with Book(Path(sys.argv[1])) as book:
    for number in range(10**6):
        data = b"ride %s %d " % (sys.argv[2].encode(), number) * 3000
        ride, new = book.rides.add(book.store(data), f"{number}.gpx")
        print(hashlib.sha256(data).hexdigest(), flush=True)
"""


def add_until_killed(folder: Path, name: str, after_s: float) -> list[str]:
    """Return the hashes that a process acknowledged before it was killed."""
    process = subprocess.Popen(
        [sys.executable, "-c", _ADD, str(folder), name], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    first = process.stdout.readline().strip()  # the clock runs once the work has begun
    time.sleep(after_s)
    process.kill()
    rest = process.stdout.read().split("\n")[:-1]
    process.wait()
    process.stdout.close()
    return [first, *rest]


def check_after_kills(folder: Path, acknowledged: list[str]) -> None:
    """Check that everything acknowledged is there, whole, and that nothing else shows."""
    with Book(folder) as book:
        for sha256 in acknowledged:
            assert book.rides.by_hash(sha256) is not None, "an acknowledged ride is gone"
            assert hashlib.sha256(book.place(sha256).read_bytes()).hexdigest() == sha256
        count = book.rides.count()
    found = check_book(folder)
    # A log may lie there without its ride, if the kill came in between; it is named.
    orphans = [fault for fault in found.faults if fault.what.endswith("belongs to no ride.")]
    assert list(found.faults) == orphans, found.faults
    assert count == found.sound - len(orphans)
