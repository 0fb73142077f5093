"""Which tests run over each line of the code, quickest first."""

import ast
import json
import subprocess
from collections import defaultdict
from collections.abc import Iterable
from difflib import SequenceMatcher
from functools import cache, cached_property
from pathlib import Path

from mutant_choice import PACKAGE, ROOT, Shape

# These see whatever a reader does: they come first of what is not quick. Quicker ones say more of
# what is wrong.
_SEE_ALL = "tests/holds/test_figures_stay.py"
# How far a constant is followed through others that are made of it.
_DEEPEST = 3


class Covering:
    """Which tests run over a line, quickest first."""

    def __init__(self, folder: Path) -> None:
        import coverage

        self._data = []
        self.took_s: dict[str, float] = {}
        self.on: dict[str, tuple[str, ...]] = {}
        self.fixture_s: dict[str, float] = {}
        self._within: dict[str, set[str]] = defaultdict(set)
        for place in sorted(folder.glob("timing*.json")):
            table = json.loads(place.read_text(encoding="utf-8"))
            for test, row in table["tests"].items():
                self.took_s[test], self.on[test] = row["took_s"], tuple(row["on"])
            for fixture, row in table["fixtures"].items():
                self.fixture_s[fixture] = row["took_s"]
                for test in row["within"]:
                    self._within[test].add(fixture)
        self._standing: dict[str, set[str]] = defaultdict(set)
        for test, fixtures in self.on.items():
            for fixture in fixtures:
                self._standing[fixture].add(test)
        for place in sorted(folder.glob("cov*.db")):
            data = coverage.CoverageData(str(place))
            data.read()
            at = place.with_name(place.name.replace("cov", "commit").replace(".db", ".txt"))
            self._data.append((data, at.read_text(encoding="utf-8").strip()))
        self._lines: dict[str, dict[int, set[str]]] = {}
        self._shapes: dict[str, Shape] = {}

    def shape(self, file: str) -> Shape:
        """Return what stands where in a file."""
        if file not in self._shapes:
            self._shapes[file] = Shape((PACKAGE / file).read_text(encoding="utf-8"), file)
        return self._shapes[file]

    @cached_property
    def _every_file(self) -> list[str]:
        return [path.relative_to(PACKAGE).as_posix() for path in sorted(PACKAGE.rglob("*.py"))]

    def _contexts(self, file: str) -> dict[int, set[str]]:
        if file not in self._lines:
            found: dict[int, set[str]] = defaultdict(set)
            for data, commit in self._data:
                now = lines_now(file, commit)
                for line, contexts in data.contexts_by_lineno(f"ridelog/{file}").items():
                    tests = set().union(*map(self._tests_of, contexts))
                    for each in now.get(line, ()):
                        found[each] |= tests
            self._lines[file] = found
        return self._lines[file]

    def _tests_of(self, context: str) -> set[str]:
        test, _, phase = context.rpartition("|")
        if test not in self.took_s:
            return set()
        found = {test}
        if phase == "setup":
            for fixture in self._within[test]:
                found |= self._standing[fixture]
        return found

    def tests(self, file: str, line: int) -> set[str]:
        """Return the tests that run over a line, or over what uses the constant it sets."""
        shape = self.shape(file)
        found: set[str] = set()
        if shape.function_at(line) is None:
            head = shape.heads_at(line)
            if head is not None:
                lines = range(head.body[0].lineno, (head.end_lineno or 0) + 1)
            else:
                return self._of_users(file, shape.named_at(line), 0)
        else:
            lines = shape.lines_of(line)
        for each in lines:
            found |= self._contexts(file)[each]
        return found

    def _of_users(self, file: str, names: Iterable[str], deep: int) -> set[str]:
        found: set[str] = set()
        for name in names:
            # A private one of a module is used there alone; a field may be read anywhere.
            places = [file] if name.startswith("_") else self._every_file
            for place in places:
                shape = self.shape(place)
                for node in ast.walk(shape.tree):
                    used = isinstance(node, ast.Name) and node.id == name
                    used = used and isinstance(node.ctx, ast.Load)  # type: ignore[attr-defined]
                    if not (used or (isinstance(node, ast.Attribute) and node.attr == name)):
                        continue
                    line: int = node.lineno  # type: ignore[attr-defined]
                    if shape.function_at(line) is not None or shape.heads_at(line):
                        found |= self.tests(place, line)
                    elif deep < _DEEPEST:
                        found |= self._of_users(place, shape.named_at(line), deep + 1)
        return found

    def alone_s(self, test: str) -> float:
        """Return how long one test takes with all it stands on."""
        return self.took_s[test] + sum(self.fixture_s.get(one, 0.0) for one in self.on[test])

    def stages(self, tests: set[str], limits_s: tuple[float, ...]) -> list[tuple[list[str], float]]:
        """Return tests in stages, quickest first, with what each stage takes. [s]"""
        left = sorted(tests, key=lambda test: (self.alone_s(test), test))
        found: list[tuple[list[str], float]] = []
        for number, limit_s in enumerate(limits_s):
            if number == 1:
                left.sort(key=lambda test: not test.startswith(_SEE_ALL))
            chosen: list[str] = []
            took_s, standing = 0.0, set[str]()
            for test in left:
                more = set(self.on[test]) - standing
                cost = self.took_s[test] + sum(self.fixture_s.get(one, 0.0) for one in more)
                if chosen and took_s + cost > limit_s:
                    break
                chosen.append(test)
                took_s += cost
                standing |= more
            left = left[len(chosen) :]
            if chosen:
                found.append((chosen, took_s))
        return found


@cache
def lines_now(file: str, commit: str) -> dict[int, list[int]]:
    """Return where each line of a file of a commit stands now.

    What took the place of some lines, or was put between two, goes with the lines beside it.
    """
    then = subprocess.run(
        ["git", "show", f"{commit}:ridelog/{file}"], cwd=ROOT, capture_output=True, text=True,
        check=False,
    ).stdout.splitlines()  # fmt: skip
    now = (PACKAGE / file).read_text(encoding="utf-8").splitlines()
    found: dict[int, list[int]] = defaultdict(list)
    for word, a, b, c, d in SequenceMatcher(None, then, now, autojunk=False).get_opcodes():
        if word == "equal":
            for old, new in zip(range(a, b), range(c, d), strict=True):
                found[old + 1].append(new + 1)
        else:
            for old in (a - 1, *range(a, b), b):
                found[old + 1] += range(c + 1, d + 1)
    return found
