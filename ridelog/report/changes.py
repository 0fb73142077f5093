"""What changed between two results of the same ride, figure by figure."""

from dataclasses import dataclass
from typing import Any

# A record of the result that tells what made it, not what was found.
_NOT_FIGURES = ("ridelog_version", "history", "warnings", "settings", "cautions")


@dataclass(frozen=True)
class Change:
    """One figure that came out different; None where a result does not hold it."""

    name: str
    before: float | str | None
    after: float | str | None


def changed_figures(before: dict[str, Any], after: dict[str, Any]) -> tuple[Change, ...]:
    """Return the figures that differ between two results, in the order of their names.

    Parameters
    ----------
    before, after : dict
        Two ``ridelog.ride/2`` objects of one ride.
    """
    one, two = dict(_figures(before, "")), dict(_figures(after, ""))
    return tuple(
        Change(name, one.get(name), two.get(name))
        for name in sorted(one.keys() | two.keys())
        if one.get(name) != two.get(name)
    )


def _figures(part: Any, name: str) -> list[tuple[str, float | str]]:
    if isinstance(part, dict):
        return [
            figure
            for key, value in part.items()
            if name or key not in _NOT_FIGURES
            for figure in _figures(value, f"{name}.{key}" if name else key)
        ]
    if isinstance(part, list):
        return [
            figure
            for index, value in enumerate(part)
            for figure in _figures(value, f"{name}[{index}]")
        ]
    # Sentences are no figures, but short words such as the state of reverse are answers.
    if isinstance(part, str):
        return [(name, part)] if len(part) < 30 else []
    if isinstance(part, int | float):
        return [(name, float(part))]
    return []
