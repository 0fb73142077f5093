"""What stands at the headline of every paper: what is dangerous, and that it is for no child."""

from collections.abc import Iterable, Sequence

from ridelog.analysis.subject import DANGER, GRAVITY_WORDS, Caution, not_for_a_child, stands_first
from ridelog.core.quantity import for_reader
from ridelog.core.units import SpeedUnit
from ridelog.present.words import clean, first_sentence


def foremost_words(cautions: Iterable[Caution], unit: SpeedUnit) -> tuple[str, ...]:
    """Return the cautions that stand at the headline, a sentence each."""
    return tuple(
        f"{_label(one)}{clean(first_sentence(for_reader(one.text, unit)))}"
        for one in cautions
        if stands_first(one)
    )


def _label(caution: Caution) -> str:
    return f"{GRAVITY_WORDS[DANGER]}. " if caution.gravity == DANGER else ""


def kinds_of_danger(cautions: Sequence[Caution]) -> tuple[str, ...]:
    """Return in a word or two each what is foremost about a machine, empty where nothing is."""
    return tuple(
        words
        for words, found in (
            ("dangerous", any(one.gravity == DANGER for one in cautions)),
            ("not for a child", any(map(not_for_a_child, cautions))),
            ("above its class", any(one.code == "class_speed" for one in cautions)),
        )
        if found
    )
