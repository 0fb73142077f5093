"""What is looked at before a ride: by habit, and what the set-up leaves open."""

from pathlib import Path

from ridelog.machine.before_riding import USUAL, left_open, points_before_riding
from ridelog.machine.electrics import electrical_sheet
from ridelog.machine.setup import MachineSetup
from ridelog.machine.setup_file import setup_of_text

SETUP = Path(__file__).parents[2] / "sample_tracks" / "thistledrake-before.toml"


def test_without_a_machine_the_usual_points_stand() -> None:
    points = points_before_riding(None)
    assert points.always == USUAL and points.unconfirmed == ()
    words = " ".join(USUAL).lower()
    for what in ("helmet", "closed private ground", "brakes", "throttle", "battery", "licensed"):
        assert what in words


def test_an_empty_set_up_says_that_it_is_empty() -> None:
    points = points_before_riding(MachineSetup())
    assert points.unconfirmed == ("The set-up is empty: nothing of its electrics is confirmed.",)


def test_every_line_that_nobody_confirmed_is_a_point_in_words() -> None:
    setup = setup_of_text(SETUP.read_text())
    points = points_before_riding(setup)
    open_lines = [one for one in electrical_sheet(setup) if one.state == "not confirmed"]
    assert len(points.unconfirmed) == len(open_lines) > 10
    assert points.unconfirmed[0] == (
        "Not confirmed, controller volts: “Highest voltage the controller allows” is not known."
    )
    assert not [words for words in points.unconfirmed if "_" in words]
    assert points.always == USUAL


def test_a_contradiction_comes_first() -> None:
    text = SETUP.read_text() + "\ndisplay_max_v = 48.0\n"
    points = points_before_riding(setup_of_text(text))
    assert points.always[0].startswith("Contradiction, display volts: ")
    assert points.always[1:] == USUAL
    assert not [words for words in points.unconfirmed if "display volts" in words]


def test_what_is_left_open_is_told_in_short() -> None:
    open_words = left_open(setup_of_text(SETUP.read_text() + "\ndisplay_max_v = 48.0\n"))
    wrong, _, rest = open_words.partition(" Not confirmed by anyone: ")
    assert wrong.startswith("Contradiction, display volts: Full, the battery has 58.8 V; “Display:")
    assert rest.startswith("volts of controller, motor, switch, connector, converter, lights, horn")
    assert rest.endswith("; watts of converter.") and "_" not in open_words
    assert left_open(MachineSetup()) == ""
