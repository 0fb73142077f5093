"""The one-way flow: a part imports from those before it only, which the imports themselves show."""

import ast
from itertools import pairwise
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "ridelog"
# From the ground up; a part may import itself and what stands before it.
ORDER = (
    "core",
    "importer",
    "filtering",
    "present",
    "analysis",
    "machine",
    "compare",
    "report",
    "book",
    "workflow",
    "receiving",
    "cli",
    "web",
)
# Beside the order: what these may import besides themselves.
ONLY = {"book": {"core"}}
# These parts may be imported by those alone.
BY_FEW = {"book": {"workflow", "cli", "web"}, "receiving": {"cli", "web"}, "cli": set[str]()}
DRAWN = ("page", "plot")
MODULES = sorted(PACKAGE.rglob("*.py"))
# Simulated rides judge the product, so they share its records and units with it and nothing else.
SIMULATOR = sorted((PACKAGE.parent / "tests/rides/simulate").glob("*.py"))


def imported(path: Path) -> set[str]:
    """Return the modules of ridelog that a module imports, lazily or not."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative imports hide the flow"
            if node.module == "ridelog":
                found |= {alias.name for alias in node.names} - {"__version__"}
            elif node.module and node.module.startswith("ridelog."):
                found.add(node.module.removeprefix("ridelog."))
                found |= {f"{node.module.removeprefix('ridelog.')}.{n.name}" for n in node.names}
        elif isinstance(node, ast.Import):
            found |= {n.name.removeprefix("ridelog.") for n in node.names if "ridelog." in n.name}
    return found


def imported_parts(path: Path) -> set[str]:
    return {name.split(".")[0] for name in imported(path)}


def part_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def allowed(part: str) -> set[str]:
    """Return what a part may import from ridelog."""
    if part == "__main__":
        return {"cli", "web"}
    if part == "__init__":
        return {*ORDER[: ORDER.index("cli")]}
    if part in ONLY:
        return {part, *ONLY[part]}
    before = set(ORDER[: ORDER.index(part) + 1])
    return {one for one in before if one == part or part in BY_FEW.get(one, {part})}


def test_every_part_stands_in_the_order() -> None:
    folders = {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").is_file()}
    assert folders == set(ORDER)
    assert {path.name for path in PACKAGE.glob("*.py")} == {"__init__.py", "__main__.py"}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_step_back_in_the_flow(path: Path) -> None:
    assert imported_parts(path) <= allowed(part_of(path))


def test_the_simulator_shares_nothing_with_what_it_judges_but_the_ground() -> None:
    assert SIMULATOR
    for path in SIMULATOR:
        assert imported_parts(path) <= {"core"}, path


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_measuring_knows_neither_page_nor_plot(path: Path) -> None:
    """What a subject measures may not depend on how it is shown."""
    place = path.relative_to(PACKAGE).parts
    if place[0] == "analysis" and len(place) == 3 and place[2] == "measure.py":
        seen, wanted = {f"analysis.{place[1]}.measure"}, imported(path)
        while wanted - seen:
            name = (wanted - seen).pop()
            seen.add(name)
            module = PACKAGE.joinpath(*name.split(".")).with_suffix(".py")
            if name.startswith("analysis.") and module.is_file():
                wanted |= imported(module)
        drawn = {n for n in seen if n.startswith("analysis.") and n.split(".")[-1] in DRAWN}
        assert not drawn
        assert not {name for name in seen if name.split(".")[0] == "present"}


def test_cli_and_web_do_not_know_each_other() -> None:
    for one, other in pairwise(("cli", "web", "cli")):
        for path in (PACKAGE / one).rglob("*.py"):
            assert other not in imported_parts(path), path


def test_the_test_sees_a_step_back(tmp_path: Path) -> None:
    module = tmp_path / "module.py"
    module.write_text(
        "def f():\n    from ridelog.report.screen import WIDTH\n    import ridelog.cli\n"
    )
    assert imported_parts(module) == {"report", "cli"}
    assert not imported_parts(module) <= allowed("filtering")


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
