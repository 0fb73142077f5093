"""A plug-in of pytest that notes what each test takes and which shared fixtures it stands on.

    python -m pytest -p mutant_timing --timing-to FILE.json ...

A fixture of a module or session is worked out in the first test that asks for it, so the lines it
runs are noted there alone. With this table they count for every test that stands on it.
"""

import json
import time
from collections.abc import Generator
from pathlib import Path
from typing import Any

import pytest

_tests: dict[str, dict[str, Any]] = {}
_fixtures: dict[str, dict[str, Any]] = {}
_SHARED = ("module", "session", "package", "class")
_now = ""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Take the place of the table."""
    parser.addoption("--timing-to", type=Path, default=None)


def key_of(fixture: Any) -> str:
    """Return one name for a fixture wherever it is asked for."""
    return f"{fixture.baseid}::{fixture.argname}"


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(fixturedef: Any, request: Any) -> Generator[None, Any, Any]:
    """Note how long a shared fixture takes, and in which test it was worked out."""
    start_s = time.process_time()
    try:
        return (yield)
    finally:
        if fixturedef.scope in _SHARED:
            row = _fixtures.setdefault(key_of(fixturedef), {"took_s": 0.0, "within": []})
            row["took_s"] = max(row["took_s"], time.process_time() - start_s)
            row["within"].append(_now)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Generator[None, Any, Any]:
    """Remember which test runs."""
    global _now
    _now = item.nodeid
    return (yield)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Generator[None, Any, Any]:
    """Note how long a test takes and what it stands on, if it passes."""
    start_s = time.process_time()
    outcome = yield
    shared = [
        key_of(defs[-1])
        for defs in item._fixtureinfo.name2fixturedefs.values()  # type: ignore[attr-defined]
        if defs[-1].scope in _SHARED
    ]
    _tests[item.nodeid] = {"took_s": time.process_time() - start_s, "on": shared}
    return outcome


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Write the table."""
    place = session.config.getoption("--timing-to")
    if place is not None:
        place.write_text(json.dumps({"tests": _tests, "fixtures": _fixtures}), encoding="utf-8")
