"""A figure moves only when a commit says so: what is told of short rides is what was kept."""

import json

import kept_figures
import pytest
from kept_figures import KEPT, MADE, moved

_NEXT = """
What to do: if this was meant, say in the commit what moved by how much, then
    PYTHONPATH=. python tests/holds/kept_figures.py --record"""


@pytest.mark.parametrize("name", MADE)
def test_no_figure_moved_unsaid(name: str) -> None:
    found = moved(name)
    assert not found, "\n".join([f"{len(found)} values moved:", *found[:40], _NEXT])


def test_nothing_is_kept_that_is_no_longer_made() -> None:
    assert {path.stem for path in KEPT.glob("*.json")} == set(MADE)


def test_what_moved_is_told_in_half_widths(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = json.loads((KEPT / "starts.json").read_text(encoding="utf-8"))["figures"]
    best = kept["top_speed"]["best_1s_mps"]
    best["high"] += 0.25 * (best["high"] - best["low"])
    kept["launches"].pop()
    kept["pull"]["runs_used"] = 7
    monkeypatch.setattr(kept_figures, "figures_of", lambda name: kept)
    high, launches, runs = moved("starts")
    assert high.startswith("top_speed.best_1s_mps.high: ") and high.endswith(", +0.5 half widths")
    assert launches == "launches (how many): 3 -> 2"
    assert runs == "pull.runs_used: 3 -> 7"
