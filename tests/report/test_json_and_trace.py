import csv
import io
import json
from dataclasses import replace
from typing import Any

import jsonschema
import numpy as np
import pytest
from changed_rides import without_top_speed
from long_rides import hour_of

from ridelog.analysis.register import SUBJECTS
from ridelog.analysis.ride import concluded
from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.subject import MeasuredRide, RideSource
from ridelog.filtering.motion import Motion
from ridelog.report.ride_json import (
    RIDE_SCHEMA,
    SIGNAL_SCHEMA,
    ride_json,
    schema_of,
    signal_json,
    to_bytes,
)
from ridelog.report.schema import MADE, stored_text
from ridelog.report.trace import COLUMNS, _utc_texts, trace_csv


def check(document: bytes, name: str) -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads(document)
    jsonschema.Draft202012Validator(schema_of(name)).validate(loaded)
    return loaded


@pytest.mark.parametrize("name", [RIDE_SCHEMA, SIGNAL_SCHEMA])
def test_the_schemas_are_valid_themselves(name: str) -> None:
    jsonschema.Draft202012Validator.check_schema(schema_of(name))
    assert schema_of(name)["properties"]["schema"] == {"const": name}


@pytest.mark.parametrize("ride", ["good", "rough"])
def test_results_follow_their_schemas(ride: str, request: pytest.FixtureRequest) -> None:
    motion: Motion = request.getfixturevalue(f"{ride}_motion")
    result: MeasuredRide = request.getfixturevalue(f"{ride}_result")
    check(to_bytes(ride_json(result)), RIDE_SCHEMA)
    check(to_bytes(signal_json(RideSource.of(motion), judge_signal(motion))), SIGNAL_SCHEMA)


def test_the_schema_refuses_what_is_not_promised(good_result: MeasuredRide) -> None:
    document = ride_json(good_result)
    del document["top_speed"]["best_1s_mps"]["low"]
    with pytest.raises(jsonschema.ValidationError, match="is not valid under any"):
        check(to_bytes(document), RIDE_SCHEMA)


def test_a_missing_figure_is_null_with_a_reason(good_result: MeasuredRide) -> None:
    result = without_top_speed(good_result, "nothing to see")
    loaded = check(to_bytes(ride_json(result)), RIDE_SCHEMA)
    part = loaded["top_speed"]
    assert isinstance(part, dict)
    assert part["best_1s_mps"] is None and part["at_s"] is None
    assert "nothing to see" in part["reason"] and part["headline"] == "best_1s_mps"


def test_a_figure_that_may_not_be_named_is_null_with_its_range(good_result: MeasuredRide) -> None:
    weak = replace(good_result["signal"], grade="too weak")
    result = concluded(good_result.with_record("signal", weak))
    loaded: dict[str, Any] = check(to_bytes(ride_json(result)), RIDE_SCHEMA)
    assert loaded["signal"]["grade"] == "too weak"
    top = loaded["top_speed"]
    assert top["best_1s_mps"] is top["two_way_mps"] is None and top["headline"] == "two_way_mps"
    assert "too weak to name one figure; it lies somewhere from" in top["reason"]
    assert all(figure["value"] is None and figure["reason"] for figure in loaded["figures"])


def test_every_figure_of_the_register_is_listed(good_result: MeasuredRide) -> None:
    listed: list[dict[str, Any]] = ride_json(good_result)["figures"]
    assert [one["name"] for one in listed] == list(good_result.figures)
    top = next(one for one in listed if one["name"] == "two_way_mps")
    assert top["value"] == good_result["top_speed"].two_way_mps.as_json()
    assert (top["title"], top["unit"], top["reason"]) == ("both directions", "m/s", "")
    assert all((one["value"] is None) == bool(one["reason"]) for one in listed)


@pytest.mark.parametrize("name", MADE)
def test_the_stored_schemas_are_those_of_the_records(name: str) -> None:
    """If this fails: python -m ridelog.report.schema."""
    assert json.loads(stored_text(name)) == schema_of(name)


