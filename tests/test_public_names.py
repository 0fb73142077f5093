"""What the package offers on purpose."""

import ast
from pathlib import Path

import ridelog

PACKAGE = Path(ridelog.__file__).parent


def test_the_package_is_its_names_and_nothing_else() -> None:
    text = (PACKAGE / "__init__.py").read_text(encoding="utf-8")
    assert len(text.splitlines()) < 60
    names = list(getattr(ridelog, "__all__", []))
    assert names == sorted(names)
    assert all(hasattr(ridelog, name) for name in names)
    assert ridelog.__version__.count(".") == 2


def test_public_things_say_what_they_are() -> None:
    """Every module, and every public function and class of a module, has a docstring."""
    for path in sorted(PACKAGE.rglob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        assert ast.get_docstring(tree), path
        for node in tree.body:
            if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
                assert ast.get_docstring(node), f"{path}: {node.name}"


def test_there_is_no_module_of_odds_and_ends() -> None:
    assert not {path.stem for path in PACKAGE.rglob("*.py")} & {"utils", "util", "helpers", "misc"}


def test_what_is_not_python_ships_too() -> None:
    for name in ("py.typed", "report/schemas/ride-2.json", "report/schemas/signal-2.json",
                 "report/templates/ride.html"):  # fmt: skip
        assert (PACKAGE / name).is_file(), name
