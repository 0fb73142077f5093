"""How far the work is, on a terminal, once it has taken longer than a second."""

import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

# Shorter work is not worth a line. [s]
QUIET_S = 1.0


@contextmanager
def progress(what: str) -> Iterator[Callable[[float], None]]:
    """Show on a terminal that work is going on; yields a function that takes its share, 0 to 1.

    Where standard error is no terminal nothing is drawn and no thread started.
    """
    if not sys.stderr.isatty():
        yield lambda share: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeElapsedColumn

    bar = Progress(
        TextColumn("  {task.description}"), BarColumn(24), TaskProgressColumn(),
        TimeElapsedColumn(), console=Console(stderr=True), transient=True,
        redirect_stdout=False, redirect_stderr=False,
    )  # fmt: skip
    task = bar.add_task(what, total=None)
    begin = threading.Timer(QUIET_S, bar.start)
    begin.daemon = True
    begin.start()
    try:
        yield lambda share: bar.update(task, total=1.0, completed=share)
    finally:
        begin.cancel()
        begin.join()
        bar.live.stop()
