"""The owner's sheet: one sheet, plain words, tagged PDF with the result inside, no coordinates."""

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pypdf
import pytest

from ridelog.analysis.energy import WHEEL_ENERGY
from ridelog.analysis.subject import DANGER, Caution, MeasuredRide
from ridelog.compare.comparison import Comparison, compare
from ridelog.compare.noted import with_open
from ridelog.core.estimate import Estimate
from ridelog.core.units import SPEED_UNITS
from ridelog.importer import load_track
from ridelog.machine.setup import MachineSetup
from ridelog.report.aim import Aim
from ridelog.report.compare_json import compare_json
from ridelog.report.energy_words import at_known_mass
from ridelog.report.letterhead import letterhead
from ridelog.report.owner_words import owner_sentence
from ridelog.report.pdf import PAPERS
from ridelog.report.ride_json import to_bytes
from ridelog.report.rounding import rounding_words
from ridelog.report.sheet import sheet_words
from ridelog.report.sheet_pdf import COLUMNS, measures_csv, sheet_files
from ridelog.report.trace import smoothed_gpx

pytest_plugins = ("thin_rides",)
KMH = SPEED_UNITS["km/h"]
TEMPLATES = Path(__file__).resolve().parents[2] / "ridelog" / "report" / "templates"


def made(comparison: Comparison, workshop: str = "", **words: Any) -> tuple[dict[str, bytes], str]:
    head = letterhead(workshop, "Mill Lane 3")
    result = to_bytes(compare_json(comparison))
    return sheet_files(comparison, KMH, result, letterhead=head, **words)


@pytest.fixture(scope="module")
def files(thin_comparison: Comparison) -> dict[str, bytes]:
    return made(thin_comparison, workshop="Quillgarth Works", note="Eight teeth fewer.")[0]


@pytest.mark.parametrize(("paper", "width_pt"), list(zip(PAPERS, (595, 612), strict=True)))
def test_pdf_is_one_tagged_sheet(thin_comparison: Comparison, paper: str, width_pt: int) -> None:
    """With three rides a side, all that can be typed, and a set-up of which most is open."""
    sides = [
        (
            *rides,
            replace(
                rides[0], source=replace(rides[0].source, sha256=3 * rides[0].source.sha256[:20])
            ),
        )
        for rides in (thin_comparison.before, thin_comparison.after)
    ]
    job = {
        "done": "rear sprocket with 56 teeth in place of 64, chain shortened by four links",
        "price": "39.60 EUR", "hours": "1.5 h", "open": "mudguard rubs at full lock",
    }  # fmt: skip
    setup = MachineSetup(battery_cells=14, battery_chemistry="li-ion", display_max_v=48.0)
    full = compare(sides[0], sides[1], noted_after=with_open(job, [setup]))
    made_files, lacking = made(full, "Quillgarth Works", paper=paper, note="Come back in May.")
    reader = pypdf.PdfReader(io.BytesIO(made_files["sheet.pdf"]))
    assert lacking == ""
    assert len(reader.pages) == 1
    assert round(float(reader.pages[0].mediabox.width)) == width_pt
    flat = " ".join(reader.pages[0].extract_text().split())
    for words in (
        *list(job.values())[:3], "Mudguard rubs at full lock. Contradiction, display volts: Full,",
        "Not confirmed by anyone: volts of ", "Come back in May.", "Quillgarth Works",
        "Date and signature",
    ):  # fmt: skip
        assert words in flat, words
    root: Any = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"].startswith("en")
    assert reader.metadata is not None and reader.metadata.title == "What the change did"
    assert b"pdfuaid" in root["/Metadata"].get_data()


def test_pdf_carries_the_result_byte_for_byte(files: dict[str, bytes]) -> None:
    reader = pypdf.PdfReader(io.BytesIO(files["sheet.pdf"]))
    assert reader.attachments["result.json"] == [files["result.json"]]


def test_pdf_is_the_same_twice(thin_comparison: Comparison) -> None:
    assert made(thin_comparison)[0]["sheet.pdf"] == made(thin_comparison)[0]["sheet.pdf"]


