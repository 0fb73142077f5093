import os
from pathlib import Path

import pytest

from ridelog.core.errors import OutputError
from ridelog.present.files import check_free, make_folder, write_files


def test_a_file_that_is_there_is_left_alone(tmp_path: Path) -> None:
    target = tmp_path / "a.json"
    target.write_bytes(b"mine")
    with pytest.raises(OutputError, match="is there already and is left as it was") as caught:
        write_files({target: b"new"}, force=False)
    assert "--force" in caught.value.advice
    assert target.read_bytes() == b"mine"
    write_files({target: b"new"}, force=True)
    assert target.read_bytes() == b"new"
    assert [path.name for path in tmp_path.iterdir()] == ["a.json"]


def test_all_or_nothing(tmp_path: Path) -> None:
    first, second = tmp_path / "first", tmp_path / "second"
    second.write_bytes(b"mine")
    with pytest.raises(OutputError):
        write_files({first: b"1", second: b"2"}, force=False)
    assert not first.exists()


def test_a_write_that_fails_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: Path, data: bytes) -> int:
        raise OSError(28, "No space left on device")

    target = tmp_path / "a"
    target.write_bytes(b"old")
    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(OutputError, match="cannot be written .no space left on device."):
        write_files({target: b"new"}, force=True)
    monkeypatch.undo()
    assert target.read_bytes() == b"old"
    assert len(list(tmp_path.iterdir())) == 1


def test_the_log_is_never_the_target(tmp_path: Path) -> None:
    log = tmp_path / "ride.gpx"
    log.write_bytes(b"<gpx/>")
    with pytest.raises(OutputError, match="this is the log itself"):
        check_free([log], force=True, log=log)


def test_folders_in_the_way(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="this is a folder, not a file"):
        check_free([tmp_path], force=True)
    with pytest.raises(OutputError, match="there is no folder"):
        check_free([tmp_path / "nowhere" / "a"], force=False)
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(OutputError, match="the folder cannot be made"):
        make_folder(tmp_path / "file" / "below")


def test_a_pipe_is_written_to_and_not_replaced(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    reader = os.open(pipe, os.O_RDONLY | os.O_NONBLOCK)
    try:
        write_files({pipe: b"through"}, force=False)
        assert os.read(reader, 100) == b"through"
    finally:
        os.close(reader)
    assert pipe.is_fifo()
