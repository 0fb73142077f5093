"""The page served by a process of its own, as a user starts it, and a browser to look at it."""

import os
import re
import shutil
import subprocess
import sys
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Browser, Download, Page, Request, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
CHROMIUM = (
    os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
)


# What browsers asked of any page served here, by the file whose test it was: method and path.
VISITED: defaultdict[str, set[tuple[str, str]]] = defaultdict(set)


def this_file() -> str:
    """Return the file of the test that runs."""
    return os.environ.get("PYTEST_CURRENT_TEST", "").partition("::")[0]


def seen(request: Request) -> None:
    """Remember what a browser asks for."""
    VISITED[this_file()].add((request.method, urlsplit(request.url).path))


def saved(file: Download) -> None:
    """Remember what a browser saves at once: it tells of no request for that."""
    VISITED[this_file()].add(("GET", urlsplit(file.url).path))


class Served:
    """One process with the page on a book; ``base`` is its address without the last slash."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.errors = folder.with_name(f"{folder.name}-errors.txt")
        with self.errors.open("wb") as errors:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "ridelog", "serve", "--book", str(folder), "--port", "0",
                 *options],
                stdout=subprocess.PIPE, stderr=errors, text=True, cwd=ROOT,
            )  # fmt: skip
        assert self.process.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+", self.process.stdout.readline())
        assert found, f"the page did not say where it is: {self.errors.read_text()}"
        self.base = found[0]

    def kill(self) -> None:
        """End the process at once, as a power cut would."""
        self.process.kill()
        self._ended()

    def stop(self) -> None:
        """End the process as Ctrl-C does."""
        self.process.terminate()
        self._ended()

    def _ended(self) -> None:
        self.process.wait(timeout=30)
        assert self.process.stdout is not None
        self.process.stdout.close()


@contextmanager
def browser() -> Iterator[Browser]:
    """Open Debian's chromium."""
    with sync_playwright() as driver:
        opened = driver.chromium.launch(
            executable_path=CHROMIUM,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield opened
        opened.close()


@dataclass
class Watch:
    """What must not happen on a page: errors, breaches of policy, requests off this machine."""

    base: str
    faults: list[str] = field(default_factory=list)

    def over(self, page: Page) -> None:
        """Watch a page from now on."""
        page.on("request", seen)
        page.on("download", saved)
        page.on("console", lambda m: self._note(m.type in ("error", "warning"), m.text))
        page.on("pageerror", lambda error: self._note(True, f"uncaught: {error}"))
        page.on("request", lambda r: self._note(not self._ours(r.url), f"off to {r.url}"))
        page.on("response", lambda r: self._note(r.status >= 400, f"{r.status} {r.url}"))

    def _ours(self, url: str) -> bool:
        return url.startswith((f"{self.base}/", "data:", "blob:"))

    def _note(self, is_fault: bool, words: str) -> None:
        if is_fault:
            self.faults.append(words)
