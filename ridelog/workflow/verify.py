"""Compute a result again from its logs and say whether every value is the same."""

import hashlib
import json
import math
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ridelog import __version__
from ridelog.core.bounded_read import read_at_most
from ridelog.core.errors import RideLogError, UnreadableLogError
from ridelog.core.text import shown_name
from ridelog.importer.containers import MAX_LOG_BYTES
from ridelog.present.json import FIELD, as_json, digest_of
from ridelog.present.words import clean
from ridelog.report.ride_json import (
    COMPARE_SCHEMA,
    OPTIONS_SCHEMA,
    RIDE_SCHEMA,
    SIGNAL_SCHEMA,
    to_bytes,
)
from ridelog.workflow.recompute import computed_again, sources_of

VERIFY_SCHEMA = "ridelog.verify/1"
# Other kernels of linear algebra round otherwise. A figure may move by this share of the half width
# of its own interval; any other number by this share of itself, or of a millionth of its unit.
_SHARE_OF_HALF_WIDTH, _SHARE, _LEAST = 0.02, 0.01, 1e-6
_ASKED = (
    "Asked: every value and bound within 2 % of the half width of its interval, any other number "
    "within 1 %, every word and verdict the same."
)
_ASKED_EXACTLY = "Asked: every digit the same, for the content is not as it was written."
# A comparison of many rides is written in less. Own choice.
_MOST_RESULT_BYTES = 64 * 1024 * 1024
_ESTIMATE = ("value", "low", "high")
# Fields that tell who made a result, not what it says.
NOT_COMPARED = ("ridelog_version", "content_sha256")


@dataclass(frozen=True)
class FoundLog:
    """One log behind a result, as it names it, and where it is: None if nowhere.

    ``same_bytes`` is False for a file of the same name whose bytes differ.
    """

    file: str
    sha256: str
    path: Path | None = field(repr=False)
    same_bytes: bool


@dataclass(frozen=True)
class Disagreement:
    """One value that differs, such as ``measures[two_way_mps].difference.low``; None if missing.

    ``half_width`` is that of its recorded interval, None for a value that has none.
    """

    name: str
    recorded: Any
    computed: Any
    half_width: float | None = field(default=None, repr=False)


@dataclass(frozen=True)
class Verification:
    """What came of computing a result again: how many values, which are not the same.

    ``content_untouched`` says that it still has the digest it was written with; ``notes`` are
    sentences about what limits the answer, ``asked`` says how nearly values had to agree.
    """

    result: str
    values_compared: int
    content_untouched: bool
    logs: tuple[FoundLog, ...]
    differing: tuple[Disagreement, ...]
    notes: tuple[str, ...]
    asked: str

    @property
    def same(self) -> bool:
        """Whether everything agrees."""
        found = all(log.same_bytes for log in self.logs)
        return found and self.content_untouched and not self.differing


def verify(
    result: str | Path,
    *,
    logs: str | Path,
    report_progress: Callable[[float], None] = lambda done: None,
) -> Verification:
    """Return whether a result follows from its logs: ``verify(...).same``.

    ``result`` is a file that one of these commands writes; its logs lie in any
    folder inside ``logs`` and under any name. RideLogError if the result cannot be read, or a log
    is not in the folder at all.
    """
    path, folder = Path(result), Path(logs)
    name = clean(path.name)
    document = _read(path, name)
    found = _find_logs(folder, sources_of(document, name))
    lost = [log for log in found if log.path is None]
    if lost:
        raise UnreadableLogError(
            f"{name}: the log {clean(lost[0].file)} (SHA-256 {lost[0].sha256[:12]}…) is not in "
            f"{clean(str(folder))}.",
            "put all logs of the result into that folder; their names do not matter.",
        )
    contents = [(log.file, log.path) for log in found if log.path is not None]
    computed = json.loads(to_bytes(computed_again(document, contents, report_progress)))
    untouched = document.get(FIELD) is None or document[FIELD] == digest_of(document)
    # An untouched result may come from a machine whose arithmetic rounds otherwise.
    exact = FIELD not in document or not untouched
    differing = disagreements(document, computed, leeway=0.0 if exact else 1.0)
    values, notes = count_values(document), _notes(document)
    asked = _ASKED_EXACTLY if exact else _ASKED
    return Verification(name, values, untouched, tuple(found), tuple(differing), notes, asked)


def verification_json(verification: Verification) -> dict[str, Any]:
    """Return a verification as the object that scripts read."""
    head = {"schema": VERIFY_SCHEMA, "ridelog_version": __version__, "same": verification.same}
    return {**head, **as_json(verification)}


def verification_lines(verification: Verification, most: int = 12) -> list[tuple[str, str]]:
    """Return what came of it, a line for each differing value up to ``most``."""
    lines = []
    for log in verification.logs:
        state = "same bytes" if log.same_bytes else "its bytes have CHANGED since"
        lines.append((f"{clean(log.file)}: {state}", "" if log.same_bytes else "caution"))
    for each in verification.differing[:most]:
        values = f"recorded {_shown(each.recorded)}, computed {_shown(each.computed)}"
        lines.append((f"differs: {each.name}: {values}", "caution"))
    if len(verification.differing) > most:
        lines.append((f"... and {len(verification.differing) - most} more", "caution"))
    lines += [(note, "quiet") for note in (*verification.notes, verification.asked)]
    if verification.same:
        words = f"All {verification.values_compared:,} values of the result are the same."
        lines.append((words, "headline"))
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
    elif not verification.content_untouched:
        parts.append(f"it was altered after it was written ({FIELD} does not fit)")
    return RideLogError(
        f"{verification.result}: not confirmed: {'; '.join(parts)}.",
        "ask for the result and the logs as they were, or compute the result anew.",
    )


