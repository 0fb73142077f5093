"""What all tests share: a time zone that does not depend on the machine."""

import os
import time
from collections.abc import Callable, Iterator

import pytest

# POSIX 1003.1, 8.3: the rules stand in the text, so that no table of zones is needed.
ZONES = {
    "UTC": "UTC0",
    "Berlin": "CET-1CEST,M3.5.0,M10.5.0/3",
    "New York": "EST5EDT,M3.2.0,M11.1.0",
    "Kolkata": "<+0530>-5:30",
}


def _enter(place: str) -> None:
    os.environ["TZ"] = ZONES[place]
    if hasattr(time, "tzset"):  # Windows has none; it ignores TZ as well
        time.tzset()


@pytest.fixture(autouse=True, scope="session")
def _in_utc() -> None:
    _enter("UTC")


@pytest.fixture
def zone() -> Iterator[Callable[[str], None]]:
    """Take this machine to another zone, by the name of a place, for one test."""
    if not hasattr(time, "tzset"):
        pytest.skip("the zone cannot be changed on this system")
    yield _enter
    _enter("UTC")
