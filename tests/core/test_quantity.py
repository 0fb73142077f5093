"""Values in both units become the reader's alone."""

from ridelog.core.quantity import both_units, for_reader
from ridelog.core.units import SI, SPEED_UNITS

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]


def test_a_sentence_for_both_readers_is_said_to_one() -> None:
    # 13.4112 m/s are exactly 30 mph (mile of 1609.344 m) and 48.28 km/h.
    words = f"It reached {both_units(13.4112)}; about 40 m (130 ft) to rest, 1,234 m (4,049 ft)."
    assert for_reader(words, KMH) == "It reached 48 km/h; about 40 m to rest, 1,234 m."
    assert for_reader(words, MPH) == "It reached 30 mph; about 130 ft to rest, 4,049 ft."
    assert for_reader(words, SI) == words
    assert for_reader("walking pace, 6.0 km/h (3.7 mph): keep clear (1 s)", MPH) == (
        "walking pace, 3.7 mph: keep clear (1 s)"
    )
