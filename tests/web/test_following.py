"""News of work: whoever asks again while old news is on its way hears the new news too."""

from collections.abc import Iterator
from pathlib import Path

import live_page
import pytest
from live_page import CHROMIUM, Served
from playwright.sync_api import Browser

pytestmark = pytest.mark.skipif(
    CHROMIUM is None, reason="no chromium on this machine: install Debian's, or set CHROMIUM"
)

# A stream whose messages the test sends by itself.
_STREAMS = """
globalThis.streams = [];
globalThis.EventSource = class {
  constructor() { this.open = true; streams.push(this); }
  close() { this.open = false; }
  tell(tasks) { if (this.open) this.onmessage({ data: JSON.stringify(tasks) }); }
};
"""
_IDLE, _BUSY = "[]", '[{"state": "working"}]'


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with live_page.browser() as opened:
        yield opened


def test_news_on_its_way_ends_no_stream_that_was_asked_for_since(
    chromium: Browser, tmp_path: Path
) -> None:
    """The second log is taken in after the first stream told that nothing is going on."""
    served = Served(tmp_path / "book")
    try:
        page = chromium.new_page()
        page.add_init_script(_STREAMS)
        page.goto(served.base)
        page.evaluate(
            """async () => {
              const { follow } = await import("/static/common.js");
              globalThis.heard = [];
              globalThis.look = follow((tasks) => heard.push(tasks.length));
              look(); look();
            }"""
        )
        page.evaluate(f"streams.at(-1).tell({_IDLE})")
        assert page.evaluate("streams.at(-1).open")
        page.evaluate(f"streams.at(-1).tell({_BUSY})")
        assert page.evaluate("heard.at(-1)") == 1
        # Nobody asked since: the next quiet word is the last.
        page.evaluate(f"streams.at(-1).tell({_IDLE})")
        assert not page.evaluate("streams.at(-1).open")
    finally:
        served.stop()
