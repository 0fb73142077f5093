"""Rides against a stated top speed: the ratio holds the truth as often as it says."""

import json
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader
from typer.testing import CliRunner

from ridelog.analysis.figure import HIGHER, Comparable, Figure
from ridelog.analysis.subject import DANGER, WARNING, Caution
from ridelog.cli.main import app
from ridelog.compare.stated import StatedSpeed, against_stated
from ridelog.core.errors import RideLogError
from ridelog.core.estimate import QUANTILE, Estimate
from ridelog.core.quantity import SPEED

SAMPLES = Path(__file__).parents[2] / "sample_tracks"
DONE = ["compare", "--stated", "28 km/h", "--stated-within", "10 %", "--after",
        str(SAMPLES / "after-2.nmea")]  # fmt: skip


def ride(value: float | None, sd: float = 0.03) -> Any:
    """Return what stands for a ride whose top speed is told, or for one that tells none."""
    known = None if value is None else Estimate(value, value - QUANTILE * sd, value + QUANTILE * sd)
    figure = Figure("two_way_mps", "mean of both directions", SPEED, known, "one direction only",
                    Comparable(HIGHER))  # fmt: skip
    figures = {"two_way_mps": figure, "best_1s_mps": figure}
    return SimpleNamespace(figures=figures, name="a ride", source=SimpleNamespace(file="a ride"))


@pytest.mark.parametrize("rides", [1, 2, 3])
def test_the_ratio_holds_the_truth_as_often_as_it_says(rides: int) -> None:
    """The truth of the statement lies anywhere within its tolerance; 5 % tails of 400 draws."""
    rng = np.random.default_rng(7)
    held = {"ratio": 0, "difference": 0}
    for _ in range(400):
        stated, within, now = rng.uniform(3.0, 9.0), rng.uniform(0.02, 0.2), rng.uniform(5.0, 12.0)
        was = stated * (1.0 + within * rng.uniform(-1.0, 1.0))
        # With one ride its own receiver is all that scatters: nothing tells how rides differ.
        scatter = 0.0 if rides == 1 else rng.uniform(0.0, 0.1)
        seen = [
            ride(now + scatter * rng.standard_normal() + 0.03 * rng.standard_normal())
            for _ in range(rides)
        ]
        found = against_stated(StatedSpeed(stated, within), tuple(seen))
        held["ratio"] += found.ratio.low <= now / was <= found.ratio.high
        held["difference"] += found.difference.low <= now - was <= found.difference.high
    for name, count in held.items():
        assert 0.87 <= count / 400 <= 0.95, (name, count)


def test_a_statement_is_an_even_spread_over_its_tolerance() -> None:
    """GUM (JCGM 100:2008), 4.3.7: a rectangular distribution, nine tenths of which are 0.9 a."""
    estimate = StatedSpeed(10.0, 0.1).estimate
    assert (estimate.value, estimate.low, estimate.high) == pytest.approx((10.0, 9.1, 10.9))


def test_twice_as_fast_is_said_so() -> None:
    found = against_stated(StatedSpeed(14 / 3.6, 0.1), (ride(28 / 3.6), ride(28.02 / 3.6)))
    assert found.ratio.value == pytest.approx(2.0, abs=0.01)
    # 28 / 15.26 and 28 / 12.74, the ends of nine tenths of the statement's spread.
    assert found.ratio.low == pytest.approx(1.83, abs=0.03)
    assert found.ratio.high == pytest.approx(2.20, abs=0.03)
    assert found.verdict == "better" and not found.alone
    assert against_stated(StatedSpeed(10.0, 0.1), (ride(8.0),)).verdict == "worse"
    assert against_stated(StatedSpeed(10.0, 0.1), (ride(10.3),)).verdict == "no difference shown"


def test_rides_that_tell_nothing_are_said() -> None:
    with pytest.raises(RideLogError, match=r"no ride tells a top speed \(one direction only\)"):
        against_stated(StatedSpeed(10.0, 0.1), (ride(None),))
    with pytest.raises(RideLogError, match="There is no ride after"):
        against_stated(StatedSpeed(10.0, 0.1), ())


