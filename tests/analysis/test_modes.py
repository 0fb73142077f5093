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
from ridelog.analysis.ride import analyse, in_drive_mode
from ridelog.analysis.settings import Settings, options, stretches_by_log
from ridelog.analysis.subject import MeasuredRide
from ridelog.cli.options import Asked
from ridelog.compare.charge import charge_alone
from ridelog.compare.comparison import compare
from ridelog.compare.mode_charge import charge_between_modes
from ridelog.core.errors import RideLogError
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.smoother import estimate_motion
from ridelog.importer import load_track
from ridelog.report.compare_words import compare_lines
from ridelog.report.ride_json import ride_json, schema_of, to_bytes
from ridelog.report.ride_page import ride_page, ride_sections
from ridelog.report.screen import ride_lines
from ridelog.report.sheet import sheet_html, sheet_words

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
    assert ">–</td>" in page and "A dash: that mode was measured at other speeds" in page


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


def as_logs(ride: MeasuredRide, hashes: str) -> tuple[MeasuredRide, ...]:
    """Return a ride as if several logs had held it."""
    return tuple(replace(ride, source=replace(ride.source, sha256=each)) for each in hashes)


def test_logs_that_hold_both_modes_are_pairs(ridden: tuple[MeasuredRide, dict[str, float]]) -> None:
    eco, sport = ridden[0].modes[1].ride, ridden[0].modes[2].ride
    found = compare(as_logs(eco, "abcx"), as_logs(sport, "abcy"), modes=("eco", "sport"))
    top = found["best_1s_mps"]
    assert top.difference is not None and top.difference.method == "pairs"
    assert top.difference.rides_before == top.difference.rides_after == 3
    alone = [side[3] for side in (top.before, top.after)]
    assert {each.reason for each in alone} == {
        "its log tells this figure in one of the two modes only"
    }
    shared = next(each for each in found.mismatches if each.code == "same_logs")
    assert "3 logs hold both modes, the others one" in shared.text
    assert found.pull is not None
    text = " ".join(line for line, _ in compare_lines(found, KMH))
    assert "Each log holds both modes" in text
    assert "In sport, against eco, the" in text
    # The battery emptied while one was ridden after the other, in the logs that hold both alone.
    assert charge_between_modes(as_logs(eco, "abcx"), as_logs(sport, "abcy")) is None
    # Two logs are too few for pairs.
    few = compare(as_logs(eco, "ab"), as_logs(sport, "ab"), modes=("eco", "sport"))
    difference = few["best_1s_mps"].difference
    assert difference is not None and difference.method == "shared scatter"


def test_what_the_battery_lost_between_two_modes(
    ridden: tuple[MeasuredRide, dict[str, float]],
) -> None:
    eco, sport = ((mode.ride,) for mode in ridden[0].modes[1:])
    later, sooner = charge_between_modes(eco, sport), charge_between_modes(sport, eco)
    assert later is not None and sooner is not None
    # The later mode had the emptier battery, by some minutes of at most half an hour.
    assert 0.9 < later.low < 1.0 == later.high
    assert sooner.low == 1.0 and sooner.high == pytest.approx(1.0 / later.low)
    # Far less than what the charge of two days could do.
    assert later.share < 0.5 * charge_alone({}, {}, None).share
    found = compare(eco, sport, modes=("eco", "sport"))
    assert found.names.said == ("in eco", "in sport")


def test_the_sheet_of_two_modes(ridden: tuple[MeasuredRide, dict[str, float]]) -> None:
    eco, sport = ridden[0].modes[1].ride, ridden[0].modes[2].ride
    found = compare(
        as_logs(eco, "abc"), as_logs(sport, "abc"), modes=("eco", "sport"),
        noted_after={"machine": "Tern", "hours": "1"},
    )  # fmt: skip
    words = sheet_words(found, KMH)
    assert words.title == "Tern: sport against eco"
    assert words.sentence.startswith("In sport, against eco, it tops out higher: ")
    assert words.choices == ("ride it in eco", "ride it in sport", "change it:")
    assert words.losses_head == "What is worse in sport"
    assert words.sure[0].startswith("3 rides in eco and 3 in sport.")
    page = sheet_html(words, None)
    assert "km/h in eco, " in page and '<th scope="col">Sport</th>' in page
    # What either mode may still do is warned of.
    assert {ride.side for ride in words.rides} == {"eco", "sport"}


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
    sheet = tmp_path / "sheet"
    assert leave(*both, "--out", str(sheet), "--noted-after", "machine=Tern") == 0
    assert {place.name for place in sheet.iterdir()} == {
        "sheet.html", "sheet.pdf", "runs.png", "result.json", "measures.csv",
    }  # fmt: skip
    assert "Tern: sport against eco" in (sheet / "sheet.html").read_text(encoding="utf-8")
    assert leave("verify", str(sheet / "result.json"), "--logs", str(SAMPLE.parent)) == 0
    assert leave("verify", str(result), "--logs", str(SAMPLE.parent)) == 0
    capsys.readouterr()


