"""A log comes in only where the disk keeps room for it; a disk that refuses is a sentence."""

import shutil
from pathlib import Path

import pytest
from visitor import Visitor, app_in, short_log

from ridelog.web import incoming, views


@pytest.mark.parametrize(("free_mib", "status"), [(383, 507), (385, 202)])
def test_the_disk_keeps_256_mib_beside_the_largest_log(
    free_mib: int, status: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert incoming.MOST_UPLOAD_BYTES == 128 * 1024**2
    visitor = Visitor(app_in(tmp_path / "book"))
    visitor.get("/")
    free = shutil.disk_usage(tmp_path)._replace(free=free_mib * 1024**2)
    monkeypatch.setattr(shutil, "disk_usage", lambda folder: free)
    answer = visitor.put("a.nmea", short_log("before-2.nmea", 20))
    assert answer.status == status
    if status == 507:
        assert answer.json()["problem"] == "the disk is nearly full."
        assert not list((tmp_path / "book").rglob("*.part"))
        assert not list((tmp_path / "book").glob("incoming/*"))


def test_a_disk_that_refuses_is_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    visitor = Visitor(app_in(tmp_path / "book"))
    visitor.get("/")

    def refused(folder: Path, *, make: bool) -> None:
        raise PermissionError(13, "Permission denied", str(folder))

    monkeypatch.setattr(views, "Book", refused)
    answer = visitor.get("/machines")
    assert answer.status == 503
    assert "disk with the ride book cannot be read or written (permission denied)" in answer.words
    assert str(tmp_path) not in answer.text
