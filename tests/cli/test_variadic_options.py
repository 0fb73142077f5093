"""Options that take several values after one name."""

from ridelog.cli.options import spread

NAMES = ["--before", "--after"]


def test_values_up_to_the_next_option() -> None:
    words = ["--before", "a", "b", "--after", "c", "--out", "d"]
    assert spread(words, NAMES) == [
        "--before", "a", "--before", "b", "--after", "c", "--out", "d",
    ]  # fmt: skip


def test_equals_sign_repeats_and_dashes() -> None:
    assert spread(["--before=a", "b"], NAMES) == ["--before=a", "--before", "b"]
    assert spread(["--before", "a", "--before", "b"], NAMES) == ["--before", "a", "--before", "b"]
    assert spread(["--json", "-", "--before", "a"], NAMES) == ["--json", "-", "--before", "a"]
    assert spread(["--before", "a", "--", "b"], NAMES) == ["--before", "a", "--", "b"]


def test_other_words_stay() -> None:
    assert spread(["x", "--out", "d", "e"], NAMES) == ["x", "--out", "d", "e"]
    assert spread(["--before"], NAMES) == ["--before"]
