"""Do two results say the same: every value by its name, nothing skipped."""

import math
from dataclasses import dataclass
from typing import Any

# Arithmetic on another machine may differ in the last digits, never by this share.
_TOLERANCE = 1e-6
# Fields that tell who made a result, not what it says.
NOT_COMPARED = ("ridelog_version", "content_sha256")


@dataclass(frozen=True)
class Disagreement:
    """One value that differs; None stands for a value that is missing.

    name : where it is, such as ``measures[two_way_mps].difference.low``.
    """

    name: str
    recorded: Any
    computed: Any


def disagreements(recorded: Any, computed: Any, *, exact: bool) -> list[Disagreement]:
    """Return every value in which two results differ.

    Parameters
    ----------
    recorded, computed : JSON values
        The result on file, and the one computed again.
    exact : bool
        Whether numbers must agree in every digit, or within the arithmetic of another machine.
    """
    return _compared("", recorded, computed, exact)


def count_values(record: Any) -> int:
    """Return how many values a result holds, fields that are not compared left out."""
    if isinstance(record, dict):
        return sum(count_values(v) for k, v in record.items() if k not in NOT_COMPARED)
    if isinstance(record, list):
        return sum(map(count_values, record))
    return 1


def _compared(name: str, recorded: Any, computed: Any, exact: bool) -> list[Disagreement]:
    if isinstance(recorded, dict) and isinstance(computed, dict):
        keys = [*recorded, *(key for key in computed if key not in recorded)]
        return [
            found
            for key in keys
            if name or key not in NOT_COMPARED
            for found in _member(f"{name}.{key}" if name else key, key, recorded, computed, exact)
        ]
    if isinstance(recorded, list) and isinstance(computed, list):
        found = [
            each
            for k, (one, other) in enumerate(zip(recorded, computed, strict=False))
            for each in _compared(f"{name}[{_label(one, k)}]", one, other, exact)
        ]
        if len(recorded) != len(computed):
            found.append(Disagreement(f"{name} (how many)", len(recorded), len(computed)))
        return found
    return [] if _same(recorded, computed, exact) else [Disagreement(name, recorded, computed)]


def _member(
    name: str, key: str, recorded: dict[str, Any], computed: dict[str, Any], exact: bool
) -> list[Disagreement]:
    if key not in recorded or key not in computed:
        return [Disagreement(name, recorded.get(key), computed.get(key))]
    return _compared(name, recorded[key], computed[key], exact)


def _label(record: Any, position: int) -> str:
    """Return what an entry of a list is called: by its own name where it has one."""
    if isinstance(record, dict):
        for key in ("name", "label", "code"):
            if isinstance(record.get(key), str):
                return str(record[key])
    return str(position)


def _same(recorded: Any, computed: Any, exact: bool) -> bool:
    numbers = (int, float)
    if isinstance(recorded, bool) or isinstance(computed, bool):
        return recorded is computed
    if isinstance(recorded, numbers) and isinstance(computed, numbers):
        if exact:
            return recorded == computed
        return math.isclose(recorded, computed, rel_tol=_TOLERANCE, abs_tol=_TOLERANCE**2)
    return type(recorded) is type(computed) and recorded == computed
