"""One fact, one source, one way of being said: what the code shows of it."""

import ast
import re
from collections import Counter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "ridelog"
MODULES = sorted(PACKAGE.rglob("*.py"))


def calls_of(name: str) -> list[str]:
    """Return the modules that call a function of this name."""
    found = []
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                called = node.func
                if getattr(called, "id", getattr(called, "attr", "")) == name:
                    found.append(str(path.relative_to(PACKAGE)))
    return found


def test_a_log_is_smoothed_in_one_place() -> None:
    assert set(calls_of("estimate_motion")) == {"workflow/measure.py"}


def test_the_register_is_asked_for_figures_in_one_place() -> None:
    asking = [
        str(path.relative_to(PACKAGE))
        for path in MODULES
        if re.search(r"subject\.figures\(", path.read_text(encoding="utf-8"))
    ]
    assert asking == ["analysis/ride.py"]


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_numbers_become_words_in_one_place(path: Path) -> None:
    """Estimates are written by core.quantity; a bound on an error message may stand by itself."""
    if path.name in ("quantity.py", "setup_file.py"):  # a key's bounds are no estimate
        return
    text = path.read_text(encoding="utf-8")
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.JoinedStr):
            words = ast.get_source_segment(text, node) or ""
            assert not re.search(r"\.(?:low|high)\s*:", words), f"{path}: {words}"


def test_no_class_name_stands_twice() -> None:
    names = Counter(
        node.name
        for path in MODULES
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ClassDef)
    )
    assert not {name for name, count in names.items() if count > 1}


def test_the_test_sees_a_call() -> None:
    assert "analysis/ride.py" not in calls_of("estimate_motion")
    assert calls_of("load_motion")