def test_the_schema_of_a_ride_asks_for_the_members_of_every_subject() -> None:
    schema = schema_of(RIDE_SCHEMA)
    for subject in SUBJECTS:
        assert set(subject.members) <= set(schema["required"])
    assert {"top_speed", "signal", "figures"} <= set(schema["required"])
    assert schema["properties"]["signal"]["properties"]["grade"] == {
        "enum": ["good", "fair", "too weak"]
    }


def test_not_a_number_is_never_written(good_result: MeasuredRide) -> None:
    document = ride_json(good_result)
    document["top_speed"]["at_s"] = float("nan")
    with pytest.raises(ValueError, match="JSON compliant"):
        to_bytes(document)


def read(table: bytes) -> tuple[str, list[dict[str, str]]]:
    comment, rest = table.decode().split("\n", 1)
    return comment, list(csv.DictReader(io.StringIO(rest)))


def test_the_trace_is_the_motion_row_by_row(good_motion: Motion) -> None:
    comment, rows = read(trace_csv(good_motion, ()))
    latitude, longitude = good_motion.origin_deg
    assert comment.startswith("# ")
    assert f"latitude_deg={latitude:.9f}" in comment and f"longitude_deg={longitude:.9f}" in comment
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == len(good_motion.track)
    for name, values in (
        ("time_s", good_motion.track.time_s),
        ("east_m", good_motion.east_m),
        ("speed_mps", good_motion.speed_mps),
        ("speed_sd_mps", good_motion.speed_sd_mps),
        ("accel_mps2", good_motion.accel_mps2),
        ("yaw_rate_radps", good_motion.yaw_rate_radps),
        ("course_deg", np.degrees(good_motion.course_rad)),
    ):
        written = np.array([float(row[name] or "nan") for row in rows])
        np.testing.assert_allclose(written, values, atol=6e-4)
    assert "nan" not in trace_csv(good_motion, ()).decode()


def test_empty_where_nothing_can_be_said(rough_motion: Motion) -> None:
    unknown = ~np.isfinite(rough_motion.course_rad)
    _, rows = read(trace_csv(rough_motion, ()))
    assert unknown.any()
    assert all((row["course_deg"] == "") == lost for row, lost in zip(rows, unknown, strict=True))
    assert any("SETTLING|" in row["flags"] for row in rows)


def test_velocity_has_a_sign_only_when_someone_looked(good_motion: Motion) -> None:
    _, rows = read(trace_csv(good_motion))
    assert {row["velocity_mps"] for row in rows} == {""}
    _, rows = read(trace_csv(good_motion, ((20.0, 22.0),)))
    for row in rows:
        inside = 20.0 <= float(row["time_s"]) <= 22.0
        sign = -1.0 if inside else 1.0
        assert float(row["velocity_mps"]) == pytest.approx(sign * float(row["speed_mps"]), abs=1e-9)


def test_times_are_written_as_the_track_writes_them(good_motion: Motion) -> None:
    track = good_motion.track
    for index in (0, 3, 500):
        expected = track.utc_text(float(track.time_s[index]))
        assert _utc_texts(track)[index].replace(".000Z", "Z") == expected
    undated = replace(track, date_known=False)
    assert _utc_texts(undated)[0].startswith("T09:00")
    timeless = replace(track, start_utc=None)
    assert set(_utc_texts(timeless)) == {""}
    some = track.time_s.copy()
    some[1] = np.nan
    assert _utc_texts(replace(track, time_s=some))[1] == ""


def test_an_hour_at_ten_hertz_is_written_row_by_row(good_motion: Motion) -> None:
    many = hour_of(good_motion)
    # How long that takes: tests/benchmarks/table_of_an_hour.py.
    assert trace_csv(many, ()).count(b"\n") == 2 + len(many.track) >= 36_000
