"""Equations cited in code stand in the METHOD.md beside it, numbered without a gap."""

import re
from pathlib import Path

import ridelog

PACKAGE = Path(ridelog.__file__).parent
METHODS = {path.parent.name: path for path in PACKAGE.rglob("METHOD.md")}
CITED = re.compile(r"\b([a-z_]+) \((\d+)\)(?: (?:to|and) \((\d+)\))?", re.IGNORECASE)


def numbers_of(name: str) -> list[int]:
    text = METHODS[name].read_text(encoding="utf-8")
    return [int(number) for number in re.findall(r" {3,}\((\d+)\)$", text, re.MULTILINE)]


def test_equations_are_numbered_in_order() -> None:
    assert {"core", "filtering", "receiver", "standing_start"} <= set(METHODS)
    for name in METHODS:
        numbers = numbers_of(name)
        assert numbers[0] in (0, 1), name
        assert numbers == list(range(numbers[0], numbers[0] + len(numbers))), name


def test_cited_equations_exist() -> None:
    cited = 0
    for path in [*PACKAGE.rglob("*.py"), *METHODS.values()]:
        for name, *numbers in CITED.findall(path.read_text(encoding="utf-8")):
            if name.lower() in METHODS:
                cited += 1
                known = numbers_of(name.lower())
                assert all(int(number) in known for number in numbers if number), (path, name)
    assert cited > 20
