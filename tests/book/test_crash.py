"""Killed at any instant, the book keeps what it acknowledged; 50 kills in tests/suites/kills.py."""

from pathlib import Path

from killed import add_until_killed, check_after_kills


def test_killed_while_adding(tmp_path: Path) -> None:
    acknowledged: list[str] = []
    for number, after_s in enumerate((0.0, 0.011, 0.047)):
        acknowledged += add_until_killed(tmp_path, str(number), after_s)
        check_after_kills(tmp_path, acknowledged)
    assert len(set(acknowledged)) == len(acknowledged) >= 3
