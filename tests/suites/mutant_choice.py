"""Which small changes of the code are tried.

The changes are those of cosmic-ray's operators (``OPERATORS``): of its pairs the ones that leave a
number a number, so that a mutant is seldom killed by a mere crash. Lines are those that compute:
what only draws or words, annotations, decorators, what stands in ``raise``, the bare star of a
signature, ``strict=`` of a ``zip`` and imports for types alone are left out.
"""

import ast
import importlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "ridelog"
# Rooms whose lines decide figures, verdicts or limits; cautions are a part of their own.
ROOMS = ("analysis", "filtering", "compare", "machine")
PARTS = (*ROOMS, "cautions")
# What only draws or words.
_SHOWN_FILES = re.compile(r"(plot|page|plot_path)\.py$")
_SHOWN_FUNCTIONS = re.compile(r"^(lines|sections|document|__repr__|__str__|report_progress)$")
# A caution, a limit of one or a mismatch is decided in functions that are named or typed so.
_CAUTION_FILES = ("analysis/subject.py", "machine/risks.py")
_CAUTION_TYPES = re.compile(r"Caution|Mismatch")
_PAIRS = {
    "binary_operator_replacement": (
        "Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "FloorDiv_Mul", "Mod_Mul", "Pow_Mul",
        "BitAnd_BitOr", "BitOr_BitAnd",
    ),
    "comparison_operator_replacement": (
        "Lt_LtE", "Lt_GtE", "LtE_Lt", "LtE_Gt", "Gt_GtE", "Gt_LtE", "GtE_Gt", "GtE_Lt",
        "Eq_NotEq", "NotEq_Eq", "Is_IsNot", "IsNot_Is",
    ),
    "unary_operator_replacement": ("Delete_USub", "Delete_Not", "Delete_Invert"),
}  # fmt: skip
_CLASSES = {
    "boolean_replacer": (
        "ReplaceTrueWithFalse", "ReplaceFalseWithTrue", "ReplaceAndWithOr", "ReplaceOrWithAnd",
        "AddNot",
    ),
    "break_continue": ("ReplaceBreakWithContinue", "ReplaceContinueWithBreak"),
    "number_replacer": ("NumberReplacer",),
    "zero_iteration_for_loop": ("ZeroIterationForLoop",),
}  # fmt: skip
_KINDS = {
    "binary_operator_replacement": "Binary",
    "comparison_operator_replacement": "Comparison",
    "unary_operator_replacement": "Unary",
}
# Kinds of nodes that one of the operators changes.
_CHANGED_TYPES = frozenset((
    "operator", "keyword", "number", "comparison", "factor", "not_test", "for_stmt", "if_stmt",
    "while_stmt", "test",
))  # fmt: skip
_SIGNATURES = ("parameters", "typedargslist", "lambdef", "varargslist", "param")


@dataclass(frozen=True)
class Mutant:
    """One change: where it is, its operator of cosmic-ray and which occurrence, its line before."""

    part: str
    file: str
    line: int
    operator: str
    occurrence: int
    before: str

    @property
    def module(self) -> str:
        """Name of the module it is in."""
        return "ridelog." + self.file.removesuffix(".py").replace("/", ".")

    def made(self) -> tuple[str, str]:
        """Return the source with the change, and the first line that is another, stripped."""
        source = (PACKAGE / self.file).read_text(encoding="utf-8")
        changed = mutated(source, operators()[self.operator], self.occurrence)
        if changed is None:
            raise ValueError(f"{self.file}: {self.operator} has no occurrence {self.occurrence}")
        both = zip(source.splitlines(), changed.splitlines(), strict=False)
        return changed, next((new.strip() for old, new in both if old != new), "")


def operators() -> dict[str, Any]:
    """Return the operators by their names.

    Raises
    ------
    SystemExit
        If cosmic-ray is not there, with the command that installs it.
    """
    found: dict[str, Any] = {}
    try:
        for name, kind in _KINDS.items():
            module = importlib.import_module(f"cosmic_ray.operators.{name}")
            for pair in _PAIRS[name]:
                cls = f"Replace{kind}Operator_{pair}"
                found[pair] = getattr(module, cls)()
        for name, classes in _CLASSES.items():
            module = importlib.import_module(f"cosmic_ray.operators.{name}")
            found.update({cls: getattr(module, cls)() for cls in classes})
    except ModuleNotFoundError as error:
        raise SystemExit(
            f"{error}. What to do: .venv/bin/pip install --editable '.[mutants]'"
        ) from error
    return found


def mutated(source: str, operator: Any, occurrence: int) -> str | None:
    """Return a source with one change, None if there is no such occurrence."""
    from cosmic_ray.mutating import mutate_code

    found: str | None = mutate_code(source, operator, occurrence)
    return found


def files() -> Iterator[str]:
    """Return the files whose lines may be changed."""
    for room in ROOMS:
        for path in sorted((PACKAGE / room).rglob("*.py")):
            if not _SHOWN_FILES.search(path.name) and path.name != "__init__.py":
                yield path.relative_to(PACKAGE).as_posix()


def candidates(file: str) -> Iterator[tuple[str, int, str, int]]:
    """Return (part, line, operator, occurrence) of every change that one file allows."""
    from cosmic_ray.ast import ast_nodes

    source = (PACKAGE / file).read_text(encoding="utf-8")
    shape = Shape(source, file)
    # Its types are of no use, and only there where the extra is.
    parse = importlib.import_module("parso").parse
    nodes = [node for node in ast_nodes(parse(source)) if node.type in _CHANGED_TYPES]
    for name, operator in operators().items():
        occurrence = 0
        for node in nodes:
            for start, _ in operator.mutation_positions(node):
                # "*" between the arguments of a signature multiplies nothing.
                bare = node.type == "operator" and node.parent.type in _SIGNATURES
                part = "" if bare else shape.part_of(*start)
                if part:
                    yield part, start[0], name, occurrence
                occurrence += 1