def _read(path: Path, name: str) -> dict[str, Any]:
    try:
        data = read_at_most(path, _MOST_RESULT_BYTES)
        if len(data) > _MOST_RESULT_BYTES:
            raise UnreadableLogError(
                f"{name}: more than {_MOST_RESULT_BYTES:,} bytes are too many for a result.",
                "give the result.json that ridelog wrote.",
            )
        document = json.loads(data)
    except OSError as error:
        reason = (error.strerror or type(error).__name__).lower()
        raise UnreadableLogError(
            f"{name}: the file cannot be read ({reason}).", "check the name and the folder."
        ) from error
    except (ValueError, RecursionError) as error:
        raise UnreadableLogError(
            f"{name}: this is no JSON ({error}).", "give the result.json that ridelog wrote."
        ) from error
    known = (RIDE_SCHEMA, COMPARE_SCHEMA, SIGNAL_SCHEMA, OPTIONS_SCHEMA)
    if not isinstance(document, dict) or document.get("schema") not in known:
        seen = document.get("schema") if isinstance(document, dict) else type(document).__name__
        raise UnreadableLogError(
            f"{name}: this is no result that can be verified (schema {seen!r}).",
            f"give one of {', '.join(known)}.",
        )
    return document


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


def _find_logs(folder: Path, wanted: list[tuple[str, str]]) -> list[FoundLog]:
    """Return where the logs of a result (file and SHA-256) are, the nearest of several."""
    if not folder.is_dir():
        raise UnreadableLogError(
            f"{shown_name(str(folder))}: there is no such folder.", "name the folder of the logs."
        )
    hashes = {sha256 for _, sha256 in wanted}
    by_hash: dict[str, Path] = {}
    by_name: dict[str, Path] = {}
    for path in sorted(folder.rglob("*"), key=lambda path: (len(path.parts), path)):
        if path.is_file():
            by_name.setdefault(path.name, path)
            if (sha256 := _sha256(path)) in hashes:
                by_hash.setdefault(sha256, path)
    return [
        FoundLog(file, sha256, by_hash.get(sha256, by_name.get(file)), sha256 in by_hash)
        for file, sha256 in wanted
    ]


def _sha256(path: Path) -> str:
    try:
        if path.stat().st_size > MAX_LOG_BYTES:
            return ""
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


def disagreements(
    recorded: Any, computed: Any, *, leeway: float, name: str = ""
) -> list[Disagreement]:
    """Return every value in which two results differ.

    ``leeway`` is how much of what `verify` lets numbers differ by they may: 1 for as nearly as
    another machine's arithmetic lets them agree, 0 for every digit; ``name`` is where the values
    are in the result.
    """
    return _differing(recorded, computed, leeway, name, None)


def _differing(
    recorded: Any, computed: Any, leeway: float, name: str, within: float | None
) -> list[Disagreement]:
    """Return what differs; numbers may by a share of ``within``, of themselves if it is None."""
    found: list[Disagreement] = []
    if isinstance(recorded, dict) and isinstance(computed, dict):
        half_width = _half_width(recorded)
        for key in {**recorded, **computed}:
            place = f"{name}.{key}" if name else key
            near = half_width if key in _ESTIMATE else None
            if not name and key in NOT_COMPARED:
                continue
            if key in recorded and key in computed:
                found += _differing(recorded[key], computed[key], leeway, place, near)
            else:
                found.append(Disagreement(place, recorded.get(key), computed.get(key)))
    elif isinstance(recorded, list) and isinstance(computed, list):
        for k, (one, other) in enumerate(zip(recorded, computed, strict=False)):
            found += _differing(one, other, leeway, f"{name}[{_label(one, k)}]", None)
        if len(recorded) != len(computed):
            found.append(Disagreement(f"{name} (how many)", len(recorded), len(computed)))
    elif not _same(recorded, computed, leeway, within):
        found.append(Disagreement(name, recorded, computed, within))
    return found


def count_values(record: Any) -> int:
    """Return how many values a result holds, fields that are not compared left out."""
    if isinstance(record, dict):
        return sum(count_values(v) for k, v in record.items() if k not in NOT_COMPARED)
    if isinstance(record, list):
        return sum(map(count_values, record))
    return 1


def _label(record: Any, position: int) -> str:
    """Return what an entry of a list is called: by its own name where it has one."""
    names = [record.get(n) for n in ("name", "label", "code")] if isinstance(record, dict) else []
    return next((name for name in names if isinstance(name, str)), str(position))


def _half_width(record: dict[str, Any]) -> float | None:
    """Return half the width of an estimate's interval, None for any other record."""
    ends = [record.get(name) for name in _ESTIMATE]
    if not all(isinstance(end, (int, float)) and not isinstance(end, bool) for end in ends):
        return None
    half: float = 0.5 * (record["high"] - record["low"])
    return half if half > 0.0 else None


def _same(recorded: Any, computed: Any, leeway: float, within: float | None) -> bool:
    numbers = (int, float)
    if isinstance(recorded, bool) or isinstance(computed, bool):
        return recorded is computed
    if isinstance(recorded, int) and isinstance(computed, int):
        return recorded == computed
    if isinstance(recorded, numbers) and isinstance(computed, numbers):
        if not leeway:
            return recorded == computed
        if within is not None:
            return abs(recorded - computed) <= leeway * _SHARE_OF_HALF_WIDTH * within
        share, least = leeway * _SHARE, leeway * _LEAST
        return math.isclose(recorded, computed, rel_tol=share, abs_tol=least)
    return type(recorded) is type(computed) and recorded == computed
