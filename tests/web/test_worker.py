"""The worker outlives whatever happens to a job."""

import hashlib
import os
import signal
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from visitor import short_log

from ridelog.analysis.settings import Settings
from ridelog.core.errors import BookError, RideLogError
from ridelog.web.worker import Job, JobError, Worker
from ridelog.workflow.book_ride import LogAt
from ridelog.workflow.measuring import RideCache


def log_in(folder: Path, data: bytes) -> LogAt:
    place = folder / "log"
    place.write_bytes(data)
    return LogAt("ride.nmea", str(place), hashlib.sha256(data).hexdigest(), Settings().as_json())


def test_a_job_ends_in_an_answer_a_refusal_or_a_mistake_and_the_next_one_is_done(
    tmp_path: Path,
) -> None:
    worker = Worker()
    try:
        with pytest.raises(RideLogError, match="no log that ridelog reads") as refused:
            list(worker.run(Job("measure_ride", {"log": log_in(tmp_path, b"no log")})))
        assert not isinstance(refused.value, JobError)
        with pytest.raises(JobError, match=r"ridelog made a mistake here \(KeyError\)"):
            list(worker.run(Job("no such job")))
        gone = LogAt("gone.gpx", str(tmp_path / "nowhere"), "0", Settings().as_json())
        with pytest.raises(RideLogError, match="is not in the book's folder any more"):
            list(worker.run(Job("measure_ride", {"log": gone})))
        log = log_in(tmp_path, short_log("before-2.nmea", 60))
        other = LogAt(log.name, log.place, "0" * 64, log.settings)
        with pytest.raises(RideLogError, match="is not the one that was added: it has changed"):
            list(worker.run(Job("measure_ride", {"log": other})))
        kinds = [kind for kind, _ in worker.run(Job("measure_ride", {"log": log}))]
        assert kinds[-2:] == ["progress", "result"] and "first" in kinds
        assert [kind for kind, _ in worker.run(Job("draw_ride", {"log": log}))] == ["pages"]
    finally:
        worker.stop()


def test_a_log_changed_on_the_disk_is_not_measured_from_memory(tmp_path: Path) -> None:
    log = log_in(tmp_path, short_log("before-2.nmea", 60))
    cache = RideCache()
    cache.ridden(log)
    place = Path(log.place)
    place.write_bytes(place.read_bytes().replace(b",A,", b",V,", 1))
    with pytest.raises(BookError, match="it has changed"):
        cache.ridden(log)
    place.unlink()
    with pytest.raises(BookError, match="is not in the book's folder any more"):
        cache.ridden(log)


def test_a_child_that_dies_is_replaced(tmp_path: Path) -> None:
    worker = Worker()
    try:
        log = log_in(tmp_path, short_log("before-2.nmea", 60))
        messages = worker.run(Job("measure_ride", {"log": log}))
        next(messages)
        assert worker._process is not None and worker._process.pid is not None
        os.kill(worker._process.pid, signal.SIGKILL)
        with pytest.raises(JobError, match="ended without an answer"):
            list(messages)
        assert [k for k, _ in worker.run(Job("measure_ride", {"log": log}))][-1] == "result"
    finally:
        worker.stop()


def test_a_job_that_takes_too_long_is_stopped(tmp_path: Path) -> None:
    worker = Worker(longest_s=0.0)
    try:
        with pytest.raises(JobError, match="the work was stopped after 0 s"):
            list(worker.run(Job("measure_ride", {"log": log_in(tmp_path, b"x")})))
    finally:
        worker.stop()


def test_two_threads_may_stop_it_at_once() -> None:
    """The server ends while a job is given up: both end the child, one after the other or not."""

    class Slow:
        """A child that takes a moment to end, so that both threads are inside ``stop``."""

        ended = 0

        def kill(self) -> None:
            self.ended += 1

        def join(self) -> None:
            time.sleep(0.02)

    worker = Worker()
    for _ in range(10):
        child = Slow()
        worker._process = child  # type: ignore[assignment]  # only these two are called
        with ThreadPoolExecutor(4) as pool:
            stops = [pool.submit(worker.stop) for _ in range(4)]
        for stop in stops:
            stop.result()
        assert child.ended == 1 and worker._process is None
