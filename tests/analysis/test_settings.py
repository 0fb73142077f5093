"""Settings travel with a result and come back from it unchanged."""

from collections.abc import Iterator
from typing import Any

import pytest

from ridelog.analysis.settings import Settings


def test_settings_come_back_from_json() -> None:
    chosen = Settings(("0-15 km/h", "0-30 m"), 0.3048, True, ((20.0, 31.5),))
    assert Settings.from_json(chosen.as_json()) == chosen
    assert Settings.from_json({}) == Settings()


FINITE = Settings(left_out_s=((1.0, 2.0),), reverse_marks_s=((3.0, 4.0),), advised_mps=5.0,
                  modes_s=(("eco", 1.0, 2.0),), track_width_m=0.8, cg_height_m=0.5)  # fmt: skip


def numbers_in(value: Any, *at: str | int) -> Iterator[tuple[str | int, ...]]:
    """Yield where the numbers stand in nested lists."""
    if isinstance(value, float):
        yield at
    for key, each in enumerate(value) if isinstance(value, list) else ():
        yield from numbers_in(each, *at, key)


RECORD = FINITE.as_json()
PLACES = [place for name, value in RECORD.items() for place in numbers_in(value, name)]


@pytest.mark.parametrize("other", [float("nan"), float("inf"), -float("inf")])
@pytest.mark.parametrize("place", PLACES, ids=str)
def test_no_setting_is_without_end(place: tuple[str | int, ...], other: float) -> None:
    assert Settings.from_json(RECORD) == FINITE and len(PLACES) > 10
    record: Any = FINITE.as_json()
    inner = record
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = other
    with pytest.raises(ValueError, match="finite"):
        Settings.from_json(record)


@pytest.mark.parametrize(("seconds", "words"), [
    (0.0, ""), (5.0, ""), (-0.01, "greater than or equal to 0"), (5.01, "less than or equal to 5"),
])  # fmt: skip
def test_a_reaction_takes_five_seconds_at_most(seconds: float, words: str) -> None:
    if words:
        with pytest.raises(ValueError, match=words):
            Settings.from_json({"reaction_s": seconds})
    else:
        assert Settings.from_json({"reaction_s": seconds}).reaction_s == seconds
