"""Rides held against a stated speed, in words."""

from ridelog.analysis.subject import ALWAYS, GRAVITY_WORDS
from ridelog.compare.stated import AgainstStated
from ridelog.compare.verdict import BETTER, NOT_SHOWN, WORSE
from ridelog.core.quantity import RATIO, SPEED, for_reader, plain, text
from ridelog.core.units import SpeedUnit
from ridelog.present.words import Lines, clean, wrapped
from ridelog.report.compare_words import side_lines

ONLY_STATED = "Only a top speed was stated: what the machine gained or lost otherwise is not known."

_ONE_RIDE = (
    "One ride tells it: how far rides of one machine differ by themselves is not in the brackets; "
    "two more would tell."
)


def limits_of(found: AgainstStated) -> tuple[str, ...]:
    """Return what the figures do not say."""
    return (ONLY_STATED, _ONE_RIDE) if found.alone else (ONLY_STATED,)


def verdict_sentence(found: AgainstStated) -> str:
    """Return whether the rides are faster than what was stated."""
    return {
        BETTER: "It is faster than stated.",
        WORSE: "It is slower than stated.",
        NOT_SHOWN: "It is as fast as stated, as far as these rides and the statement's "
        "own tolerance can tell.",
    }[found.verdict]


def stated_sentence(found: AgainstStated, unit: SpeedUnit) -> str:
    """Return "28.0 km/h is 2.0 times the stated 14", with the ranges of both."""
    by = f" ({clean(found.stated.by)})" if found.stated.by else ""
    good = f"if the statement is good to {100.0 * found.stated.within:.0f} %"
    return (
        f"{text(found.after, SPEED, unit)} is {text(found.ratio, RATIO, unit)} the stated "
        f"{plain(found.stated.mps, SPEED, unit)}{by}, {good}."
    )


def stated_lines(found: AgainstStated, unit: SpeedUnit) -> Lines:
    """Return the screen about rides held against a stated speed."""
    lines = [*side_lines(found.rides, "After", 8), ("", "")]
    headline = f"{stated_sentence(found, unit)} {verdict_sentence(found)}"
    lines += [*wrapped(headline, "headline"), ("", "")]
    for words in limits_of(found):
        lines += wrapped(words, "")
    for one in found.cautions:
        lines += wrapped(f"{GRAVITY_WORDS[one.gravity]}: {for_reader(one.text, unit)}", "caution")
    return [*lines, *wrapped(ALWAYS, "quiet")]
