"""How far the work is, on a terminal, once it has taken longer than a second."""

import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

# Shorter work is not worth a line; then it is drawn a few times a second.
QUIET_S, _EVERY_S = 1.0, 0.25
_WIDTH = 60
_BAR = 24


def progress_line(what: str, share: float | None, elapsed_s: float) -> str:
    """Return the line about work in hand: a bar where its share is known, else the time so far."""
    if share is None:
        return f"  {what} ... {elapsed_s:.0f} s"
    share = min(max(share, 0.0), 1.0)
    full = round(_BAR * share)
    return f"  {what} {'=' * full}{'.' * (_BAR - full)} {share:4.0%}  {elapsed_s:.0f} s"


@contextmanager
def progress(what: str) -> Iterator[Callable[[float], None]]:
    """Show on a terminal that work is going on; yields a function to tell its share, 0 to 1.

    A thread of its own draws the line, so that work which tells nothing is shown too. Where
    standard error is no terminal nothing is drawn and no thread started.
    """
    if not sys.stderr.isatty():
        yield lambda share: None
        return
    told: list[float] = []
    over = threading.Event()
    start = time.monotonic()

    def draw() -> None:
        drawn = False
        wait_s = QUIET_S
        while not over.wait(wait_s):
            line = progress_line(what, told[-1] if told else None, time.monotonic() - start)
            sys.stderr.write("\r" + line.ljust(_WIDTH))
            sys.stderr.flush()
            drawn, wait_s = True, _EVERY_S
        if drawn:
            sys.stderr.write("\r" + " " * _WIDTH + "\r")
            sys.stderr.flush()

    drawer = threading.Thread(target=draw, daemon=True)
    drawer.start()
    try:
        yield told.append
    finally:
        over.set()
        drawer.join()
