"""What a set-up file accepts: every range holds its usual one, and nothing that cannot be."""

import pytest

from ridelog.machine.setup import KEYS, Key
from ridelog.machine.setup_file import problems_of, read_value

NUMBERS = [key for key in KEYS.values() if key.low is not None]
# What may be nothing at all.
MAY_BE_NOTHING = {"load_mass_kg", "lights_w", "horn_w", "accessories_w", "motor_idle_a"}


def ends(key: Key) -> tuple[float, float, float, float]:
    assert key.low is not None and key.high is not None and key.usual is not None
    return key.low, key.usual[0], key.usual[1], key.high


@pytest.mark.parametrize("key", NUMBERS, ids=lambda key: key.name)
def test_a_range_holds_what_is_usual_and_no_nonsense(key: Key) -> None:
    low, usual_low, usual_high, high = ends(key)
    assert 0.0 <= low <= usual_low < usual_high <= high
    assert low > 0.0 or key.name in MAY_BE_NOTHING
    # What small machines have differs by a quarter at the least.
    assert usual_high >= 1.25 * usual_low
    if "0 to 1" in key.question or "share" in key.name or "efficiency" in key.name:
        assert usual_high <= 1.0 and high <= 1.0


@pytest.mark.parametrize("key", NUMBERS, ids=lambda key: key.name)
def test_both_ends_are_accepted_and_nothing_beyond(key: Key) -> None:
    low, _, _, high = ends(key)
    whole = "int" in str(type(read_value(key, f"{high:.0f}")))
    for value in (low, high):
        assert problems_of({key.name: int(value) if whole else float(value)}) == []
    step = 1.0 if whole else 0.01 * high
    (above,) = problems_of({key.name: int(high + 1) if whole else high + step})
    assert key.range_words in above
    below = low - (1 if whole else 0.01 * low + 1e-6)
    assert problems_of({key.name: int(below) if whole else below})


@pytest.mark.parametrize(("height_m", "guess"), [(55.0, "0.55"), (5.5, "0.55"), (12.0, None)])
def test_a_slip_of_the_pen_is_named_where_small_machines_have_such(
    height_m: float, guess: str | None
) -> None:
    """Nobody's centre of gravity on a small machine is at 1.2 m: common practice, no source."""
    (told,) = problems_of({"cg_height_m": height_m})
    assert told.endswith(f"; was {guess} m meant?" if guess else "0.05 to 2 m.")
