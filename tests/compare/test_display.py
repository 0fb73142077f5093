"""A speed display against the log: what it is made of, and the rules it must meet."""

import datetime as dt
import json
import re
from pathlib import Path

import numpy as np
import pytest
from filtered_rides import ride_and_log
from log_in_memory import to_track
from simulate import Truth
from truth_at import truth_at
from typer.testing import CliRunner

from ridelog.cli.main import app
from ridelog.compare.display.measure import _limits, check_display, right_circumference
from ridelog.core.errors import NotEnoughDataError, UnreadableLogError
from ridelog.core.track import FloatArray
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer.display_readings import read_display_readings

SAMPLES = Path(__file__).parents[2] / "sample_tracks"
KMH = SPEED_UNITS["km/h"]
SPANS = ("factor", "offset_mps", "delay_s")


@pytest.fixture(scope="module")
def rides() -> list[tuple[Truth, Motion]]:
    """Return the truth and the motion of a few rides, at 10 and at 1 Hz."""
    found = []
    for seed, rate_hz in ((11, 10.0), (12, 10.0), (13, 1.0), (14, 1.0)):
        ride, observation = ride_and_log(seed, rate_hz=rate_hz)
        found.append((ride.truth, estimate_motion(to_track(observation))))
    return found


def shown_by(
    truth: Truth, at_s: FloatArray, factor: float, offset_mps: float, delay_s: float, step: float
) -> FloatArray:
    """Return what a display with these properties shows, rounded to its step."""
    true = np.abs(truth_at(truth, at_s - delay_s).velocity_mps)
    value = factor * true + offset_mps
    return np.asarray(np.round(value / step) * step)


def test_the_intervals_hold_on_a_hundred_displays(
    rides: list[tuple[Truth, Motion]],
) -> None:
    """Bounds: 0.85 to 0.97 of 100, less and more the 5 % tails of the binomial distribution."""
    rng = np.random.default_rng(2024)
    held = dict.fromkeys(SPANS, 0)
    told = dict.fromkeys(SPANS, 0)
    for number in range(100):
        truth, motion = rides[number % len(rides)]
        real = {
            "factor": rng.uniform(0.9, 1.15),
            "offset_mps": rng.uniform(-0.2, 0.6),
            "delay_s": rng.uniform(0.0, 2.0),
        }
        step = KMH.to_mps(float(rng.choice([0.1, 1.0])))
        low, high = motion.pieces[0].start_s, motion.pieces[0].end_s
        at_s = np.sort(rng.uniform(low + 3.0, high - 1.0, int(rng.integers(12, 40))))
        shown = shown_by(truth, at_s, real["factor"], real["offset_mps"], real["delay_s"], step)
        found = check_display(motion, at_s, shown, step)
        for name in SPANS:
            estimate = getattr(found, name)
            if estimate is not None:
                told[name] += 1
                held[name] += estimate.low <= real[name] <= estimate.high
    for name in SPANS:
        assert told[name] >= 90, name
        share = held[name] / told[name]
        assert 0.79 <= share <= 0.99, (name, share)


def test_a_right_display_is_found_right(rides: list[tuple[Truth, Motion]]) -> None:
    truth, motion = rides[0]
    low, high = motion.pieces[0].start_s, motion.pieces[0].end_s
    at_s = np.linspace(low + 3.0, high - 1.0, 60)
    found = check_display(motion, at_s, shown_by(truth, at_s, 1.0, 0.0, 0.5, 0.01), 0.01)
    assert found.factor.value == pytest.approx(1.0, abs=0.01)
    assert found.delay_s is not None
    assert found.delay_s.value == pytest.approx(0.5, abs=0.1)
    wheel = right_circumference(1.02, found)
    assert wheel.value == pytest.approx(1.02 / found.factor.value)
    assert wheel.low < wheel.value < wheel.high


def test_steady_speeds_tell_no_delay(rides: list[tuple[Truth, Motion]]) -> None:
    """Where nothing changes within the delays looked at, no delay is told, and the reason is."""
    _, motion = rides[0]
    rows = motion.known_rows
    time_s, speed = motion.track.time_s[rows], motion.speed_mps[rows]
    calm = [
        when
        for when in np.arange(motion.pieces[0].start_s + 7.0, motion.pieces[0].end_s - 4.0, 0.5)
        if np.ptp(speed[(time_s >= when - 6.0) & (time_s <= when + 3.0)]) < 1.0
        and np.interp(when, time_s, speed) > 2.0
    ]
    if len(calm) < 5:
        pytest.skip("this ride holds no speed long enough")
    at_s = np.array(calm)
    shown = np.interp(at_s, time_s, speed) * 1.05
    try:
        found = check_display(motion, at_s, np.round(shown / 0.28) * 0.28, 0.28)
    except NotEnoughDataError as error:
        assert "at one speed" in str(error)
    else:
        assert found.delay_s is None
        assert "steady speeds" in found.reason


def test_too_few_readings_are_said(rides: list[tuple[Truth, Motion]]) -> None:
    _, motion = rides[0]
    with pytest.raises(NotEnoughDataError, match="only 0 of 6 readings lie inside the log"):
        check_display(motion, np.arange(6.0) + 1e6, np.full(6, 5.0), 0.1)


