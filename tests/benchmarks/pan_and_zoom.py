"""Whether the chart of a long ride moves smoothly, on request.

    python tests/benchmarks/pan_and_zoom.py [--fixes 36000] [--width 1280]

A browser opens the ride of a long log at 10 Hz, zooms in and out with Ctrl and the wheel, drags the
chart to and fro, and points along it. Prints for each the frames (from one picture to the next,
median and worst; the aim is 100 ms), the longest single piece of work of the page's script, and the
time the server takes for what is in view.
"""

import argparse
import json
import os
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from playwright.sync_api import Page

ROOT = Path(__file__).resolve().parents[2]
sys.path += [str(ROOT / "tests" / "web"), str(ROOT / "tests" / "benchmarks")]

from live_page import Served, browser  # noqa: E402  (needs the path above)
from workshop_page import Link, long_log  # noqa: E402

_WATCH = """() => {
  const seen = { frames: [], long: [], asked: [] };
  window.seen = seen;
  let last = null;
  const frame = (now) => { if (last !== null) seen.frames.push(now - last); last = now;
    window.ticking = requestAnimationFrame(frame); };
  window.ticking = requestAnimationFrame(frame);
  window.watcher = new PerformanceObserver((list) => {
    for (const entry of list.getEntries()) {
      if (entry.entryType === "longtask") seen.long.push(entry.duration);
      else if (entry.name.includes("/trace?")) seen.asked.push(entry.duration);
    }
  });
  window.watcher.observe({ entryTypes: ["longtask", "resource"] });
}"""
_READ = """() => { cancelAnimationFrame(window.ticking); window.watcher.disconnect();
  return window.seen; }"""


def ride_of(base: str, fixes: int) -> int:
    """Put a long log into the book and return its ride once it is measured and drawn."""
    link = Link(base)
    said = json.loads(link.ask("PUT", "/logs?name=long.gpx", long_log(fixes))[1])
    while True:
        task = json.loads(link.ask("GET", "/tasks")[1])[-1]
        if task["state"] == "done":
            return int(said["ride"])
        assert task["state"] != "failed", task
        time.sleep(0.5)


def browser_cpu_s() -> float:
    """Return the processor time of the whole browser, which a busy machine does not move."""
    spent, family = 0.0, {os.getpid()}
    rows = {}
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            name, fields = path.read_text().rsplit(")", 1)
        except OSError:
            continue
        words = fields.split()
        rows[int(path.parent.name)] = (
            int(words[1]),
            "chrom" in name,
            int(words[11]) + int(words[12]),
        )
    for pid in sorted(rows):
        parent, is_browser, ticks = rows[pid]
        if parent in family:
            family.add(pid)
            spent += ticks if is_browser else 0
    return spent / os.sysconf("SC_CLK_TCK")


def watch(page: Page) -> float:
    """Begin to watch; return the browser's processor time so far."""
    page.evaluate(_WATCH)
    return browser_cpu_s()


def told(what: str, page: Page, before_s: float, moves: int) -> None:
    """Print what was seen since the watch began."""
    page.wait_for_timeout(800)
    spent = browser_cpu_s() - before_s
    seen = page.evaluate(_READ)
    frames = np.array(seen["frames"])
    # While nothing moves, frames come as often as the screen allows: only the slow ones tell.
    slow = np.sort(frames)[::-1][: max(1, len(frames) // 10)]
    asked = np.array(seen["asked"]) if seen["asked"] else np.zeros(1)
    print(
        f"{what}: {len(frames)} frames, median {np.median(frames):.0f} ms, slowest tenth from "
        f"{slow[-1]:.0f} ms, worst {frames.max():.0f} ms; longest work "
        f"{max(seen['long'], default=0.0):.0f} ms; {len(seen['asked'])} questions, median "
        f"{np.median(asked):.0f} ms, worst {asked.max():.0f} ms; "
        f"{1000.0 * spent / moves:.0f} ms of processor a move"
    )


def drag(page: Page, left: float, wide: float, y: float) -> None:
    """Pull the chart there and back twice, 160 moves in all."""
    for there in (-0.5, 0.5, -0.5, 0.5):
        page.mouse.move(left + (0.5 - there) * wide, y)
        page.mouse.down()
        page.mouse.move(left + (0.5 + 0.8 * there) * wide, y, steps=40)
        page.mouse.up()


def move(page: Page) -> None:
    """Zoom, drag and point as a hand does, watched."""
    chart = page.locator("#speed-chart")
    chart.scroll_into_view_if_needed()
    box = chart.bounding_box()
    assert box
    y = box["y"] + 0.6 * box["height"]
    left, wide = box["x"] + 60.0, box["width"] - 80.0

    for what, turns in (("zoom in by the wheel", -1), ("zoom out by the wheel", 1)):
        page.mouse.move(left + 0.4 * wide, y)
        before_s = watch(page)
        page.keyboard.down("Control")
        for _ in range(25):
            page.mouse.wheel(0, 100 * turns)
            page.wait_for_timeout(40)
        page.keyboard.up("Control")
        told(what, page, before_s, 25)
        if turns < 0:
            before_s = watch(page)
            drag(page, left, wide, y)
            told("drag, zoomed in", page, before_s, 160)
    for _ in range(2):
        page.get_by_role("button", name="Zoom in").click()
    page.wait_for_timeout(800)
    before_s = watch(page)
    drag(page, left, wide, y)
    told("drag, a quarter of the ride in view", page, before_s, 160)
    page.get_by_role("button", name="Whole ride").click()
    page.wait_for_timeout(800)
    before_s = watch(page)
    page.mouse.move(left, y)
    page.mouse.move(left + wide, y, steps=120)
    told("point along the whole ride", page, before_s, 120)


def look(base: str, ride: int, width: int) -> None:
    """Open a ride and move in its chart."""
    with browser() as opened:
        page = opened.new_page(viewport={"width": width, "height": 800})
        start = time.perf_counter()
        page.goto(f"{base}/rides/{ride}")
        page.locator("#charts[data-drawn]").wait_for(timeout=120_000)
        print(f"charts after {time.perf_counter() - start:.1f} s")
        move(page)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--fixes", type=int, default=36_000)
    parser.add_argument("--width", type=int, default=1280)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        served = Served(Path(place) / "book")
        try:
            look(served.base, ride_of(served.base, given.fixes), given.width)
        finally:
            served.stop()


if __name__ == "__main__":
    main()
