"""What a comparison warns of: the gravest ride counts, and more speed needs more room.

Braking distance grows with the square of the speed: v² / (2 a), any textbook of mechanics.
"""

from dataclasses import dataclass, replace
from types import SimpleNamespace
from typing import Any

import pytest

from ridelog.analysis.subject import DANGER, DOUBT, WARNING, Caution
from ridelog.compare.cautions import cautions_of
from ridelog.compare.gravest import gravest_of, seen_of_machine
from ridelog.compare.verdict import BETTER, NOT_SHOWN, WORSE
from ridelog.machine.risks import risks
from ridelog.machine.setup import MachineSetup


def caution(code: str, value: float | None, limit: float | None = None, gravity: int = DOUBT,
            general: bool = False) -> Caution:  # fmt: skip
    return Caution(code, f"{code} is told.", value, limit, "source", general, gravity)


@dataclass
class Ride:
    """What a comparison asks of a ride: its cautions, its file, and whether it went backwards."""

    cautions: tuple[Caution, ...]
    source: Any
    state: str = "found"

    def __getitem__(self, subject: str) -> Any:
        assert subject == "reverse"
        return SimpleNamespace(state=self.state)


def ride(*cautions: Caution, file: str = "ride.gpx") -> Any:
    return Ride(cautions, SimpleNamespace(file=file))


def comparison(before: tuple[Any, ...] = (), after: tuple[Any, ...] = (), *, modes: Any = None,
               top: tuple[float, float] = (8.0, 8.0), word: str = NOT_SHOWN,
               figure: str = "two_way_mps") -> Any:  # fmt: skip
    difference = SimpleNamespace(
        before=SimpleNamespace(value=top[0]), after=SimpleNamespace(value=top[1])
    )
    told = {figure: SimpleNamespace(difference=difference, verdict=SimpleNamespace(word=word))}
    return SimpleNamespace(
        before=before, after=after, modes=modes, get=told.get,
        names=SimpleNamespace(at_length=("before the change", "after the change")),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("top", "longer"), [((8.0, 8.8), 0.21), ((5.0, 10.0), 3.0), ((8.0, 8.08), 0.0201)]
)
@pytest.mark.parametrize("figure", ["two_way_mps", "best_1s_mps"])
def test_more_speed_needs_the_square_of_it(
    top: tuple[float, float], longer: float, figure: str
) -> None:
    (found,) = cautions_of(comparison(top=top, word=BETTER, figure=figure))
    assert (found.code, found.gravity) == ("faster_needs_room", WARNING)
    assert found.value == pytest.approx(longer, rel=1e-9)


@pytest.mark.parametrize(
    ("top", "word"), [((8.0, 8.8), NOT_SHOWN), ((8.8, 8.0), WORSE), ((0.0, 8.0), BETTER)]
)
def test_no_room_is_asked_where_no_more_speed_was_shown(
    top: tuple[float, float], word: str
) -> None:
    assert cautions_of(comparison(top=top, word=word)) == ()
    assert cautions_of(comparison(top=top, word=word, figure="none of these")) == ()


def test_what_makes_one_of_several_rides_doubtful_names_it() -> None:
    """A reader must find the ride; what the machine does, it does on whichever ride."""
    weak = ride(caution("gaps", 0.2, 0.1), caution("fast", 9.0, 8.0, WARNING), file="third.gpx")
    told = {code: one.text for code, one in gravest_of((ride(), weak)).items()}
    assert told == {"gaps": "third.gpx: gaps is told.", "fast": "fast is told."}
    assert gravest_of((weak,))["gaps"].text == "gaps is told."
    (before, *_) = cautions_of(comparison(before=(weak,)))
    assert before.text == "third.gpx: gaps is told."


