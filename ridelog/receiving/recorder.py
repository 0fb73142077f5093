"""A log that grows: what arrived is on the disk within a second, and nothing is written over."""

import os
import threading
from pathlib import Path

from ridelog.core.errors import OutputError
from ridelog.core.text import clean

# What has arrived is forced out to the disk this long after the time before: what waits is then
# younger than a second even on a disk that takes a third of one. Own choice. [s]
SYNC_S = 0.3


class Recorder:
    """Appends bytes to a new file and forces them to the disk.

    Forcing has a thread of its own, since a slow disk would else keep the line from being read for
    longer than a receiver's buffer lasts.

    Raises
    ------
    OutputError
        If the file is there already or cannot be made, or the disk takes no more; what was written
        before stays.
    """

    def __init__(self, path: Path) -> None:
        self.path, self.size_bytes = path, 0
        try:
            self._descriptor = os.open(
                path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o666
            )
        except FileExistsError as error:
            raise OutputError(
                f"{clean(str(path))}: this file is there already, and a log is never written over.",
                "choose another name with --out.",
            ) from error
        except OSError as error:
            raise OutputError(
                f"{clean(str(path))}: the log cannot be written there ({error.strerror}).",
                "choose a folder that you may write to with --out.",
            ) from error
        _sync_folder(path.parent)
        self._waiting, self._ending = threading.Event(), threading.Event()
        self._failed: OSError | None = None
        self._forcing = threading.Thread(target=self._force, daemon=True)
        self._forcing.start()

    def append(self, data: bytes) -> None:
        """Write bytes behind those that are there."""
        left = memoryview(data)
        try:
            if self._failed is not None:
                raise self._failed
            while left:
                done = os.write(self._descriptor, left)
                self.size_bytes += done
                left = left[done:]
                self._waiting.set()
        except OSError as error:
            raise self._full(error) from error

    def close(self) -> None:
        """Force the rest to the disk and let the file go; a second time does nothing."""
        if self._descriptor < 0:
            return
        self._ending.set()
        self._waiting.set()
        self._forcing.join()
        try:
            if self._failed is None:
                os.fsync(self._descriptor)
        except OSError as error:
            raise self._full(error) from error
        finally:
            os.close(self._descriptor)
            self._descriptor = -1

    def _force(self) -> None:
        """Force to the disk what waits, again and again."""
        while self._waiting.wait() and not self._ending.is_set():
            self._waiting.clear()
            try:
                os.fsync(self._descriptor)
            except OSError as error:
                self._failed = error
                return
            self._ending.wait(SYNC_S)

    def _full(self, error: OSError) -> OutputError:
        return OutputError(
            f"{clean(str(self.path))}: the disk takes no more ({error.strerror}); the first "
            f"{self.size_bytes:,} bytes of the log are kept.",
            "make room, then listen again with another name.",
        )


def _sync_folder(folder: Path) -> None:
    """Make the name of a new file as safe as its content, where the system can."""
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:  # no such thing as an open folder on some systems
        return
    try:
        os.fsync(descriptor)
    except OSError:
        pass
    finally:
        os.close(descriptor)