class Shape:
    """What stands where in one file."""

    def __init__(self, source: str, file: str) -> None:
        self.tree = ast.parse(source)
        self.file = file
        self._left_out: list[tuple[tuple[int, int], tuple[int, int]]] = []
        self._functions: list[tuple[int, int, ast.FunctionDef]] = []
        self._statements: list[ast.stmt] = []
        for node in ast.walk(self.tree):
            if isinstance(node, ast.FunctionDef):
                self._functions.append((node.lineno, node.end_lineno or 0, node))
                every = [*node.args.args, *node.args.kwonlyargs, *node.args.posonlyargs]
                self._leave_out(*(arg.annotation for arg in every), node.returns)
            if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
                self._leave_out(*node.decorator_list)
            if isinstance(node, ast.AnnAssign):
                self._leave_out(node.annotation)
            if isinstance(node, ast.Raise | ast.Import | ast.ImportFrom):
                self._leave_out(node)
            # Lengths that differ are a slip in the code itself, which no right one makes.
            if isinstance(node, ast.keyword) and node.arg == "strict":
                self._leave_out(node.value)
            if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
                self._leave_out(node.test)
            if isinstance(node, ast.stmt):
                self._statements.append(node)
            # A name for a type: ``Pair = tuple[X | None, ...]`` and its like.
            if isinstance(node, ast.Assign) and isinstance(node.value, ast.BinOp | ast.Subscript):
                value = ast.unparse(node.value)
                if node in self.tree.body and re.search(r"\bNone\b|\[", value):
                    self._leave_out(node.value)

    def _leave_out(self, *nodes: ast.AST | None) -> None:
        for node in nodes:
            if node is not None:
                end = (node.end_lineno, node.end_col_offset)  # type: ignore[attr-defined]
                self._left_out.append(((node.lineno, node.col_offset), end))  # type: ignore[attr-defined]

    def part_of(self, line: int, column: int) -> str:
        """Return the part a place belongs to, empty if it decides nothing."""
        if any(start <= (line, column) < end for start, end in self._left_out):
            return ""
        around = [node for first, last, node in self._functions if first <= line <= last]
        if any(_SHOWN_FUNCTIONS.match(node.name) for node in around):
            return ""
        room = self.file.split("/")[0]
        told = any(
            "caution" in node.name
            or (node.returns and _CAUTION_TYPES.search(ast.unparse(node.returns)))
            for node in around
        )
        return "cautions" if told or self.file in _CAUTION_FILES else room

    def lines_of(self, line: int) -> range:
        """Return the lines of the statement at a line; of one with a body those of its head."""
        inner = max(
            (one for one in self._statements if one.lineno <= line <= (one.end_lineno or 0)),
            key=lambda one: (one.lineno, -(one.end_lineno or 0)),
        )
        body = getattr(inner, "body", None)
        last = body[0].lineno - 1 if isinstance(body, list) and body else inner.end_lineno
        return range(inner.lineno, max(inner.lineno, last or 0) + 1)

    def function_at(self, line: int) -> ast.FunctionDef | None:
        """Return the innermost function whose body a line is in; the head belongs to none."""
        within = [
            node for first, last, node in self._functions if node.body[0].lineno <= line <= last
        ]
        return max(within, key=lambda node: node.lineno) if within else None

    def heads_at(self, line: int) -> ast.FunctionDef | None:
        """Return the function whose head, with its defaults, a line is in."""
        for first, _, node in self._functions:
            if first <= line < node.body[0].lineno:
                return node
        return None

    def named_at(self, line: int) -> list[str]:
        """Return the names a statement outside of functions sets; of a field its class too."""
        lines = self.lines_of(line)
        names = [
            one.name
            for one in self._statements
            if isinstance(one, ast.ClassDef) and one.lineno < line <= (one.end_lineno or 0)
        ]
        for one in self._statements:
            if one.lineno == lines.start and isinstance(one, ast.Assign | ast.AnnAssign):
                targets = one.targets if isinstance(one, ast.Assign) else [one.target]
                for target in targets:
                    names += [each.id for each in ast.walk(target) if isinstance(each, ast.Name)]
        return names


def drawn(count: int, seed: int, least: int) -> tuple[list[Mutant], dict[str, int]]:
    """Return so many mutants, each of another line, and how many lines each part has.

    A part has its share by its lines, but ``least`` at least; its lines are drawn without
    replacement, and of the changes a line allows one.
    """
    lines: dict[str, dict[tuple[str, int], list[tuple[str, int]]]] = {part: {} for part in PARTS}
    sources: dict[str, list[str]] = {}
    for file in files():
        sources[file] = (PACKAGE / file).read_text(encoding="utf-8").splitlines()
        for part, line, name, occurrence in candidates(file):
            lines[part].setdefault((file, line), []).append((name, occurrence))
    sizes = {part: len(found) for part, found in lines.items()}
    random = np.random.default_rng(seed)
    chosen: list[Mutant] = []
    for part in PARTS:
        share = max(least, round(count * sizes[part] / sum(sizes.values())))
        places = sorted(lines[part])
        for number in random.permutation(len(places))[:share]:
            file, line = places[number]
            options = lines[part][file, line]
            name, occurrence = options[random.integers(len(options))]
            before = sources[file][line - 1].strip()
            chosen.append(Mutant(part, file, line, name, occurrence, before))
    # In an order of chance, so that a run that was ended is a smaller sample of the same.
    return [chosen[k] for k in random.permutation(len(chosen))], sizes