@pytest.fixture(scope="module")
def result(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("stated") / "result.json"
    done = CliRunner().invoke(app, [*DONE, "--stated-by", "a leaflet", "--json", str(place)])
    assert done.exit_code == 0, done.output
    said = " ".join(done.output.split())
    assert "times (1.7" in said and "the stated 28.0 km/h (a leaflet)" in said
    assert "what the machine gained or lost otherwise is not known" in said
    assert "how far rides of one machine differ by themselves is not in the brackets" in said
    return place


def test_the_result_has_the_form_of_a_comparison_and_is_verified(result: Path) -> None:
    document = json.loads(result.read_text())
    schema = json.loads(
        (Path(__file__).parents[2] / "ridelog/report/schemas/compare-1.json").read_text()
    )
    jsonschema = pytest.importorskip("jsonschema")
    jsonschema.validate(document, schema)
    assert document["before"] == []
    (measure,) = document["measures"]
    assert measure["ratio"]["low"] < measure["ratio"]["value"] < measure["ratio"]["high"]
    done = CliRunner().invoke(app, ["verify", str(result), "--logs", str(SAMPLES)])
    assert done.exit_code == 0, done.output
    document["stated"]["mps"] *= 1.01
    result.with_name("altered.json").write_text(json.dumps(document))
    altered = ["verify", str(result.with_name("altered.json")), "--logs", str(SAMPLES)]
    assert CliRunner().invoke(app, altered).exit_code != 0


def test_the_owners_sheet_against_a_statement(tmp_path: Path) -> None:
    out = tmp_path / "sheet"
    words = [*DONE, "--stated-by", "a leaflet", "--out", str(out), "--aim", "tamer"]
    words += ["--noted-after", "machine=Tern", "change=new motor", "price=120 EUR"]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0, done.output
    assert {place.name for place in out.iterdir()} == {
        "sheet.html", "sheet.pdf", "runs.png", "result.json", "measures.csv",
    }  # fmt: skip
    page = (out / "sheet.html").read_text(encoding="utf-8")
    assert "Tern: new motor" in page and "the stated 28.0 km/h (a leaflet)" in page
    assert "One ride tells it: " in page and "two more would tell" in page
    assert "stated by a leaflet, good to 10 %" in page and "120 EUR" in page
    assert "It is faster than stated, against the wish." in page
    assert "Your decision: please tick one and sign" in page
    assert len(PdfReader(out / "sheet.pdf").pages) == 1
    rows = (out / "measures.csv").read_text(encoding="utf-8").splitlines()
    assert [row.split(",")[2] for row in rows[1:]] == ["stated", "after", "difference", "ratio"]
    # The notes are in the result, so that it is computed again with them.
    assert json.loads((out / "result.json").read_text())["noted"]["after"]["machine"] == "Tern"
    verify = ["verify", str(out / "result.json"), "--logs", str(SAMPLES)]
    assert CliRunner().invoke(app, verify).exit_code == 0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["compare", "--after", "a"], "the rides before, or the top speed that was stated"),
        ([*DONE, "--before", "b"], "the rides before, or the top speed that was stated"),
        (["compare", "--stated", "28 km/h", "--after", "a"], "how good the statement is"),
        (["compare", "--stated", "28 km/h", "--stated-within", "much", "--after", "a"], "no share"),
        (["compare", "--stated", "fast", "--stated-within", "9 %", "--after", "a"], "no speed"),
        (["compare", "--stated", "9 mph", "--stated-within", "0 %", "--after", "a"], "above zero"),
        ([*DONE, "--smoothed", "gpx"], "smoothed rides and predictions need rides before"),
    ],
)
def test_what_is_missing_is_said(words: list[str], says: str) -> None:
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 2
    assert says in " ".join(done.output.replace("│", " ").split())


def test_the_gravest_warning_of_all_rides_is_told() -> None:
    """A ride that braked better takes nothing from the warning of one that braked badly."""

    def warned(value: float, gravity: int, code: str = "brakes") -> Any:
        one = ride(8.0)
        one.cautions = (Caution(code, f"{code} {value}.", value, 5.0, "a source", gravity=gravity),)
        return one

    rides = (warned(3.0, DANGER), warned(4.0, DANGER), warned(20.0, WARNING, "fast"))
    found = against_stated(StatedSpeed(10.0, 0.1), rides)
    assert [one.text for one in found.cautions] == ["brakes 3.0.", "fast 20.0."]


@pytest.mark.parametrize("count", [1, 2, 4])
def test_the_mean_of_rides_is_known_by_the_root_of_their_number(count: int) -> None:
    """Independent errors, JCGM 100:2008 (GUM), 4.2.3: the mean of n has 1/sqrt(n) of one's."""
    same = tuple(ride(10.0, 0.05) for _ in range(count))
    after = against_stated(StatedSpeed(8.0, 0.05), same).after
    assert after.high - after.value == pytest.approx(QUANTILE * 0.05 / np.sqrt(count), rel=1e-6)
