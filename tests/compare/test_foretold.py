"""What was foretold and what came are measured with the marks of the rides, as all else is."""

from collections.abc import Callable, Sequence
from typing import Any

import pytest

from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare import predicted as foretold
from ridelog.compare.predicted import foretell_change
from ridelog.compare.rides import Rides
from ridelog.core.units import SPEED_UNITS
from ridelog.machine.calibration_data import top_of
from ridelog.machine.evidence import Evidence
from ridelog.machine.measured_after import Ridden
from ridelog.machine.setup import MachineSetup

pytest_plugins = ("thin_rides",)
Spans = tuple[tuple[float, float], ...]


def around_the_best_second(ride: MeasuredRide) -> Spans:
    at_s = ride["top_speed"].at_s
    return ((at_s - 20.0, at_s + 10.0),)


def measured_with(ride: MeasuredRide, settings: Settings) -> MeasuredRide:
    return analyse(ride.motion, settings)


def told(
    before: Rides, after: Rides, monkeypatch: pytest.MonkeyPatch, *, has_reverse: bool | None = None
) -> tuple[Evidence, Ridden]:
    """Return what the prediction is made from, and what came."""
    seen: list[Evidence] = []

    def note(old: Any, new: Any, evidence: Sequence[Evidence], windows: Any) -> None:
        seen.extend(evidence)

    monkeypatch.setattr(foretold, "foretell", note)
    setup = MachineSetup(name="Thistledrake 2", has_reverse=has_reverse)
    found = foretell_change((setup, setup), before, after, SPEED_UNITS["km/h"])
    return seen[0], found.ridden


@pytest.mark.parametrize(
    "chosen",
    [lambda spans: Settings(left_out_s=spans), lambda spans: Settings(reverse_marks_s=spans)],
    ids=["left out", "reverse"],
)
def test_marked_stretches_tell_nothing(
    chosen: Callable[[Spans], Settings],
    thin_rides: dict[str, Rides],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    sides = [thin_rides["before"][0], thin_rides["after"][0]]
    whole = told((sides[0],), (sides[1],), monkeypatch)
    marked = [measured_with(ride, chosen(around_the_best_second(ride))) for ride in sides]
    evidence, ridden = told((marked[0],), (marked[1],), monkeypatch)
    assert whole[0].top_mps and evidence.top_mps and evidence.top_mps[0] < whole[0].top_mps[0]
    tops = [top_of(ride["top_speed"]) for ride in marked]
    assert tops[1] is not None
    assert evidence.top_mps == tops[0]
    assert ridden.measured["top_speed_mps"].value == pytest.approx(tops[1][0])
    # Starts in the marked run are not among those timed.
    assert len(marked[1]["launches"].launches) < len(sides[1]["launches"].launches)
    label = "0-20 km/h"
    figure = marked[1].figures[label].estimate
    assert figure is not None
    assert ridden.measured[label].value == pytest.approx(figure.value, abs=0.01)


def test_marks_outweigh_a_set_up_without_reverse(
    thin_rides: dict[str, Rides], monkeypatch: pytest.MonkeyPatch
) -> None:
    ride = thin_rides["before"][0]
    marked = measured_with(ride, Settings(reverse_marks_s=around_the_best_second(ride)))
    evidence, _ = told((marked,), (marked,), monkeypatch, has_reverse=False)
    assert evidence.top_mps == top_of(marked["top_speed"]) is not None