def test_the_set_up_names_the_mode_that_is_learnt_from(
    ridden: tuple[MeasuredRide, dict[str, float]],
) -> None:
    whole = ridden[0]
    (eco,) = in_drive_mode([whole], "eco")
    assert eco is whole.modes[1].ride
    plain = replace(whole, modes=())
    assert in_drive_mode([plain], "eco") == (plain,) == in_drive_mode([plain], None)
    with pytest.raises(RideLogError, match="stretches in crawl, eco, sport, but the set-up says"):
        in_drive_mode([whole], None)
    with pytest.raises(RideLogError, match="in the drive mode 'race', but the rides have"):
        in_drive_mode([whole], "race")


def test_a_prediction_learns_from_the_stretches_in_its_mode(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    setup = tmp_path / "eco.toml"
    given = (SAMPLE.parent / "thistledrake-before.toml").read_text(encoding="utf-8")
    setup.write_text('mode = "eco"\n' + given, encoding="utf-8")
    named = ("--mode", "eco=0/90", "sport=90/213")
    asked = ("options", str(setup), str(SAMPLE.parent / "thistledrake-options.toml"))
    result = tmp_path / "options.json"
    assert leave(*asked, "--ride", str(SAMPLE), *named, "--json", str(result)) == 0
    document = json.loads(result.read_text())
    assert document["setup"]["mode"] == "eco"
    left_out = document["settings"]["left_out_s"][-1]
    assert left_out[0] == 90.0 and left_out[1] > 212.0
    assert leave("verify", str(result), "--logs", str(SAMPLE.parent)) == 0
    told = ("predict", str(setup), "--ride", str(SAMPLE), *named, "--change", "rear_teeth=56")
    assert leave(*told, "--json", str(tmp_path / "told.json")) == 0
    capsys.readouterr()
    measures = json.loads((tmp_path / "told.json").read_text())["measures"]
    now = next(one for one in measures if one["name"] == "top_speed_mps")["now"]
    seen = next(one for one in document["now"] if one["name"] == "top_speed_mps")["value"]
    assert abs(now["value"] - seen["value"]) < 0.3


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--mode", "race=0/90"), "the set-up is in the drive mode 'eco', but the rides have"),
        (("--mode", "eco=0/90@other.gpx"), "named for a log that is not given"),
        (("--mode", "eco=900/990"), "lies outside the log"),
        (("--mode", "eco=0/90", "--change", "mode=sport"), "says nothing of what it sets"),
    ],
)
def test_wrong_modes_of_a_prediction_are_said(
    words: tuple[str, ...], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    setup = tmp_path / "eco.toml"
    setup.write_text('mode = "eco"\nload_mass_kg = 2.0\n', encoding="utf-8")
    told = ("predict", str(setup), "--ride", str(SAMPLE), "--change", "load_mass_kg=5")
    assert leave(*told, *words) == 1
    assert said in " ".join(capsys.readouterr().err.split())


def test_a_stretch_belongs_to_the_logs_in_which_it_lies() -> None:
    tracks = [load_track(SAMPLE), load_track(SAMPLE.with_name("after-1.gpx"))]
    read = options()["modes_s"].read
    # before-1 was ridden from 09:00:00, after-1 from 09:05:00 on another day.
    modes = [read("eco=09:00:10/09:01:00"), read("sport=09:06:00/09:07:00"), read("eco=5/60")]
    modes.append(read("sport=70/90@after-1.gpx"))
    found = stretches_by_log(tracks, modes)
    assert [len(each) for each in found] == [2, 3]
    laid = Asked(by_clock={"modes_s": modes}).on_each(tracks)
    assert [mode[0] for mode in laid[0].modes_s] == ["eco", "eco"]
    assert [mode[0] for mode in laid[1].modes_s] == ["sport", "eco", "sport"]


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
