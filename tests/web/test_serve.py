"""The command that opens the page: nobody makes the book's database anew under it."""

import os
import socket
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from ridelog.book import use
from ridelog.book.book import Book
from ridelog.book.rebuild import rebuild
from ridelog.core.errors import BookError
from ridelog.web import serve as serving
from ridelog.web.worker import Worker


def test_the_page_is_shown_to_who_sits_before_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown: list[str] = []

    def run(server: uvicorn.Server, sockets: list[socket.socket]) -> None:
        for one in sockets:
            one.close()

    monkeypatch.setattr(uvicorn.Server, "run", run)
    monkeypatch.setattr(Worker, "start", lambda worker: None)
    monkeypatch.setattr(serving, "_shown_soon", shown.append)
    mask = os.umask(0o077)
    try:
        for terminal, no_browser in ((True, False), (True, True), (False, False)):
            monkeypatch.setattr("sys.stdout.isatty", lambda at=terminal: at, raising=False)
            serving.serve(book=tmp_path / "book", port=0, no_browser=no_browser)
    finally:
        os.umask(mask)
    assert len(shown) == 1 and shown[0].startswith("http://127.0.0.1:")


def test_an_open_page_keeps_its_book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "book"
    said: list[str] = []

    def run(server: uvicorn.Server, sockets: list[socket.socket]) -> None:
        with pytest.raises(BookError) as caught:
            rebuild(folder)
        said.append(str(caught.value))
        for one in sockets:
            one.close()

    def stay(worker: Any) -> None:
        """No process for what is not asked."""

    monkeypatch.setattr(uvicorn.Server, "run", run)
    monkeypatch.setattr(Worker, "start", stay)
    monkeypatch.setattr(use, "_WAIT_FOR_OTHERS_S", 0.05)
    mask = os.umask(0o077)
    try:
        serving.serve(book=folder, port=0, lan=False, unencrypted=False)
    finally:
        os.umask(mask)
    assert len(said) == 1 and "close the workshop page" in said[0]
    rebuild(folder)
    Book(folder).close()
