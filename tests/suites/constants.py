"""Every constant that decides what a reader is told, with the kind of its reason, on request.

    python tests/suites/constants.py [--bare] [--record] [--out constants.csv]

A constant is a name in capitals at the top of a module whose value holds a number. Its reason is in
the comment above it (one comment may stand over several), or behind it. Rooms that only draw, store
or answer are left out, and so are seeds, marks (-1), and quantities with their units. An equation
of a METHOD.md, cited by its number, is a derivation.
"""

import argparse
import ast
import csv
import io
import re
import sys
import tokenize
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
WITHOUT_REASON = ROOT / "tests" / "validation" / "constants_without_reason.txt"
ROOMS = ("core", "importer", "filtering", "analysis", "machine", "compare")
# Drawing decides how a figure looks, not what it says.
_LEFT_OUT = re.compile(r"(^|/)(plot\w*|page)\.py$")
# Neither do seeds, names of places in a table, marks of what is not there, and quantities.
_NO_CONSTANT = re.compile(r"SEED")
_NO_VALUE = re.compile(r"^(range\(\d+\)|-1)$|^\(?(Quantity|_kind)\(")
_CITED = "|".join(path.parent.name for path in sorted((ROOT / "ridelog").rglob("METHOD.md")))
# Kind of reason: words that tell it, the first kind that fits.
KINDS = {
    "memory": r"from memory",
    "published": r"§|CFR|eKFV|StV[GOZ]|UN R\d|\bR\d\d-?[A-Z]?\b|ISO \d|SAE|Regulation|Directive"
    r"|\b(?:IEC|EN) \d"
    r"|RFC \d|NIST|IEEE|NIMA|WCAG|IS-GPS|GPX 1\.\d|schema|APPNOTE|CGPM|pound agreement"
    r"|nautical mile|Highway Code|AASHTO|CPSC|ASTM|gpsd"
    r"|\b(?:1[89]|20)\d\d[,)]|doi|handbook|Cossalter|Wong|Appl\. Sci",
    "measurement": r"own measurement|measured (?:on|against)|simulated rides?"
    r"|[Cc]hosen by the coverage|coverage on|public logs|real logs|by the suites?",
    "derivation": r"METHOD|derivation|[Dd]erived|[Ee]xact|by definition|quantile|rounding"
    r"|follows from|as with|the same as|twice the|half the"
    rf"|\b(?i:{_CITED}) \(\d\d?\)",
    "practice": r"[Cc]ommon practice|[Oo]wn (?:choice|rule)",
}


@dataclass(frozen=True)
class Constant:
    """One constant, where it stands, its value as written, and the comment that tells why."""

    file: str
    name: str
    value: str
    comment: str

    @property
    def kind(self) -> str:
        """The kind of its reason, empty for none."""
        return next((k for k, words in KINDS.items() if re.search(words, self.comment)), "")


def constants() -> Iterator[Constant]:
    """Yield every constant of the rooms that decide."""
    for room in ROOMS:
        for path in sorted((ROOT / "ridelog" / room).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            if not _LEFT_OUT.search(name):
                yield from _of(path.read_text(encoding="utf-8"), name)


def _of(text: str, file: str) -> Iterator[Constant]:
    comments = _comments(text)
    lines = text.splitlines()
    for node in ast.parse(text).body:
        target = node.targets[0] if isinstance(node, ast.Assign) else getattr(node, "target", None)
        names = [n.id for n in ast.walk(target) if isinstance(n, ast.Name)] if target else []
        value = getattr(node, "value", None)
        if not names or value is None or not all(n.lstrip("_").isupper() for n in names):
            continue
        if _NO_VALUE.match(ast.unparse(value)) or not _has_number(value):
            continue
        above, line = [], node.lineno - 1
        # A comment may stand over several constants without a blank line between them.
        while line > 0 and lines[line - 1].strip() and not lines[line - 1].startswith("#"):
            line -= 1
        while line > 0 and lines[line - 1].startswith("#"):
            above.append(comments.get(line, ""))
            line -= 1
        beside = [comments.get(k, "") for k in range(node.lineno, (node.end_lineno or 0) + 1)]
        comment = " ".join(filter(None, [*reversed(above), *beside]))
        for each in (name for name in names if not _NO_CONSTANT.search(name)):
            yield Constant(file, each, ast.unparse(value), comment)


def _comments(text: str) -> dict[int, str]:
    tokens = tokenize.generate_tokens(io.StringIO(text).readline)
    return {t.start[0]: t.string.lstrip("# ") for t in tokens if t.type == tokenize.COMMENT}


def _has_number(value: ast.expr) -> bool:
    # An index is a place in another constant, which has its own reason.
    indices = [each.slice for each in ast.walk(value) if isinstance(each, ast.Subscript)]
    places = {id(each) for index in indices for each in ast.walk(index)}
    return any(
        isinstance(each, ast.Constant) and type(each.value) in (int, float)
        for each in ast.walk(value)
        if id(each) not in places
    )


def main() -> int:
    """Print or write the list; return 1 if a constant has no reason."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bare", action="store_true", help="only those without a reason")
    parser.add_argument("--out", type=Path, help="where the table goes")
    parser.add_argument("--record", action="store_true", help="write the names of those without")
    words = parser.parse_args()
    found = list(constants())
    bare = [one for one in found if not one.kind]
    if words.record:
        WITHOUT_REASON.write_text("".join(f"{o.file} {o.name}\n" for o in bare), "utf-8")
    for one in bare if words.bare else found:
        print(f"{one.kind or 'BARE':12} {one.file}: {one.name} = {one.value[:50]}")
    if words.out:
        with words.out.open("w", newline="", encoding="utf-8") as stream:
            writer = csv.writer(stream, lineterminator="\n")
            writer.writerow(("file", "name", "value", "kind", "reason"))
            writer.writerows((o.file, o.name, o.value, o.kind, o.comment) for o in found)
    return int(bool(bare))


if __name__ == "__main__":
    sys.exit(main())
