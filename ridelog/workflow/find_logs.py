"""Logs in a folder found by their SHA-256, whatever they are called now."""

import hashlib
import os
from dataclasses import dataclass
from pathlib import Path

from ridelog.core.errors import UnreadableLogError
from ridelog.core.text import shown_name
from ridelog.importer.containers import MAX_LOG_BYTES


@dataclass(frozen=True)
class FoundLog:
    """One log behind a result.

    file, sha256 : as the result names it.
    path : where it is, None if it is not there.
    same_bytes : whether it is the log the result was made from; False for a file of the same name
        whose bytes differ.
    """

    file: str
    sha256: str
    path: Path | None
    same_bytes: bool


def find_logs(folder: Path, wanted: list[tuple[str, str]]) -> list[FoundLog]:
    """Return where the logs of a result are, folders inside the folder included.

    Parameters
    ----------
    folder : Path
        Where to look.
    wanted : list of (file, sha256)
        As the result names them.

    Raises
    ------
    UnreadableLogError
        If the folder is not there.
    """
    if not folder.is_dir():
        raise UnreadableLogError(
            f"{shown_name(str(folder))}: there is no such folder.", "name the folder of the logs."
        )
    hashes = {sha256 for _, sha256 in wanted}
    by_hash: dict[str, Path] = {}
    by_name: dict[str, Path] = {}
    for path in _files(folder):
        by_name.setdefault(path.name, path)
        sha256 = _sha256(path)
        if sha256 in hashes:
            by_hash.setdefault(sha256, path)
    return [
        FoundLog(file, sha256, by_hash.get(sha256, by_name.get(file)), sha256 in by_hash)
        for file, sha256 in wanted
    ]


def _files(folder: Path) -> list[Path]:
    found = []
    for place, folders, names in os.walk(folder):
        folders.sort()
        found += [path for name in sorted(names) if (path := Path(place) / name).is_file()]
    return found


def _sha256(path: Path) -> str:
    try:
        if path.stat().st_size > MAX_LOG_BYTES:
            return ""
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""
