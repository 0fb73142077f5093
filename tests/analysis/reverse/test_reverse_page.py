"""What the page and the terminal say of reverse: found, uncertain, none; both units."""

import re
from dataclasses import replace

import jsonschema
import numpy as np
import pytest
from log_in_memory import to_track
from receiver_presets import preset
from reverse_rides import reverse_ride, turned_by_hand

from ridelog.analysis.reverse.page import reverse_lines, reverse_section
from ridelog.analysis.ride import SUBJECTS, analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.core.estimate import Estimate
from ridelog.core.quantity import SPEED, text_or_span
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.present.json import ESTIMATE_SCHEMA, as_json, schema_of_type
from ridelog.report.screen import ride_lines

KMH, MPH = SPEED_UNITS["km/h"], SPEED_UNITS["mph"]


def motion_of(seed: int, kind: str) -> Motion:
    rng = np.random.default_rng(seed)
    ride = turned_by_hand(rng, slow=True) if kind == "by hand" else reverse_ride(rng, kind)
    return estimate_motion(to_track(preset("clean", 10.0, rng).observe(ride.truth, rng)))


@pytest.fixture(scope="module")
def backed() -> tuple[Motion, MeasuredRide]:
    motion = motion_of(11, "straight")
    return motion, analyse(motion)


@pytest.fixture(scope="module")
def handled() -> tuple[Motion, MeasuredRide]:
    motion = motion_of(11, "by hand")
    return motion, analyse(motion)


def test_a_reverse_is_told_with_its_figure_first(backed: tuple[Motion, MeasuredRide]) -> None:
    motion, result = backed
    section = reverse_section(result, KMH)
    top = result["reverse"].top_speed_mps
    assert top is not None
    assert section.lead.startswith(f"Backwards it reached {KMH.from_mps(top.value):.1f}")
    assert re.search(r" km/h \([\d.]+ to [\d.]+\) in its fastest second; ", section.lead)
    (picture,) = section.pictures
    assert picture.name == "reverse"
    assert "backwards up to" in picture.label
    assert section.table is not None
    assert section.table.rows[0][1] == "backwards"
    assert any(text.startswith("Reverse  ") for text, _ in ride_lines(result, KMH))


def test_miles_and_feet(backed: tuple[Motion, MeasuredRide]) -> None:
    section = reverse_section(backed[1], MPH)
    assert re.search(r" mph \([\d.]+ to [\d.]+\) in its fastest second; ", section.lead)
    assert section.table is not None
    told = [section.lead, *section.notes, *(cell for row in section.table.rows for cell in row)]
    assert not any(re.search(r"km/h|m/s|\d m\b", words) for words in told)
    assert section.table.rows[0][2].endswith(" ft")


def test_what_is_uncertain_gets_no_headline_figure(handled: tuple[Motion, MeasuredRide]) -> None:
    section = reverse_section(handled[1], KMH)
    assert handled[1]["reverse"].state == "uncertain"
    assert section.lead == (
        "1 stretch looks like reverse, but the log cannot settle it, so no figure is given and the "
        "forward figures may hold some of it."
    )
    assert section.table is not None
    assert section.table.rows[0][1] == "perhaps backwards"
    [(label, words)] = reverse_lines(handled[1], KMH)
    assert (label, words[:12]) == ("Reverse", "perhaps, at ")
    assert any("turned round by hand" in note for note in section.notes)


def test_none_is_one_sentence(backed: tuple[Motion, MeasuredRide]) -> None:
    result = analyse(backed[0], Settings(has_reverse=False))
    section = reverse_section(result, KMH)
    assert section.lead == "No reverse: the set-up says that the machine has no reverse."
    assert (section.pictures, section.table, section.notes) == ((), None, ())
    assert reverse_lines(result, KMH) == ()


def test_a_mark_is_told_as_one(backed: tuple[Motion, MeasuredRide]) -> None:
    start, end = backed[1]["reverse"].spans[0]
    result = analyse(backed[0], Settings(reverse_marks_s=((start - 0.5, end + 0.5),)))
    section = reverse_section(result, KMH)
    assert section.table is not None
    assert section.table.rows[0][1] == "backwards, by your mark"


def test_a_weak_signal_gives_a_range(backed: tuple[Motion, MeasuredRide]) -> None:
    ride = backed[1]
    weak = ride.with_record("signal", replace(ride["signal"], grade="too weak"))
    lead = reverse_section(weak, KMH).lead
    assert re.match(
        r"Backwards it reached somewhere from [\d.]+ to [\d.]+ km/h "
        r"\(weak signal\) in",
        lead,
    )
    wide = Estimate(1.0, 0.7, 1.3)
    told = text_or_span(wide, SPEED, KMH, "")
    assert told == "somewhere from 2.5 to 4.7 km/h (no closer with this log)"


def test_documents_have_the_form_of_their_records(backed: tuple[Motion, MeasuredRide]) -> None:
    """Every member that a subject declares by its type holds what that type says."""
    seen = {}
    for subject in SUBJECTS:
        for name, kind in subject.members.items():
            seen[name] = schema_of_type(kind)
            form = {"$defs": {"estimate": ESTIMATE_SCHEMA}, **seen[name]}
            jsonschema.validate(as_json(subject.document(backed[1])[name]), form)
    assert seen["reverse"]["properties"]["state"] == {"enum": ["none", "found", "uncertain"]}
    assert {"reverse", "handling", "phases"} <= set(seen)
