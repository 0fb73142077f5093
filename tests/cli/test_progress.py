"""Long work is shown on a terminal and nowhere else."""

import io
import sys
import threading

import pytest

import ridelog.cli.terminal
from ridelog.cli.terminal import progress


class Terminal(io.StringIO):
    """A terminal that notes when a share has been drawn on it."""

    def __init__(self) -> None:
        super().__init__()
        self.written = threading.Event()

    def isatty(self) -> bool:
        return True

    def write(self, text: str) -> int:
        count = super().write(text)
        if " 25%" in self.getvalue():
            self.written.set()
        return count


def on_terminal(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    """Put a terminal in the place of standard error."""
    opened = Terminal()
    monkeypatch.setattr(sys, "stderr", opened)
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "100")
    return opened


def test_work_that_takes_long_is_drawn_and_wiped_away(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = on_terminal(monkeypatch)
    monkeypatch.setattr(ridelog.cli.terminal, "QUIET_S", 0.0)
    with progress("smoothing") as report_progress:
        report_progress(0.25)
        assert terminal.written.wait(20.0)
    assert "  smoothing" in terminal.getvalue()
    # ECMA-48: EL 2 erases the line, and private mode 25 shows the cursor again.
    assert terminal.getvalue().endswith("\x1b[2K")
    assert terminal.getvalue().rfind("\x1b[?25h") > terminal.getvalue().rfind("\x1b[?25l")


def test_work_whose_share_nobody_knows_is_shown_too(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = on_terminal(monkeypatch)
    monkeypatch.setattr(ridelog.cli.terminal, "QUIET_S", 0.0)
    with progress("reading the log"):
        for _ in range(200):
            if "  reading the log" in terminal.getvalue():
                break
            threading.Event().wait(0.05)
    assert "  reading the log" in terminal.getvalue() and "%" not in terminal.getvalue()


def test_quick_work_draws_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = on_terminal(monkeypatch)
    assert ridelog.cli.terminal.QUIET_S == 1.0
    monkeypatch.setattr(ridelog.cli.terminal, "QUIET_S", 1000.0)
    before = set(threading.enumerate())
    with progress("smoothing") as report_progress:
        report_progress(0.5)
    assert terminal.getvalue() == "" and set(threading.enumerate()) <= before


def test_work_that_fails_leaves_the_terminal_as_it_was(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = on_terminal(monkeypatch)
    monkeypatch.setattr(ridelog.cli.terminal, "QUIET_S", 0.0)
    with pytest.raises(KeyboardInterrupt), progress("smoothing") as report_progress:
        report_progress(0.25)
        assert terminal.written.wait(20.0)
        raise KeyboardInterrupt
    assert terminal.getvalue().endswith("\x1b[2K")


def test_nothing_is_drawn_into_a_file(monkeypatch: pytest.MonkeyPatch) -> None:
    stream = io.StringIO()
    monkeypatch.setattr(sys, "stderr", stream)
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setattr(ridelog.cli.terminal, "QUIET_S", 0.0)
    before = set(threading.enumerate())
    with progress("reading the log") as report_progress:
        report_progress(0.5)
        assert set(threading.enumerate()) <= before
    assert stream.getvalue() == ""