def test_the_sheet_gives_whole_what_a_ride_warns_of(thin_rides: dict[str, Any]) -> None:
    before, after = thin_rides["before"], list(thin_rides["after"])
    told = Caution("fast", "It is fast. Do not stand behind it.", 9.0, 8.0, "", gravity=DANGER)
    after[0] = replace(after[0], cautions=(told, *after[0].cautions))
    words = sheet_words(compare(before, tuple(after)), KMH)
    assert "It is fast. Do not stand behind it." in [one["text"] for one in words.cautions]


def test_html_stands_alone_and_tells_no_place(files: dict[str, bytes], thin_logs: Path) -> None:
    page = files["sheet.html"].decode()
    assert "<script" not in page and "@import" not in page
    assert "http" not in page.replace("http://www.w3.org", "")
    for log in thin_logs.rglob("*.gpx"):
        for name in ("lat", "lon"):
            seen = log.read_text().split(f'{name}="')[1].split('"')[0]
            assert seen[:7] not in page
    assert "Quillgarth Works" in page and "Eight teeth fewer." in page


def test_the_sheet_answers_an_owner(files: dict[str, bytes]) -> None:
    page = files["sheet.html"].decode()
    text = "".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(files["sheet.pdf"])).pages)
    flat = " ".join(text.split())
    for words in (
        "tops out higher: ",
        " instead of ",
        "How sure is it?",
        "Mill Lane 3",
        "Your decision: please tick one and sign",
        "Before anyone rides it",
        "Not measured:",
        "nine times out of ten",
        "Helmet, eye protection",
        "tyre pressure",
        "What else may have moved the figures",
    ):
        assert words in page, words
        assert words in flat, words
    for jargon in ("Welch", "Holm", "p value", "Satterthwaite", "degrees of freedom", "null"):
        assert jargon not in page
        assert jargon not in flat


def test_a_name_is_never_markup(thin_comparison: Comparison) -> None:
    name = '#panic("x") <b>&amp; $y$ *bold*'
    made_files, lacking = made(thin_comparison, workshop=name)
    text = pypdf.PdfReader(io.BytesIO(made_files["sheet.pdf"])).pages[0].extract_text()
    assert name in text
    assert lacking == ""
    assert "&lt;b&gt;" in made_files["sheet.html"].decode()


def test_letters_that_the_font_lacks_are_told(thin_comparison: Comparison) -> None:
    made_files, lacking = made(thin_comparison, workshop="\N{CJK UNIFIED IDEOGRAPH-8ECA}")
    assert made_files["sheet.pdf"].startswith(b"%PDF")
    assert "fonts of this machine" in lacking or "does not claim to be accessible" in lacking


def test_templates_fetch_nothing() -> None:
    for path in TEMPLATES.iterdir():
        text = path.read_text(encoding="utf-8")
        assert "@preview" not in text, path
        assert "http" not in text, path


def test_csv_holds_every_figure(thin_comparison: Comparison) -> None:
    rows = list(csv.DictReader(io.StringIO(measures_csv(thin_comparison).decode())))
    assert tuple(rows[0]) == COLUMNS
    result = compare_json(thin_comparison)
    for measure in result["measures"]:
        mine = [row for row in rows if row["measure"] == measure["name"]]
        assert [row["row"] for row in mine].count("ride before") == 2
        difference = next(row for row in mine if row["row"] == "difference")
        if measure["difference"] is not None:
            assert float(difference["value"]) == pytest.approx(
                measure["difference"]["value"], rel=1e-5
            )
            assert difference["words"] == measure["verdict"]
        else:
            assert difference["value"] == ""


def test_smoothed_gpx_reads_back(
    thin_rides: dict[str, tuple[MeasuredRide, ...]], tmp_path: Path
) -> None:
    motion = thin_rides["before"][0].motion
    path = tmp_path / "smoothed.gpx"
    path.write_bytes(smoothed_gpx(motion))
    track = load_track(path)
    assert track.source.format == "gpx-1.0"
    known = motion.used & np.isfinite(motion.speed_mps)
    assert len(track) == np.count_nonzero(known)
    assert np.allclose(track.speed_mps, motion.speed_mps[known], atol=1e-4)
    assert track.start_utc == motion.track.start_utc


