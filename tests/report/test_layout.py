"""Pages that stand alone share one document and one file of style rules."""

import re
from collections import defaultdict
from pathlib import Path

from ridelog.present.html import laid_out

TEMPLATES = Path(__file__).resolve().parents[2] / "ridelog" / "report" / "templates"
PAGES = ("ride.html", "prediction.html", "sheet.html")


def rules(text: str) -> set[str]:
    """Return every rule of some length, spaces joined."""
    found = re.findall(r"[^{};/]+\{[^{}]+\}", text)
    return {" ".join(rule.split()) for rule in found}


def test_no_rule_stands_twice() -> None:
    shared = rules((TEMPLATES / "document.css").read_text())
    assert len(shared) > 40
    seen: dict[str, str] = {}
    for name in PAGES:
        text = (TEMPLATES / name).read_text()
        assert text.startswith('{% extends "document.html" %}')
        own = rules(text.split("{% block style %}")[1].split("{% endblock %}")[0])
        assert own and not own & shared, name
        for rule in own:
            assert rule not in seen, (rule, name, seen[rule])
            seen[rule] = name


def test_text_is_escaped_and_drawings_are_not() -> None:
    picture = {"name": "pull", "wide_svg": "<svg id='w'/>", "narrow_svg": "<svg id='n'/>"}
    words = defaultdict(str) | {
        "title": "<b>", "headline": "a < b", "foremost": ["<s>"], "sources": ["<u>"],
        "particular": [{"text": "one <i>", "source": "<u>", "mark": 1}],
        "tables": [{"heading": "<h>", "caption": "", "head": ["A", "B"], "rows": [["<x>", ""]]}],
    }  # fmt: skip
    page = laid_out("prediction.html", pictures=[picture], words=words, logo="")
    assert not any(f"<{raw}>" in page for raw in "bsixh")
    assert "&lt;u&gt;" in page and "<u>" not in page
    assert "<svg id='w'/>" in page and "<svg id='n'/>" in page
    assert '<div class="caution">' in page and "--paper:#14171a" in page
