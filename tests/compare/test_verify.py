"""ridelog verify: the same result passes, one byte or one digit fails with the figure named."""

import json
import shutil
from pathlib import Path

import jsonschema
import pytest

from ridelog.__main__ import main
from ridelog.analysis.settings import Settings
from ridelog.compare.comparison import compare
from ridelog.report.compare_json import compare_json, settings_in
from ridelog.report.ride_json import schema_of, to_bytes
from ridelog.workflow.measure import measure_ride
from ridelog.workflow.verify import count_values, disagreements

pytest_plugins = ("thin_rides",)
# Holds the fastest second of the first ride. [s]
LEFT_OUT = ((58.0, 78.0),)


def leave(*arguments: str) -> int:
    with pytest.raises(SystemExit) as caught:
        main(list(arguments))
    return int(caught.value.code or 0)


def flat(text: str) -> str:
    return " ".join(text.split())


@pytest.fixture(scope="module")
def kept(thin_logs: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with logs/ under other names, and results of one ride and of one pair."""
    folder = tmp_path_factory.mktemp("kept")
    (folder / "logs" / "deeper").mkdir(parents=True)
    shutil.copy(thin_logs / "before" / "before-1.gpx", folder / "logs" / "old name.gpx")
    shutil.copy(thin_logs / "after" / "after-1.gpx", folder / "logs" / "deeper" / "x.log")
    assert leave(
        "report", str(thin_logs / "before" / "before-1.gpx"), "--json", str(folder / "ride.json")
    ) == 0  # fmt: skip
    assert leave(
        "compare", "--before", str(thin_logs / "before" / "before-1.gpx"),
        "--after", str(thin_logs / "after" / "after-1.gpx"),
        "--noted-before", "rider=Ida", "--json", str(folder / "pair.json"),
    ) == 0  # fmt: skip
    samples = Path(__file__).resolve().parents[2] / "sample_tracks"
    setup = samples / "thistledrake-before.toml"
    (folder / "later.toml").write_text(setup.read_text().replace("teeth = 64", "teeth = 56"))
    assert leave(
        "compare", "--before", str(thin_logs / "before" / "before-1.gpx"),
        "--after", str(thin_logs / "after" / "after-1.gpx"), "--setup-before", str(setup),
        "--setup-after", str(folder / "later.toml"), "--json", str(folder / "foretold.json"),
    ) == 0  # fmt: skip
    rides = [
        measure_ride(thin_logs / "before" / "before-1.gpx", Settings(left_out_s=LEFT_OUT)),
        measure_ride(thin_logs / "after" / "after-1.gpx", Settings()),
    ]
    marked = to_bytes(compare_json(compare((rides[0],), (rides[1],))))
    (folder / "marked.json").write_bytes(marked)
    return folder


def test_each_ride_keeps_its_own_marks(kept: Path) -> None:
    document = json.loads((kept / "marked.json").read_text())
    jsonschema.validate(document, schema_of("ridelog.compare/1"))
    own = document["ride_settings"]
    assert own["before"] == [{"left_out_s": [list(LEFT_OUT[0])]}]
    assert own["after"] == [{"left_out_s": []}]
    assert "left_out_s" not in document["settings"] and "rollout_m" in document["settings"]
    assert [each.left_out_s for each in settings_in(document, 2)] == [LEFT_OUT, ()]
    for name in ("pair.json", "ride.json"):
        shared = json.loads((kept / name).read_text())
        count = 2 if name == "pair.json" else 1
        assert settings_in(shared, count) == [Settings()] * count


def test_a_mark_that_was_altered_is_found(
    kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    document = json.loads((kept / "marked.json").read_text())
    document["ride_settings"]["before"][0] = {"left_out_s": [[0.0, 1.0]]}
    (tmp_path / "r.json").write_text(json.dumps(document))
    assert leave("verify", str(tmp_path / "r.json"), "--logs", str(kept / "logs")) == 1
    assert "measures[two_way_mps].before.value" in capsys.readouterr().err
    document["ride_settings"]["before"] = []
    (tmp_path / "r.json").write_text(json.dumps(document))
    assert leave("verify", str(tmp_path / "r.json"), "--logs", str(kept / "logs")) == 1
    assert "settings in the result cannot be read (1 settings for 2" in capsys.readouterr().err


def test_a_set_up_that_cannot_be_is_told(
    kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    document = json.loads((kept / "foretold.json").read_text())
    document["predicted"]["setup_after"]["front_teeth"] = "ten"
    (tmp_path / "r.json").write_text(json.dumps(document))
    assert leave("verify", str(tmp_path / "r.json"), "--logs", str(kept / "logs")) == 1
    assert "The set-ups in the result cannot be read" in flat(capsys.readouterr().err)


@pytest.mark.parametrize("name", ["ride.json", "pair.json", "foretold.json", "marked.json"])
def test_the_same_logs_give_the_same_result(
    kept: Path, name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "v.json"
    logs = str(kept / "logs")
    assert leave("verify", str(kept / name), "--logs", logs, "--json", str(target)) == 0
    seen = capsys.readouterr().out
    assert "before-1.gpx: same bytes" in seen
    assert "values of the result are the same." in seen
    assert "Asked: every value and bound within 2 % of the half width of its interval" in flat(seen)
    found = json.loads(target.read_text())
    jsonschema.validate(found, schema_of("ridelog.verify/1"))
    assert found["same"] and found["values_compared"] > 60 and found["differing"] == []


@pytest.mark.parametrize(
    ("name", "path", "told"),
    [
        ("ride.json", ("top_speed", "best_1s_mps", "high"), "top_speed.best_1s_mps.high"),
        ("ride.json", ("source", "fixes_used"), "source.fixes_used"),
        ("pair.json", ("measures", 0, "after", "value"), "measures[two_way_mps].after.value"),
        ("foretold.json", ("predicted", "measures", 0, "measured", "value"),
         "predicted.measures[top_speed_mps].measured.value"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("digit", ["first", "last"])
def test_one_digit_is_found(
    kept: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    name: str,
    path: tuple[str | int, ...],
    told: str,
    digit: str,
) -> None:
    document = json.loads((kept / name).read_text())
    inner = document
    for key in path[:-1]:
        inner = inner[key]
    text = str(inner[path[-1]])
    place = next(i for i, letter in enumerate(text) if letter.isdigit())
    if digit == "last":
        place = len(text) - 1
    # Beyond the sixteenth digit two numbers can be the same one.
    others = (json.loads(text[:place] + other + text[place + 1 :]) for other in "740192")
    inner[path[-1]] = next(other for other in others if other != inner[path[-1]])
    (tmp_path / "changed.json").write_text(json.dumps(document))
    assert leave("verify", str(tmp_path / "changed.json"), "--logs", str(kept / "logs")) == 1
    seen = capsys.readouterr()
    assert f"differs: {told}: recorded" in seen.out
    assert f"what the logs give differs in {told}." in flat(seen.err)


def test_one_byte_of_a_log_is_found(
    kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # The speed of a fix in the middle: 1 m/s more in one of them.
    text = (kept / "logs" / "old name.gpx").read_text()
    place = text.index("speed>9.", len(text) // 4) + len("speed>")
    (tmp_path / "before-1.gpx").write_text(text[:place] + "8" + text[place + 1 :])
    assert leave("verify", str(kept / "ride.json"), "--logs", str(tmp_path)) == 1
    seen = capsys.readouterr()
    assert "before-1.gpx: its bytes have CHANGED since" in seen.out
    assert "differs: source.sha256" in seen.out
    assert "the log before-1.gpx is not the one it was made from" in flat(seen.err)
    assert "top_speed" in seen.err or "top_speed" in seen.out


def test_a_sentence_that_was_altered_is_found(
    kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    document = json.loads((kept / "pair.json").read_text())
    document["measures"][0]["verdict"] = "better"
    (tmp_path / "r.json").write_text(json.dumps(document))
    assert leave("verify", str(tmp_path / "r.json"), "--logs", str(kept / "logs")) == 1
    assert "measures[two_way_mps].verdict" in capsys.readouterr().err


def test_messages(kept: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    (tmp_path / "text.json").write_text("no")
    (tmp_path / "deep.json").write_text("[" * 100_000)
    with (tmp_path / "huge.json").open("wb") as hole:
        hole.truncate(64 * 1024 * 1024 + 1)
    (tmp_path / "other.json").write_text('{"schema": "x/1"}')
    (tmp_path / "bare.json").write_text('{"schema": "ridelog.ride/2"}')
    ride, logs = str(kept / "ride.json"), str(kept / "logs")
    for result, folder, message in (
        (ride, str(empty), "put all logs of the result into that folder;"),
        (ride, "nowhere", "nowhere: there is no such folder. What to do: name the folder"),
        ("no.json", logs, "no.json: the file cannot be read (no such file or directory)."),
        (str(tmp_path / "text.json"), logs, "text.json: this is no JSON"),
        (str(tmp_path / "deep.json"), logs, "deep.json: this is no JSON"),
        (str(tmp_path / "huge.json"), logs,
         "huge.json: more than 67,108,864 bytes are too many for a result."),
        (str(tmp_path / "other.json"), logs, "no result that can be verified (schema 'x/1')."),
        (str(tmp_path / "bare.json"), logs, "the result does not name its logs ('source')."),
    ):  # fmt: skip
        assert leave("verify", result, "--logs", folder) == 1
        assert message in flat(capsys.readouterr().err)
    assert leave("verify", ride) == 2


def test_tolerance_is_that_of_another_machine() -> None:
    one = {"a": 1.0, "b": [{"name": "x", "v": 2.0}], "ridelog_version": "1", "c": None}
    other = {"a": 1.0 + 1e-9, "b": [{"name": "x", "v": 2.1}], "ridelog_version": "2", "c": 0}
    assert [each.name for each in disagreements(one, other, leeway=1.0)] == ["b[x].v", "c"]
    assert [each.name for each in disagreements(one, other, leeway=0.0)] == ["a", "b[x].v", "c"]
    longer = disagreements({"a": [1]}, {"a": [1, 2], "d": True}, leeway=0.0)
    assert [each.name for each in longer] == ["a (how many)", "d"]
    assert count_values(one) == 4


@pytest.mark.parametrize(
    ("path", "moved", "same"),
    [
        # The half width is 0.4: 2 % of it are 0.008, whatever the value's own size.
        ("low", 0.0079, True), ("low", 0.0081, False), ("value", -0.0081, False),
        ("high", -0.0079, True), ("p_value", 0.0004, True), ("p_value", 0.0006, False),
    ],
)  # fmt: skip
def test_a_figure_may_move_by_a_fiftieth_of_its_half_width(
    path: str, moved: float, same: bool
) -> None:
    estimate = {"value": 10.0, "low": 9.6, "high": 10.4, "level": 0.9}
    recorded = {"f": {"after": estimate, "p_value": 0.05, "verdict": "better", "runs": 3}}
    computed = json.loads(json.dumps(recorded))
    (computed["f"] if path == "p_value" else computed["f"]["after"])[path] += moved
    assert (disagreements(recorded, computed, leeway=1.0) == []) == same
    # Half the leeway is used up by half as much.
    moved_less = json.loads(json.dumps(recorded))
    (moved_less["f"] if path == "p_value" else moved_less["f"]["after"])[path] += 0.5 * moved
    assert (disagreements(recorded, moved_less, leeway=0.5) == []) == same


@pytest.mark.parametrize(("key", "value"), [("verdict", "cannot say"), ("runs", 4)])
def test_a_verdict_and_a_count_are_the_same_or_not(key: str, value: object) -> None:
    recorded = {"verdict": "better", "runs": 3}
    found = disagreements(recorded, {**recorded, key: value}, leeway=1.0)
    assert [each.name for each in found] == [key]