def test_one_ride_a_side_on_the_sheet(thin_rides: dict[str, tuple[MeasuredRide, ...]]) -> None:
    lone = compare(thin_rides["before"][:1], thin_rides["after"][:1])
    page = made(lone)[0]["sheet.html"].decode()
    assert "nothing here is called better or worse" in page
    assert '<p class="verdict">cannot say</p>' in page
    assert json.loads(made(lone)[0]["result.json"])["false_alarms"]["figures_tested"] == 0


JOB = {
    "machine": "Burrfield 1", "change": "12 teeth", "done": "chain kept", "price": "40 EUR",
    "hours": "1.5", "open": "lights: not confirmed on this pack",
}  # fmt: skip


def test_the_sheet_names_machine_change_work_and_what_is_open(
    thin_rides: dict[str, tuple[MeasuredRide, ...]],
) -> None:
    """Notes of the job are no conditions: that they differ from side to side is no mismatch."""
    noted = {"before": {"machine": "Burrfield 1", "change": "11 teeth"}, "after": JOB}
    found = compare(
        thin_rides["before"], thin_rides["after"],
        noted_before=noted["before"], noted_after=noted["after"],
    )  # fmt: skip
    assert not any(each.code == "noted_differently" for each in found.mismatches)
    words = sheet_words(found, KMH)
    assert words.title == "Burrfield 1: 12 teeth"
    assert [label for label, _ in words.done] == ["Done", "Price", "Hours of work"]
    # What is open is to be done before anyone rides, not something that was done.
    assert words.open == JOB["open"]
    files, _ = made(found)
    reader = pypdf.PdfReader(io.BytesIO(files["sheet.pdf"]))
    assert reader.metadata is not None and reader.metadata.title == "Burrfield 1: 12 teeth"
    first = " ".join(reader.pages[0].extract_text().split())
    for said in ("chain kept", "40 EUR", "1.5", "lights: not confirmed on this pack"):
        assert said in first and said in files["sheet.html"].decode()
    assert f"Still to be done. {JOB['open']}" in first.partition("Before anyone rides it")[2]


def test_set_ups_of_both_sides_name_the_change(
    thin_rides: dict[str, tuple[MeasuredRide, ...]],
) -> None:
    found = compare(
        thin_rides["before"], thin_rides["after"],
        noted_before={"setup": "11 teeth"}, noted_after={"setup": "12 teeth"},
    )  # fmt: skip
    assert sheet_words(found, KMH).title == "12 teeth instead of 11 teeth"


def test_the_aim_decides_what_is_wished(thin_comparison: Comparison) -> None:
    """The thin machine tops out higher and pulls less: a tamer one wants the second alone."""
    usual = owner_sentence(thin_comparison, KMH)
    assert usual.startswith("It tops out higher: ") and "In return it " in usual
    tamer = owner_sentence(thin_comparison, KMH, Aim.TAMER)
    assert tamer.startswith("As wished, it ")
    assert "Against the wish, it tops out higher: " in tamer
    words = sheet_words(thin_comparison, KMH, aim=Aim.TAMER)
    verdicts = {figure.title: figure.verdict for figure in words.figures}
    assert verdicts["Top speed"] == "not as wished"
    assert words.losses_head == "What got worse or went against the wish"


@pytest.mark.parametrize(("aim", "first", "then"), [
    (Aim.FASTER, "As wished, it tops out higher: ", "In return it "),
    (Aim.QUICKER, "Against the wish, it ", "In return it tops out higher: "),
])  # fmt: skip
def test_an_aim_is_about_its_own_figures(
    thin_comparison: Comparison, aim: Aim, first: str, then: str
) -> None:
    """One who wants it quicker did not ask for a higher top speed, and is told what that cost."""
    sentence = owner_sentence(thin_comparison, KMH, aim)
    assert sentence.startswith(first) and then in sentence