def test_of_each_caution_the_one_furthest_beyond_its_limit_counts() -> None:
    """Too fast by 2, too slow by 3 (a limit from below), and one without a number."""
    rides = (
        ride(caution("fast", 11.0, 10.0), caution("slow", 4.0, 5.0), caution("word", None)),
        ride(caution("fast", 12.0, 10.0), caution("slow", 2.0, 5.0), caution("word", None)),
        ride(caution("fast", 10.5, 10.0), caution("slow", 4.5, 5.0)),
    )
    found = gravest_of(rides)
    assert {code: one.value for code, one in found.items()} == {
        "fast": 12.0, "slow": 2.0, "word": None,
    }  # fmt: skip
    # Without a limit a value counts from zero.
    bare = gravest_of((ride(caution("x", 1.0)), ride(caution("x", -3.0)), ride(caution("x", 2.0))))
    assert bare["x"].value == -3.0


def test_what_is_said_of_the_brakes_is_said_of_one_ride_and_names_it() -> None:
    """The gravest word decides, then the longest way to rest; nothing is mixed of two rides."""

    def braked(name: str, hard: float, far: float, gravity: int = WARNING) -> Any:
        return ride(
            caution("braking_below_yardstick", hard, 5.0, gravity),
            caution("stopping_distance", far, None, WARNING), file=name,
        )  # fmt: skip

    harder_but_farther, weaker = braked("one.gpx", 3.5, 50.0), braked("two.gpx", 3.4, 48.0)
    found = gravest_of((weaker, harder_but_farther))
    assert [one.value for one in found.values()] == [3.5, 50.0]
    assert {one.text for one in found.values()} == {
        "In one.gpx braking_below_yardstick is told.", "In one.gpx stopping_distance is told.",
    }  # fmt: skip
    grave = braked("three.gpx", 1.0, 40.0, DANGER)
    assert [one.value for one in gravest_of((weaker, grave)).values()] == [1.0, 40.0]
    assert gravest_of((weaker,))["stopping_distance"].text == "stopping_distance is told."


def test_what_lasts_of_rides_goes_with_a_prediction() -> None:
    """Doubts are of the log, and speeds are said anew of what is predicted."""
    seen = seen_of_machine(
        (
            ride(
                caution("reverse_too_fast", 2.5, 1.7, WARNING), caution("gaps", 0.2, 0.1),
                caution("age_class", 14.0, 13.4, WARNING), caution("x", None, None, DANGER, True),
            ),
        )
    )  # fmt: skip
    assert [one.text for one in seen] == ["As ridden: reverse_too_fast is told."]
    setup = MachineSetup(brakes="one")
    weak = caution("braking_below_yardstick", 3.0, 5.0, WARNING)
    kept = {one.code for one in risks(setup, MachineSetup(brakes="one"), {}, (weak,))}
    other = {one.code for one in risks(setup, MachineSetup(brakes="two independent"), {}, (weak,))}
    assert weak.code in kept and weak.code not in other


def test_before_the_change_doubts_and_reverse_count() -> None:
    before = (
        ride(
            caution("doubtful", 1.0), caution("reverse_too_fast", 2.0, 1.7, WARNING),
            caution("weak_brakes", 2.0, 3.5, DANGER), caution("always", None, general=True),
        ),
    )  # fmt: skip
    after = (ride(caution("doubtful", 5.0), caution("general", None, general=True)),)
    found = cautions_of(comparison(before, after))
    assert [one.code for one in found] == ["reverse_too_fast", "doubtful", "general"]
    assert found[0].text == "Before the change: reverse_too_fast is told."
    assert found[1].value == 5.0
    # Nobody knows of a reverse that was not ridden again.
    unseen = tuple(replace(each, state="none") for each in after)
    assert cautions_of(comparison(before, unseen))[0].text == (
        "Before the change (after the change, reverse was not ridden): reverse_too_fast is told."
    )
    # Of two drive modes both may be ridden again.
    both = cautions_of(comparison(before, after, modes=("eco", "sport")))
    assert [one.code for one in both] == ["weak_brakes", "reverse_too_fast", "doubtful", "general"]
