"""Drive modes: a log with three in turn gives each its own figures; two compared inside the log."""

import json
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from labelled_rides import finish
from log_in_memory import to_track
from random_rides import brake_anyhow, start_ride
from receiver_presets import preset
from simulate import Machine

from ridelog.__main__ import main
from ridelog.analysis.ride import analyse
from ridelog.analysis.settings import Settings
from ridelog.analysis.subject import MeasuredRide
from ridelog.compare.comparison import compare
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.smoother import estimate_motion
from ridelog.report.compare_words import compare_lines
from ridelog.report.ride_json import ride_json, schema_of, to_bytes
from ridelog.report.ride_page import ride_page, ride_sections
from ridelog.report.screen import ride_lines

KMH = SPEED_UNITS["km/h"]
# Share of the usual motor speed and torque in each mode.
MODES = {"crawl": 0.45, "eco": 0.7, "sport": 1.0}
SAMPLE = Path(__file__).resolve().parents[2] / "sample_tracks" / "before-1.gpx"


@pytest.fixture(scope="module")
def ridden() -> tuple[MeasuredRide, dict[str, float]]:
    """One 10 Hz log with two runs there and back in each mode, and each mode's true top speed."""
    rng = np.random.default_rng(5)
    usual = Machine()
    ride = start_ride(rng, usual, windy=False)
    ride.stand(6.0)
    spans: list[tuple[str, float, float]] = []
    tops = {}
    for name, share in MODES.items():
        ride.machine = replace(
            usual,
            no_load_radps=share * usual.no_load_radps,
            limit_torque_nm=share * usual.limit_torque_nm,
        )
        # The mode is switched while it stands, three seconds before it moves.
        began, fastest = ride.now_s - 3.0, 0.0
        for _ in range(2):
            ride.drive(for_s=18.0)
            fastest = max(fastest, ride.velocity_mps)
            brake_anyhow(ride, rng)
            ride.stand(3.0)
            ride.shift(1.6, accel_mps2=0.8)
            ride.turn(np.pi, 3.0)
            ride.shift(0.0, accel_mps2=1.0)
            ride.stand(4.0)
        spans.append((name, began, ride.now_s - 3.0))
        tops[name] = fastest
    seen = preset("clean", 10.0, rng).observe(finish(ride, rng).truth, rng)
    motion = estimate_motion(to_track(seen))
    return analyse(motion, Settings(modes_s=tuple(spans))), tops


def test_each_mode_has_its_own_figures(ridden: tuple[MeasuredRide, dict[str, float]]) -> None:
    whole, tops = ridden
    assert [mode.name for mode in whole.modes] == list(MODES)
    for mode in whole.modes:
        best = mode.ride.figures["best_1s_mps"].estimate
        assert best is not None
        # Half a per cent beyond the interval: one ride of nine may lie outside it.
        assert best.low * 0.995 <= tops[mode.name] <= best.high * 1.005
        starts = mode.ride["launches"].launches
        assert len(starts) == 2
        assert all(a <= one.start_s <= b for one in starts for a, b in mode.spans)
    # All in all the log has the figures of its fastest mode.
    fastest = whole.modes[-1].ride.figures["best_1s_mps"].estimate
    assert whole.figures["best_1s_mps"].estimate == fastest


def test_modes_on_screen_page_and_in_json(ridden: tuple[MeasuredRide, dict[str, float]]) -> None:
    whole, _ = ridden
    document = json.loads(to_bytes(ride_json(whole)))
    jsonschema.validate(document, schema_of("ridelog.ride/2"))
    told = {mode["name"]: mode for mode in document["modes"]}
    tops = [
        next(f["value"]["value"] for f in mode["figures"] if f["name"] == "best_1s_mps")
        for mode in told.values()
    ]
    assert tops == sorted(tops)
    assert told["eco"]["spans"] == [list(span) for span in whole.modes[1].spans]
    screen = [text for text, _ in ride_lines(whole, KMH)]
    assert any(line.startswith("eco  ") for line in screen) and max(map(len, screen)) <= 80
    page = ride_page(whole, (), KMH, sections=ride_sections(whole, KMH))
    assert "Drive modes" in page and "crawl" in page


def test_two_modes_of_one_log(ridden: tuple[MeasuredRide, dict[str, float]]) -> None:
    whole, _ = ridden
    sides = [(mode.ride,) for mode in whole.modes]
    found = compare(sides[1], sides[2], modes=("eco", "sport"))
    shared = next(each for each in found.mismatches if each.code == "same_logs")
    assert "in the same logs: receiver, day, place and rider are the same" in shared.text
    text = " ".join(line for line, _ in compare_lines(found, KMH))
    assert "Eco     1 ride" in text and " eco  " in text and " sport  " in text
    difference = found["best_1s_mps"].difference
    assert difference is not None and difference.difference.low > 0.0


def leave(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


def test_the_command_and_verify(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    result = tmp_path / "modes.json"
    named = ("--mode", "eco=0/90", "sport=90/213")
    both = ("compare", "--modes", "eco", "sport", "--ride", str(SAMPLE), *named)
    assert leave(*both, "--json", str(result)) == 0
    document = json.loads(result.read_text())
    jsonschema.validate(document, schema_of("ridelog.compare/1"))
    assert document["modes"] == ["eco", "sport"]
    assert leave("verify", str(result), "--logs", str(SAMPLE.parent)) == 0
    capsys.readouterr()


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        (("--modes", "eco", "sport"), 2, "name two drive modes and the logs"),
        (("--modes", "eco", "--ride", str(SAMPLE)), 2, "name two drive modes"),
        (("--modes", "eco", "sport", "--before", str(SAMPLE)), 2, "compared inside the same logs"),
        (("--modes", "eco", "sport", "--ride", str(SAMPLE), "--mode", "eco"), 2, "no drive mode"),
        (("--before", str(SAMPLE)), 2, "give the rides after"),
    ],
)
def test_what_is_missing_is_said(
    words: tuple[str, ...], status: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert leave("compare", *words) == status
    assert said in " ".join(capsys.readouterr().err.replace("│", " ").split())
