"""The one-way flow: a module imports from its left only, which the imports themselves show."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "ridelog"
# From left to right; a stage may import itself and what stands before it.
FLOW = ("importer", "filtering", "analysis", "machine", "compare", "report")
# What every stage may import, and what these themselves may import.
SHARED = {
    "errors": set(),
    "units": set(),
    "flags": set(),
    "track": {"flags", "errors"},
    "geodesy": {"track", "units"},
}
ABOVE = {
    "cli",
    "cli_book",
    "cli_compare",
    "cli_machine",
    "cli_braking",
    "cli_handling",
    "cli_launches",
    "cli_reverse",
    "many_values",
    "options",
    "progress",
    "terminal",
    "web",
    "__main__",
}


def imported_parts(path: Path) -> set[str]:
    """Return the parts of ridelog that a module imports, lazily or not."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the flow"
            if node.module == "ridelog":
                found |= {alias.name for alias in node.names} - {"__version__"}
            elif node.module and node.module.startswith("ridelog."):
                found.add(node.module.split(".")[1])
        elif isinstance(node, ast.Import):
            found |= {n.name.split(".")[1] for n in node.names if n.name.startswith("ridelog.")}
    return found


def part_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def allowed(part: str) -> set[str] | None:
    """Return what a part may import from ridelog; None means anything."""
    if part in ABOVE:
        return None
    if part in SHARED:
        return set(SHARED[part])
    if part == "simulate":
        return {"simulate", *SHARED}
    if part in FLOW:
        return {*FLOW[: FLOW.index(part) + 1], *SHARED}
    if part == "__init__":
        return {*FLOW, *SHARED}
    if part == "book":
        return {"book", *SHARED}
    # A part that stands in no flow yet needs a line here before it may import anything.
    return set()


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_step_back_in_the_flow(path: Path) -> None:
    permitted = allowed(part_of(path))
    if permitted is not None:
        assert imported_parts(path) <= permitted


def test_the_test_sees_a_step_back(tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    module.write_text(
        "def f():\n    from ridelog.report.text import WIDTH\n    import ridelog.cli\n"
    )
    assert imported_parts(module) == {"report", "cli"}
    assert not imported_parts(module) <= (allowed("filtering") or set())


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_modules_stay_short(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def factors_in(text: str) -> set[float]:
    """Return the numbers by which a module multiplies or divides."""
    found: set[float] = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mult | ast.Div):
            for side in (node.left, node.right):
                if isinstance(side, ast.Constant) and isinstance(side.value, int | float):
                    found.add(float(side.value))
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_only_units_converts(path: Path) -> None:
    """No other module may carry a factor between units of speed or length."""
    if path.name != "units.py":
        factors = {3.6, 1852.0, 0.44704, 0.3048, 0.0254, 1609.344, 9.80665}
        assert not factors_in(path.read_text(encoding="utf-8")) & factors


def test_the_test_sees_a_factor() -> None:
    assert factors_in("kmh = 3.6 * v\nw = x / 1852") == {3.6, 1852.0}
