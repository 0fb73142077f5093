"""README runs: every block of it, and what it prints is what comes out."""

import re
import shlex
from pathlib import Path
from typing import Any

import pytest
from readme_blocks import ROOT, Block, blocks, differences, part_of, ran
from typer.main import get_command

from ridelog.cli.main import app

PRINTED = [block for block in blocks() if block.printed is not None]
OTHERS = [block for block in blocks() if block.printed is None]


def test_every_block_is_run_somewhere() -> None:
    """A new block of the shell needs a place here; programs run in tests/workflow."""
    kinds = [block.command.split()[0].rpartition("/")[2] for block in OTHERS if block.is_shell]
    assert kinds == ["pytest", "ridelog"]
    assert {block.language for block in blocks()} == {"sh", "python"}
    assert [block.language for block in PRINTED] == ["sh"] * len(PRINTED)
    assert [shlex.split(block.command)[1] for block in PRINTED] == [
        "report",
        "predict",
        "options",
        "compare",
    ]


@pytest.mark.parametrize("block", PRINTED, ids=lambda block: shlex.split(block.command)[1])
def test_the_printed_output_is_what_comes_out(block: Block) -> None:
    """On failure: PYTHONPATH=. python tests/cli/readme_blocks.py"""
    assert block.printed is not None
    status, seen, told = ran(block)
    assert status == 0 and "Warning" not in told, told
    wrong = list(differences(block.printed, part_of(block.printed, seen)))
    assert not wrong, "\n".join(wrong)


def test_every_further_program_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first is run by tests/workflow/test_api.py; these beside two shortened samples."""
    samples = tmp_path / "sample_tracks"
    samples.mkdir()
    for name in ("before-2.nmea", "after-2.nmea"):
        lines = (ROOT / "sample_tracks" / name).read_bytes().splitlines(keepends=True)
        (samples / name).write_bytes(b"".join(lines[: len(lines) // 3]))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MPLBACKEND", "agg")
    programs = [block.text for block in blocks() if block.language == "python"]
    assert programs[0].startswith("import ridelog\n\nride = ridelog.load(")
    for text in programs[1:]:
        exec(compile(text, "README.md", "exec"), {})
    (season,) = (text for text in programs if "ridelog.batch" in text)
    assert len([line for line in season.splitlines() if line.strip()]) == 5
    table, picture = re.findall(r'"(\w+\.(?:csv|png))"', season)
    assert len((tmp_path / table).read_text(encoding="utf-8").splitlines()) == 3
    assert (tmp_path / picture).read_bytes().startswith(b"\x89PNG")


def test_the_set_up_lines_ask_for_what_the_project_needs() -> None:
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    for block in blocks():
        if "venv" in block.text and block.language == "sh":
            made = r"(python3\.\d+) -m venv \.venv && \.venv/bin/pip install -q "
            asked = re.match(made, block.text)
            assert asked is not None
            assert f'requires-python = ">={asked[1].removeprefix("python")}"' in project
    test = next(block.text for block in OTHERS if "pytest" in block.text)
    # The same command is what .ci/run takes out of README.
    assert "-e '.[dev]'" in test and "dev = [" in project


def test_the_page_opens_where_readme_says() -> None:
    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    opens = r"```sh ridelog serve ``` opens a page at `http://127\.0\.0\.1:(\d+)/`"
    (port,) = re.findall(opens, text)
    (serve,) = [one for name, one in commands() if name == "serve"]
    assert {one.name: one.default for one in serve.params}["port"] == int(port)


def commands() -> list[tuple[str, Any]]:
    """Return every command with its full name, such as "book add"."""
    found: list[tuple[str, Any]] = []
    for name, command in get_command(app).commands.items():  # type: ignore[attr-defined]  # a group
        inner = getattr(command, "commands", None)
        found += [(f"{name} {n}", c) for n, c in inner.items()] if inner else [(name, command)]
    return found


def test_every_command_and_option_that_readme_names_exists() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8").partition("## Changes")[0]
    text = re.sub(r"(?m)^.*/pytest .*$", "", text)  # its options are not ridelog's
    known = {flag for _, command in commands() for one in command.params for flag in one.opts}
    named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", text))
    assert len(named) > 20 and named <= known
    words = {name.split()[0] for name, _ in commands()}
    assert set(re.findall(r"`ridelog ([a-z]+)", text)) <= words
    assert words <= set(re.findall(r"ridelog ([a-z]+)", text)), "README names every command"


@pytest.mark.parametrize(
    ("printed", "seen", "wrong"),
    [
        ("Top 52.7 km/h (52.6 to 52.8)\n", "Top 52.8 km/h (52.6 to 52.8)\n", ""),
        ("Top 52.7 km/h (52.6 to 52.8)\n", "Top 52.9 km/h (52.6 to 52.8)\n", "52.7 km/h is 52.9"),
        ("Top 50 km/h (0 to 100)\n", "Top 52 km/h (0 to 100)\n", ""),
        ("Top 50 km/h (0 to 100)\n", "Top 53 km/h (0 to 100)\n", "50 km/h is 53 now"),
        ("all 2,205 fixes used\n", "all 2,206 fixes used\n", "2,205  is 2,206 now"),
        ("9 June 2024\n", "8 June 2024\n", "9  is 8 now"),
        ("needs 51 m\n", "needs 52 m\n", ""),
        ("needs 51 m\n", "needs 53 m\n", "51 m is 53 now"),
        ("better\n", "worse\n", "the words are others"),
        ("a   2\n", "a 2\n", ""),
        ("gain −0.31 (−0.37 to −0.24)\n", "gain −0.30 (−0.37 to −0.25)\n", ""),
        ("0-20 km/h in 3.07 s\n", "0-40 km/h in 3.07 s\n", "the words are others"),
    ],
)
def test_how_near_a_printed_output_must_be(printed: str, seen: str, wrong: str) -> None:
    told = list(differences(printed, seen))
    assert bool(told) == bool(wrong) and all(one.startswith(wrong) for one in told)


def test_a_part_of_an_output_is_found_by_its_first_line() -> None:
    assert part_of("b\nc\n", "a\nb\nC\nd\n") == "b\nC\n"
    assert part_of("x\ny\n", "a\nb\nC\nd\n") == "C\nd\n"