@pytest.mark.parametrize(
    ("true_kmh", "shown_kmh", "met"),
    [
        # The tolerance of UN Regulation No. 39, 5.3, at its edges: 0 <= V1 - V2 <= 0.1 V2 + 4.
        (20.0, 20.01, True), (20.0, 19.99, False), (20.0, 25.99, True), (20.0, 26.01, False),
        (40.0, 40.01, True), (40.0, 47.99, True), (40.0, 48.01, False),
        (50.0, 58.99, True), (50.0, 59.01, False), (130.0, 146.99, True), (130.0, 147.01, False),
    ],
)  # fmt: skip
def test_the_rule_for_speedometers_at_its_edges(
    true_kmh: float, shown_kmh: float, met: bool
) -> None:
    true = KMH.to_mps(true_kmh)
    offset = np.full(50, KMH.to_mps(shown_kmh) - true)
    rule = _limits((true, true), np.ones(50), offset)[0]
    assert rule.met is met
    assert rule.source == "UN Regulation No. 39, paragraph 5.3"


def test_a_rule_that_the_readings_leave_open_is_open() -> None:
    offset = np.linspace(-0.2, 0.2, 50)
    assert _limits((5.0, 10.0), np.ones(50), offset)[0].met is None


def table(place: Path, text: str) -> Path:
    place.write_text(text, encoding="utf-8")
    return place


def test_readings_are_read_as_people_write_them(
    rides: list[tuple[Truth, Motion]], tmp_path: Path
) -> None:
    track = rides[0][1].track
    assert track.start_utc is not None
    later = track.start_utc + dt.timedelta(seconds=30)
    text = f"\ufeffTime;Shown\n12,5;34,5\n{later:%H:%M:%S};36\n\n{later.isoformat()};36\n"
    found = read_display_readings(table(tmp_path / "a.csv", text), track, KMH)
    fraction_s = later.microsecond / 1e6
    assert found.time_s == pytest.approx([12.5, 30.0 - fraction_s, 30.0], abs=1e-6)
    assert found.shown_mps == pytest.approx(np.array([34.5, 36.0, 36.0]) / 3.6)
    assert found.step_mps == pytest.approx(0.1 / 3.6)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("when,speed\n1,2\n", "line 1: the table has no columns time and shown"),
        ("", "it has none"),
        ("time,shown\n5,fast\n", "line 2: 'fast' is no speed"),
        ("time,shown\nnoon,5\n", "line 2: 'noon' is no time"),
        ("time,shown\n5\n", "line 2: '' is no speed"),
    ],
)
def test_a_table_that_cannot_be_read_is_said(
    text: str, says: str, rides: list[tuple[Truth, Motion]], tmp_path: Path
) -> None:
    with pytest.raises(UnreadableLogError) as caught:
        read_display_readings(table(tmp_path / "a.csv", text), rides[0][1].track, KMH)
    assert says in str(caught.value)


def test_an_empty_table_is_said(rides: list[tuple[Truth, Motion]], tmp_path: Path) -> None:
    with pytest.raises(NotEnoughDataError, match="holds no reading"):
        read_display_readings(table(tmp_path / "a.csv", "time,shown\n"), rides[0][1].track, KMH)


def test_the_command_tells_it_on_screen_and_as_json(tmp_path: Path) -> None:
    readings = tmp_path / "noted.csv"
    log = SAMPLES / "before-2.nmea"
    motion = json_motion(log)
    at_s = np.arange(30.0, 200.0, 4.0)
    rows = motion.known_rows
    true = np.interp(at_s - 1.0, motion.track.time_s[rows], motion.speed_mps[rows])
    lines = [f"{t},{KMH.from_mps(1.06 * v):.0f}" for t, v in zip(at_s, true, strict=True)]
    readings.write_text("time,shown\n" + "\n".join(lines) + "\n")
    words = ["display", str(log), str(readings), "--circumference", "1.02"]
    screen = CliRunner().invoke(app, words)
    assert screen.exit_code == 0, screen.output
    assert "The display shows 1.0" in screen.output
    assert "UN Regulation No. 39" in " ".join(screen.output.split())
    assert re.search(r"make it right: 96\d mm \(9\d\d to 9\d\d\)", screen.output)
    assert max(map(len, screen.output.splitlines())) <= 80
    document = json.loads(CliRunner().invoke(app, [*words, "--json", "-"]).stdout)
    assert document["schema"] == "ridelog.display/1"
    assert document["factor"]["low"] <= 1.06 <= document["factor"]["high"]
    assert document["delay_s"]["low"] <= 1.0 <= document["delay_s"]["high"]
    assert set(document["points"][0]) == {"time_s", "shown_mps", "true_mps"}
    assert {limit["met"] for limit in document["limits"]} <= {True, False, None}
    assert document["circumference"]["now_m"] == 1.02
    assert document["circumference"]["should_be_m"]["value"] == pytest.approx(1.02 / 1.06, rel=0.01)
    # The same receiver, as a second one, is right.
    second = CliRunner().invoke(app, ["display", str(log), "--second", str(log), "--json", "-"])
    assert json.loads(second.stdout)["factor"]["value"] == pytest.approx(1.0, abs=1e-3)


def json_motion(log: Path) -> Motion:
    from ridelog.workflow.measure import load_motion

    return load_motion(log)


def test_one_source_of_readings_is_asked_for() -> None:
    done = CliRunner().invoke(app, ["display", str(SAMPLES / "after-1.gpx")])
    assert done.exit_code == 2
