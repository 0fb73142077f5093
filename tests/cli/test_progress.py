"""Long work is shown on a terminal and nowhere else."""

import io
import sys
import threading

import pytest

import ridelog.cli.progress
from ridelog.cli.progress import progress, progress_line


class Terminal(io.StringIO):
    def __init__(self) -> None:
        super().__init__()
        self.written = threading.Event()

    def isatty(self) -> bool:
        return True

    def flush(self) -> None:
        if "  25%" in self.getvalue():
            self.written.set()


def test_a_share_is_a_bar_and_no_share_is_the_time() -> None:
    assert progress_line("reading the log", None, 3.4) == "  reading the log ... 3 s"
    half = progress_line("smoothing", 0.5, 7.0)
    assert half == "  smoothing ============............  50%  7 s"
    assert " 100%" in progress_line("smoothing", 1.7, 0.0)
    assert "   0%" in progress_line("smoothing", -1.0, 0.0)


def test_work_that_takes_long_is_drawn_and_wiped_away(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(ridelog.cli.progress, "QUIET_S", 0.0)
    with progress("smoothing") as report_progress:
        report_progress(0.25)
        assert terminal.written.wait(20.0)
    assert terminal.getvalue().endswith("\r" + " " * 60 + "\r")


def test_quick_work_draws_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(ridelog.cli.progress, "QUIET_S", 1000.0)
    with progress("smoothing") as report_progress:
        report_progress(0.5)
    assert terminal.getvalue() == ""


def test_nothing_is_drawn_into_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    stream = io.StringIO()
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setattr(ridelog.cli.progress, "QUIET_S", 0.0)
    before = threading.active_count()
    with progress("reading the log") as report_progress:
        report_progress(0.5)
        assert threading.active_count() == before
    assert stream.getvalue() == ""
