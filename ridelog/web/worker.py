"""The worker: one child process that measures, so that no log can stop the server.

The child gets jobs through a pipe and answers with messages; it holds the last ride it smoothed,
so that a new mark does not smooth it again. If it dies, runs out of memory or takes too long, the
job fails with a sentence and a fresh child takes its place.
"""

import multiprocessing
import os
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from typing import Any

from ridelog.core.errors import RideLogError

# The largest child, and the longest job. Own choice: far beyond what a day at 5 Hz takes.
_MOST_BYTES = 4 * 1024**3
LONGEST_S = 1800.0
# With which message a job ends: it is done, the input cannot be used, or something broke.
_LAST = ("done", "refused", "failed")
_TOO_LARGE = (
    "the log needs more memory than it may have.",
    "cut the log down to the one test ride.",
)


@dataclass(frozen=True)
class Job:
    """One piece of work: a function of this package by its name, and what it is given."""

    function: str
    arguments: dict[str, Any] = field(default_factory=dict)


class JobError(RideLogError):
    """A job that came to no end."""


class Worker:
    """One child process and the pipe to it. Jobs from one thread; any may stop it."""

    def __init__(self, longest_s: float = LONGEST_S) -> None:
        self._longest_s = longest_s
        self._process: multiprocessing.process.BaseProcess | None = None
        self._pipe: Connection | None = None

    def start(self) -> None:
        """Start the child, which loads what it needs while nobody waits for it."""
        context = multiprocessing.get_context("spawn")
        mine, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()
        self._pipe = mine

    def stop(self) -> None:
        """End the child at once; another thread may do so, whose job then ends in words."""
        # Taken before it is used: whoever comes second finds nothing left to end.
        process, self._process = self._process, None
        pipe, self._pipe = self._pipe, None
        if process is not None:
            process.kill()
            process.join()
        if pipe is not None:
            pipe.close()

    def run(self, job: Job) -> Iterator[tuple[str, Any]]:
        """Do a job; yield its messages as they come, such as ("progress", 0.4).

        Raises
        ------
        RideLogError
            What the job itself raised about its input; JobError if the child broke, died or took
            too long.
        """
        if self._process is None or not self._process.is_alive():
            self.stop()
            self.start()
        pipe = self._pipe
        if pipe is None:  # another thread stopped it just now
            raise JobError("the work was stopped.", "start `ridelog serve` again.")
        deadline = time.monotonic() + self._longest_s
        done = False
        try:
            pipe.send(job)
            while True:
                if not pipe.poll(max(0.0, deadline - time.monotonic())):
                    raise JobError(
                        f"the work was stopped after {self._longest_s:.0f} s.",
                        "cut the log down to the one test ride.",
                    )
                kind, value = pipe.recv()
                if kind in _LAST:
                    done = True
                    if kind == "refused":
                        raise RideLogError(*value)
                    if kind == "failed":
                        raise JobError(*value)
                    return
                yield kind, value
        except (EOFError, OSError) as error:
            raise JobError(
                "the work on this log ended without an answer; it may need too much memory.",
                "cut the log down to the one test ride.",
            ) from error
        finally:
            if not done:
                self.stop()


def _serve(pipe: Connection) -> None:
    """Do jobs until the server has gone."""
    _limit_memory()
    from ridelog.web import jobs
    from ridelog.workflow.ride_cache import RideCache

    cache = RideCache()
    while True:
        try:
            job = pipe.recv()
        except (EOFError, OSError):
            return  # the server ended, whichever way
        try:
            function: Callable[..., None] = jobs.JOBS[job.function]

            def send(kind: str, value: Any) -> None:
                pipe.send((kind, value))

            function(send, cache, **job.arguments)
            answer: tuple[str, Any] = ("done", None)
        except RideLogError as error:
            answer = ("refused", (error.problem, error.advice))
        except MemoryError:
            cache.clear()
            answer = ("failed", _TOO_LARGE)
        except Exception as error:  # a mistake in ridelog must not stop the queue
            print(f"ridelog: {job.function} failed: {error!r}", file=sys.stderr)
            words = f"ridelog made a mistake here ({type(error).__name__})."
            answer = ("failed", (words, "please report it with the log, if you may share it."))
        try:
            pipe.send(answer)
        except (OSError, ValueError):
            return


def _limit_memory() -> None:
    if os.name == "nt":
        return
    import resource

    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    most = _MOST_BYTES if hard == resource.RLIM_INFINITY else min(_MOST_BYTES, hard)
    resource.setrlimit(resource.RLIMIT_AS, (most, hard))
