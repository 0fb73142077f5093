"""A log comes in only where the disk keeps room for it and for everything else."""

import shutil
from pathlib import Path

import pytest
from visitor import Visitor, app_in, short_log

from ridelog.web import ride_pages


@pytest.mark.parametrize(("free_mib", "status"), [(383, 507), (385, 202)])
def test_the_disk_keeps_256_mib_beside_the_largest_log(
    free_mib: int, status: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert ride_pages.MOST_UPLOAD_BYTES == 128 * 1024**2
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
