"""A batch whose workers keep a book of their own on what they measure, and of their memory.

    FLEET_BOOK=FOLDER python -c "import fleet_counted as f; f.run()" batch …

Each worker appends a line to its own file before a log and one after it, so that what was measured
twice is seen even if only one of the two rows ever reached the table.
"""

import os
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ridelog.workflow import batch
from ridelog.workflow.batch import LogToMeasure, Row, measure_log

BEGUN, DONE = "begun", "done"


@dataclass(frozen=True)
class Entry:
    """A line of a worker's book: when and how far, in which process, which log, its memory.

    wall_s is of the machine's clock, processor_s of the process since its start; [MiB].
    """

    worker: int
    what: str
    sha256: str
    wall_s: float
    processor_s: float
    memory_mib: float


def counted(log: LogToMeasure) -> Row:
    """Measure a log between two lines of the book."""
    _note(BEGUN, log.sha256)
    row = measure_log(log)
    _note(DONE, log.sha256)
    return row


def _note(what: str, sha256: str) -> None:
    line = (
        f"{what} {sha256} {time.time():.6f} {time.process_time():.6f} {resident_mib(os.getpid())}\n"
    )
    with (Path(os.environ["FLEET_BOOK"]) / f"{os.getpid()}.txt").open("a") as book:
        book.write(line)


def resident_mib(process: int) -> float:
    """Return the memory in which a process lies, 0 if it is gone. [MiB]"""
    try:
        status = Path(f"/proc/{process}/status").read_text()
    except OSError:
        return 0.0
    lines = (line.split() for line in status.splitlines() if line.startswith("VmRSS"))
    return next((int(words[1]) / 1024.0 for words in lines), 0.0)


def entries(folder: Path) -> Iterator[Entry]:
    """Yield all lines of all books; one that a kill cut off is left out."""
    for path in sorted(folder.glob("*.txt")):
        for line in path.read_text().splitlines():
            words = line.split()
            if len(words) == 5:
                yield Entry(int(path.stem), words[0], words[1], *map(float, words[2:]))


def run() -> None:
    """Run the command line with counting workers."""
    batch.measure_log = counted
    from ridelog.__main__ import main

    main(sys.argv[1:])
