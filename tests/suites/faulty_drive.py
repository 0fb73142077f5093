"""A drive that can be full, read-only, forbidden or gone, and a clock that can be turned; Linux.

Everything happens in a mount namespace of this process alone, without being root outside of it, and
what is started there has none of root's rights.
"""

import os
import shutil
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

INSIDE = "RIDELOG_DRIVE_INSIDE"
# The page keeps 256 MiB free beside the largest log, 128 MiB.
_SIZE_MIB = 450
_CLOCK_C = r"""
#define _GNU_SOURCE
#include <dlfcn.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/time.h>
#include <time.h>

static long back(void) {
    long found = 0;
    FILE *told = fopen(getenv("RIDELOG_CLOCK"), "r");
    if (told) {
        if (fscanf(told, "%ld", &found) != 1) found = 0;
        fclose(told);
    }
    return found;
}

int clock_gettime(clockid_t clock, struct timespec *now) {
    int (*real)(clockid_t, struct timespec *) = dlsym(RTLD_NEXT, "clock_gettime");
    int answer = real(clock, now);
    if (!answer && (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE))
        now->tv_sec -= back();
    return answer;
}

time_t time(time_t *place) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (place) *place = now.tv_sec;
    return now.tv_sec;
}

int gettimeofday(struct timeval *restrict place, void *restrict zone) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    place->tv_sec = now.tv_sec;
    place->tv_usec = now.tv_nsec / 1000;
    return 0;
}
"""


def enter_mounts_of_its_own() -> None:
    """Start this suite again where it may mount; return once it runs there."""
    if INSIDE in os.environ:
        return
    needed = ("unshare", "mount", "setpriv", "cc")
    if missing := [name for name in needed if shutil.which(name) is None]:
        sys.exit(f"This suite needs Linux with {', '.join(missing)}.")
    os.environ[INSIDE] = "yes"
    os.execvp("unshare", ["unshare", "-rm", sys.executable, *sys.argv])


class Drive:
    """A drive of its own at ``path``, and the clock by which programs live that it starts.

    ``inside`` is where this suite reaches it, whatever befalls it.
    """

    def __init__(self, place: Path) -> None:
        self.path, self.inside = place / "drive", place / "whole"
        self._clock = place / "clock"
        for folder in (self.path, self.inside):
            folder.mkdir()
        self.path.chmod(0o555)  # as a system's own folder, where nothing is mounted
        _run("mount", "-t", "tmpfs", "-o", f"size={_SIZE_MIB}m", "none", str(self.inside))
        _run("mount", "--bind", str(self.inside), str(self.path))
        self.path.chmod(0o755)
        self._clock.write_text("0")
        (place / "clock.c").write_text(_CLOCK_C)
        shim = place / "clock.so"
        _run("cc", "-shared", "-fPIC", "-O1", "-o", str(shim), str(place / "clock.c"), "-ldl")
        self.environment = {
            **os.environ, "LD_PRELOAD": str(shim), "RIDELOG_CLOCK": str(self._clock),
        }  # fmt: skip

        with self.clock_back(86_400):
            clock = [sys.executable, "-c", "import time; print(time.time())"]
            told = subprocess.check_output(clock, env=self.environment)
        assert 80_000.0 < time.time() - float(told) < 90_000.0, "the clock cannot be set back"

    def end(self) -> None:
        """Take the drive away for good."""
        for path in (self.path, self.inside):
            subprocess.run(["umount", "-l", str(path)], check=False)

    def command(self, *words: str) -> list[str]:
        """Return the command line of ridelog, without any right that its user has not."""
        return [
            "setpriv", "--bounding-set=-all", "--inh-caps=-all",
            "--securebits=+noroot,+noroot_locked", sys.executable, "-m", "ridelog", *words,
        ]  # fmt: skip

    def free_bytes(self) -> int:
        """Return how much room there is."""
        return shutil.disk_usage(self.path).free

    @contextmanager
    def full(self, left_bytes: int = 0) -> Iterator[None]:
        """Leave only so much room."""
        filler = self.inside / "filler"
        with filler.open("wb") as stream:
            os.posix_fallocate(stream.fileno(), 0, max(1, self.free_bytes() - left_bytes))
        try:
            yield
        finally:
            filler.unlink()

    @contextmanager
    def read_only(self) -> Iterator[None]:
        """Let nothing be written."""
        _run("mount", "-o", "remount,bind,ro", str(self.path))
        try:
            yield
        finally:
            _run("mount", "-o", "remount,bind,rw", str(self.path))

    @contextmanager
    def forbidden(self, mode: int = 0) -> Iterator[None]:
        """Take the rights away from everything that lies there."""
        rights = {
            one: stat.S_IMODE(one.stat().st_mode) for one in (self.path, *self.path.rglob("*"))
        }
        for one in reversed(rights):
            one.chmod((0o555 if one.is_dir() else 0o444) & mode)
        try:
            yield
        finally:
            for one, right in rights.items():
                if one.exists():
                    one.chmod(right)

    @contextmanager
    def gone(self) -> Iterator[None]:
        """Take the drive away, also under programs that use it; it comes back as it was."""
        _run("umount", "-l", str(self.path))
        try:
            yield
        finally:
            _run("mount", "--bind", str(self.inside), str(self.path))

    @contextmanager
    def clock_back(self, by_s: int) -> Iterator[None]:
        """Set the clock back, also of programs that run."""
        self._clock.write_text(str(by_s))
        try:
            yield
        finally:
            self._clock.write_text("0")


def _run(*words: str) -> None:
    done = subprocess.run(words, capture_output=True, text=True)
    assert done.returncode == 0, (words, done.stderr)
