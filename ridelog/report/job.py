"""The job behind a comparison: which machine, what was done to it, for how much, what is open."""

from collections.abc import Mapping
from dataclasses import dataclass

from ridelog.compare.comparison import Comparison
from ridelog.present.words import Lines, capital, clean, joined, wrapped
from ridelog.report.predict_words import change_words

# What a side's notes may say of the job itself: these are no conditions that rides differ in.
_MACHINE, _CHANGE, _SETUP = "machine", "change", "setup"
_DONE = {"done": "Done", "price": "Price", "hours": "Hours of work"}
# What stands where a note is missing; on paper beside room to write it.
NOT_NOTED = "not noted"
_OPEN = "open"
# What the owner may decide once a change is made; a colon asks for words.
CHOICES_AFTER = ("keep it so", "put it back", "change further:")


@dataclass(frozen=True)
class OwnersJob:
    """Which machine, what was changed, and what the notes say of the work: label and words.

    notes : words are empty for what nobody noted. open : what the workshop left open, which is to
        be done before anyone rides.
    """

    machine: str
    change: str
    notes: tuple[tuple[str, str], ...]
    open: str
    question: str = "What the change did"

    @property
    def missing(self) -> tuple[str, ...]:
        """Labels of what the title cannot name, because nobody noted it."""
        told = {"Machine": self.machine, "Change": self.change}
        return tuple(label for label, words in told.items() if not words)

    @property
    def title(self) -> str:
        """Machine and change in one line."""
        if self.machine and self.change:
            return f"{self.machine}: {self.change}"
        return self.machine or capital(self.change) or self.question


def job_of(comparison: Comparison) -> OwnersJob:
    """Return what the notes of a comparison say of the job, or its set-ups where they do not."""
    before, after = comparison.noted_before, comparison.noted_after
    told = comparison.predicted
    change = after.get(_CHANGE, "")
    if not change and told is not None:
        change = change_words(told.prediction.setup, told.prediction.change)
    if not change and before.get(_SETUP) and after.get(_SETUP, before[_SETUP]) != before[_SETUP]:
        change = f"{after[_SETUP]} instead of {before[_SETUP]}"
    question = "What the change did"
    if comparison.modes is not None:
        change = " against ".join(reversed(comparison.names.heads))
        question = "Two drive modes"
    machine = after.get(_MACHINE, before.get(_MACHINE, ""))
    if not machine and told is not None:
        machine = told.prediction.setup.name or ""
    notes = _notes(after)
    if comparison.modes is not None:  # nothing need have been done to ride in another mode
        notes = tuple((label, words) for label, words in notes if words)
    return OwnersJob(clean(machine), clean(change), notes, _open(after), question)


def unpriced(price: float | None, hours: float | None) -> tuple[str, ...]:
    """Return the labels of what nobody noted of price and hours: paper has room to write them."""
    known = {"price": price, "hours": hours}
    return tuple(_DONE[key] for key, value in known.items() if value is None)


def stated_job(noted: Mapping[str, str]) -> OwnersJob:
    """Return what the notes say of the job on a machine of which only a speed was stated."""
    machine, change = (clean(noted.get(key, "")) for key in (_MACHINE, _CHANGE))
    question = "Measured against what was stated"
    return OwnersJob(machine, change, _notes(noted), _open(noted), question)


def _notes(noted: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    return tuple((label, clean(noted.get(key, "").strip())) for key, label in _DONE.items())


def _open(noted: Mapping[str, str]) -> str:
    return clean(noted.get(_OPEN, "").strip())


def job_lines(job: OwnersJob) -> Lines:
    """Return what a screen says of the job, and what nobody noted of it."""
    named = job.machine or job.change
    lines = wrapped(job.title, "headline") if named else []
    done = [f"{label.lower()}: {words}" for label, words in job.notes if words]
    lines += wrapped(f"{capital('; '.join(done))}.") if done else []
    lacking = [*job.missing, *(label for label, words in job.notes if not words)]
    if lacking:
        words = f"{capital(NOT_NOTED)}: {joined([label.lower() for label in lacking])}."
        lines += wrapped(words, "quiet")
    return [*lines, ("", "")] if lines else []
