"""Compute a result again from its logs and say whether every value is the same."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ridelog import __version__
from ridelog.analysis.ride import analyse
from ridelog.analysis.signal.measure import judge_signal
from ridelog.analysis.subject import RideSource
from ridelog.compare.comparison import compare
from ridelog.core.errors import RideLogError, UnreadableLogError
from ridelog.core.units import SPEED_UNITS
from ridelog.filtering.motion import Motion
from ridelog.machine.setup import MachineSetup
from ridelog.present.json import FIELD, digest_of
from ridelog.present.words import clean
from ridelog.report.compare_json import compare_json, settings_in
from ridelog.report.ride_json import (
    COMPARE_SCHEMA,
    RIDE_SCHEMA,
    SIGNAL_SCHEMA,
    ride_json,
    signal_json,
    to_bytes,
)
from ridelog.workflow.agreement import Disagreement, count_values, disagreements
from ridelog.workflow.find_logs import FoundLog, find_logs
from ridelog.workflow.measure import motion_of_bytes

VERIFY_SCHEMA = "ridelog.verify/1"


@dataclass(frozen=True)
class Verification:
    """What came of computing a result again.

    Attributes
    ----------
    file : name of the result.
    logs : where each of its logs was found.
    values : how many values were compared.
    differing : those that are not the same.
    untouched : whether the result's content still has the digest it was written with.
    notes : sentences about what limits the answer.
    """

    file: str
    logs: tuple[FoundLog, ...]
    values: int
    differing: tuple[Disagreement, ...]
    untouched: bool
    notes: tuple[str, ...]

    @property
    def same(self) -> bool:
        """Whether everything agrees."""
        return not self.differing and self.untouched and all(log.same_bytes for log in self.logs)


def verify(
    path: Path, folder: Path, report_progress: Callable[[float], None] | None = None
) -> Verification:
    """Return whether a result follows from the logs it names.

    Parameters
    ----------
    path : Path
        A result as ``report``, ``signal`` or ``compare`` writes it.
    folder : Path
        Where its logs are, in any folder inside it and under any name.
    report_progress : callable, optional
        Told how far the work is, 0 to 1.

    Raises
    ------
    RideLogError
        If the result cannot be read, or a log is not in the folder at all.
    """
    name = clean(path.name)
    document = _read(path, name)
    wanted = [(source["file"], source["sha256"]) for source in _sources(document, name)]
    logs = find_logs(folder, wanted)
    lost = [log for log in logs if log.path is None]
    if lost:
        raise UnreadableLogError(
            f"{name}: the log {clean(lost[0].file)} (SHA-256 {lost[0].sha256[:12]}…) is not in "
            f"{clean(str(folder))}.",
            "put all logs of the result into that folder; their names do not matter.",
        )
    computed = json.loads(to_bytes(_computed(document, logs, report_progress)))
    untouched = document.get(FIELD) is None or document[FIELD] == digest_of(document)
    # An untouched result may come from a machine whose arithmetic differs in the last digits.
    exact = FIELD not in document or not untouched
    differing = disagreements(document, computed, exact=exact)
    return Verification(
        name, tuple(logs), count_values(document), tuple(differing), untouched, _notes(document)
    )


def verification_json(verification: Verification) -> dict[str, Any]:
    """Return a verification as the object that scripts read."""
    return {
        "schema": VERIFY_SCHEMA,
        "ridelog_version": __version__,
        "result": verification.file,
        "same": verification.same,
        "values_compared": verification.values,
        "content_untouched": verification.untouched,
        "logs": [
            {"file": log.file, "sha256": log.sha256, "same_bytes": log.same_bytes}
            for log in verification.logs
        ],
        "differing": [
            {"name": each.name, "recorded": each.recorded, "computed": each.computed}
            for each in verification.differing
        ],
        "notes": list(verification.notes),
    }


def verification_lines(verification: Verification, most: int = 12) -> list[tuple[str, str]]:
    """Return what came of it, a line for each differing value up to ``most``."""
    lines = []
    for log in verification.logs:
        state = "same bytes" if log.same_bytes else "its bytes have CHANGED since"
        lines.append((f"{clean(log.file)}: {state}", "" if log.same_bytes else "caution"))
    for each in verification.differing[:most]:
        lines.append(
            (
                f"differs: {each.name}: recorded {_shown(each.recorded)}, computed "
                f"{_shown(each.computed)}",
                "caution",
            )
        )
    if len(verification.differing) > most:
        lines.append((f"... and {len(verification.differing) - most} more", "caution"))
    lines += [(note, "quiet") for note in verification.notes]
    if verification.same:
        lines.append(
            (f"All {verification.values:,} values of the result are the same.", "headline")
        )
    return lines


def failure_of(verification: Verification) -> RideLogError:
    """Return the failure to raise for a verification that found differences."""
    changed = [clean(log.file) for log in verification.logs if not log.same_bytes]
    names = [each.name for each in verification.differing]
    parts = []
    if changed:
        parts.append(f"the log {', '.join(changed)} is not the one it was made from")
    if names:
        listed = ", ".join(names[:5]) + (f" and {len(names) - 5} more" if len(names) > 5 else "")
        parts.append(f"what the logs give differs in {listed}")
    elif not verification.untouched:
        parts.append(f"it was altered after it was written ({FIELD} does not fit)")
    return RideLogError(
        f"{verification.file}: not confirmed: {'; '.join(parts)}.",
        "ask for the result and the logs as they were, or compute the result anew.",
    )


def _read(path: Path, name: str) -> dict[str, Any]:
    try:
        document = json.loads(path.read_bytes())
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise UnreadableLogError(
            f"{name}: the file cannot be read ({reason}).", "check the name and the folder."
        ) from error
    except ValueError as error:
        raise UnreadableLogError(
            f"{name}: this is no JSON ({error}).", "give the result.json that ridelog wrote."
        ) from error
    known = (RIDE_SCHEMA, COMPARE_SCHEMA, SIGNAL_SCHEMA)
    if not isinstance(document, dict) or document.get("schema") not in known:
        seen = document.get("schema") if isinstance(document, dict) else type(document).__name__
        raise UnreadableLogError(
            f"{name}: this is no result that can be verified (schema {seen!r}).",
            f"give one of {', '.join(known)}.",
        )
    return document


def _sources(document: dict[str, Any], name: str) -> list[dict[str, str]]:
    try:
        if document["schema"] == COMPARE_SCHEMA:
            sources = [*document["before"], *document["after"]]
        else:
            sources = [document["source"]]
        return [{"file": str(each["file"]), "sha256": str(each["sha256"])} for each in sources]
    except (KeyError, TypeError) as error:
        raise UnreadableLogError(
            f"{name}: the result does not name its logs ({error}).",
            "give the result as ridelog wrote it.",
        ) from error


def _computed(
    document: dict[str, Any],
    logs: list[FoundLog],
    report_progress: Callable[[float], None] | None,
) -> dict[str, Any]:
    report_progress = report_progress or (lambda done: None)
    try:
        settings = settings_in(document, len(logs))
    except (LookupError, TypeError, ValueError, AttributeError) as error:
        raise UnreadableLogError(
            f"The settings in the result cannot be read ({error}).",
            "give the result as ridelog wrote it.",
        ) from error
    rides = []
    for number, log in enumerate(logs):
        motion = _motion(log)
        if document["schema"] == SIGNAL_SCHEMA:
            return signal_json(RideSource.of(motion), judge_signal(motion))
        rides.append(analyse(motion, settings[number]))
        report_progress((number + 1) / len(logs))
    if document["schema"] == RIDE_SCHEMA:
        return ride_json(rides[0])
    cut = len(document["before"])
    noted = document.get("noted") or {}
    return compare_json(
        compare(
            tuple(rides[:cut]),
            tuple(rides[cut:]),
            unit=SPEED_UNITS.get(str(document.get("round_in")), SPEED_UNITS["km/h"]),
            noted_before=dict(noted.get("before") or {}),
            noted_after=dict(noted.get("after") or {}),
            setups=_setups(document.get("predicted")),
        )
    )


def _setups(predicted: Any) -> tuple[MachineSetup, MachineSetup] | None:
    """Return the set-ups that a result's prediction was made from, None without a prediction."""
    if predicted is None:
        return None
    try:
        return MachineSetup(**predicted["setup_before"]), MachineSetup(**predicted["setup_after"])
    except (LookupError, TypeError, ValueError) as error:
        raise UnreadableLogError(
            "The set-ups in the result cannot be read, so its prediction cannot be computed again.",
            "give the result as ridelog wrote it.",
        ) from error


def _motion(log: FoundLog) -> Motion:
    """Return the motion of a log under the name that the result gave it."""
    if log.path is None:
        raise ValueError("a log that was not found cannot be read")
    return motion_of_bytes(log.file, log.path.read_bytes())


def _notes(document: dict[str, Any]) -> tuple[str, ...]:
    made_by = document.get("ridelog_version")
    notes = []
    if made_by != __version__:
        notes.append(
            f"The result was made by ridelog {made_by}, this is {__version__}: figures may differ "
            "for that reason alone."
        )
    if FIELD not in document:
        notes.append("The result carries no digest of its own content.")
    return tuple(notes)


def _shown(value: Any) -> str:
    text = clean(json.dumps(value, ensure_ascii=False))
    return text if len(text) <= 60 else text[:59] + "…"