def test_who_wants_to_go_farther_hears_of_the_energy(thin_comparison: Comparison) -> None:
    """The three figures named first hold no energy: what rose stands in for it here."""
    top = thin_comparison["best_1s_mps"]
    named = replace(top.figure, name=WHEEL_ENERGY, title="energy at the wheels")
    more = replace(top, figure=named, verdict=replace(top.verdict, word="worse"))
    found = replace(thin_comparison, figures=(*thin_comparison.figures, more))
    sentence = owner_sentence(found, KMH, Aim.FARTHER)
    assert sentence.startswith("Against the wish, it uses more energy at the wheels: ")
    assert "In return it tops out higher: " in sentence


def test_what_is_not_shown_says_what_would_have_shown(thin_comparison: Comparison) -> None:
    """The same rides on both sides of each other differ in nothing."""
    top = thin_comparison["two_way_mps"]
    assert top.difference is not None
    still = replace(top, verdict=replace(top.verdict, word="no difference shown"))
    figures = tuple(still if each is top else each for each in thin_comparison.figures)
    sentence = owner_sentence(replace(thin_comparison, figures=figures), KMH)
    assert "Top speed: no difference shown" in sentence


def test_more_rides_than_find_room_go_to_the_back(
    thin_comparison: Comparison,
) -> None:
    made_files, lacking = made(thin_comparison, note="A long note. " * 230)
    assert lacking == ""
    reader = pypdf.PdfReader(io.BytesIO(made_files["sheet.pdf"]))
    assert len(reader.pages) == 2
    assert "SHA-256" in reader.pages[1].extract_text()
    assert "Your decision" in reader.pages[0].extract_text()


def test_printed_figures_that_do_not_add_up_say_why(thin_comparison: Comparison) -> None:
    top = thin_comparison["two_way_mps"]
    assert top.difference is not None

    def said(before: float, after: float, moved: float) -> str:
        assert top.difference is not None
        sides = [Estimate(kmh / 3.6, kmh / 3.6 - 0.1, kmh / 3.6 + 0.1) for kmh in (before, after)]
        difference = Estimate(moved / 3.6, moved / 3.6 - 0.1, moved / 3.6 + 0.1)
        apart = replace(top.difference, before=sides[0], after=sides[1], difference=difference)
        return rounding_words([replace(top, difference=apart)], KMH)

    # 47.6 and 52.5: the difference is 4.98, and told as 4.9.
    assert said(47.56, 52.54, 4.98) == ""
    assert said(47.6, 52.5, 4.9) == ""
    # Of rides in pairs, say: more than rounding parts them.
    assert "rounded by itself" in said(47.6, 52.5, 5.1)


def test_energy_is_of_the_whole_machine_where_set_ups_name_its_mass(
    thin_comparison: Comparison,
) -> None:
    prediction = SimpleNamespace(
        setup=MachineSetup(machine_mass_kg=92.0, rider_mass_kg=81.0),
        change=SimpleNamespace(asked={"rear_teeth": 56}),
    )
    told: Any = SimpleNamespace(prediction=prediction)
    # These rides do not roll out, so that one of their figures stands in for their energy.
    any_figure = thin_comparison["two_way_mps"]
    energy = replace(any_figure, figure=replace(any_figure.figure, name=WHEEL_ENERGY))
    known = replace(thin_comparison, predicted=told, figures=(energy,))
    energy = at_known_mass(known)["wheel_energy_j_per_kg_m"]
    assert energy.quantity.label(KMH) == "Wh/km" and "173 kg" in energy.figure.explained
    # 600 J/(kg km) of 173 kg are 103,800 J: 28.8 Wh.
    assert energy.quantity.scaled(0.6, KMH) == pytest.approx(0.6 * 173.0 * 1000.0 / 3600.0)
    prediction.change.asked = {"rider_mass_kg": 60}
    assert at_known_mass(known) is known
