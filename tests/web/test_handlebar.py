"""The telephone on the handlebar: the receiver's state, a ride started and stopped, in the book."""

import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import live_page
import pytest
import routes_visited
from axe_playwright_python.sync_playwright import Axe
from live_page import CHROMIUM, Served, Watch
from playwright.sync_api import Browser, Page, expect
from visitor import LAN_HOST, SAMPLES, Visitor, app_in

from ridelog.book.book import Book
from ridelog.book.use import alone
from ridelog.receiving.line import paced
from ridelog.web.receiver import RECORDING, ReceiverDesk, RiddenWith
from ridelog.web.security import SecurityMiddleware

LOG = (SAMPLES / "after-2.nmea").read_bytes()
LONGEST_S = 60.0


class FakeReceiver:
    """A receiver that serves its sentences by TCP in their own time, until it is silenced."""

    def __init__(self, log: bytes = LOG) -> None:
        self._parts = list(paced(log))
        self._server = socket.create_server(("127.0.0.1", 0))
        self.words = f"tcp://127.0.0.1:{self._server.getsockname()[1]}"
        self.speaks, self.gone = threading.Event(), threading.Event()
        self.speaks.set()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        while not self.gone.is_set():
            try:
                peer, _ = self._server.accept()
            except OSError:
                return
            with peer:
                self._speak(peer)

    def _speak(self, peer: socket.socket) -> None:
        begin_s = time.monotonic()
        for at_s, part in self._parts:
            while time.monotonic() < begin_s + at_s and not self.gone.is_set():
                time.sleep(0.01)
            if self.gone.is_set():
                return
            try:
                if self.speaks.is_set():
                    peer.sendall(part)
            except OSError:
                return

    def unplug(self) -> None:
        """End the connection, as a pulled cable does, and take no other."""
        self.gone.set()
        self._server.close()


@pytest.fixture
def receiver() -> Iterator[FakeReceiver]:
    made = FakeReceiver()
    yield made
    made.unplug()


@pytest.fixture
def app(tmp_path: Path) -> Iterator[SecurityMiddleware]:
    made = app_in(tmp_path / "book", lan=True)
    yield made
    desk_of(made).close()


def desk_of(app: SecurityMiddleware) -> ReceiverDesk:
    desk: ReceiverDesk = app.inner.state.server.receiver
    return desk


def here(app: SecurityMiddleware) -> Visitor:
    visitor = Visitor(app)
    visitor.get("/receiver")
    return visitor


def telephone(app: SecurityMiddleware) -> Visitor:
    """Return a telephone that showed its code."""
    visitor = Visitor(app, host=LAN_HOST, client="192.168.7.44", scheme="https")
    code = app.inner.state.server.codes.new()
    assert visitor.post("/enter", code=code).status == 303
    visitor.get("/receiver")
    return visitor


def until(true: Callable[[], Any], what: str) -> None:
    end_s = time.monotonic() + LONGEST_S
    while not true():
        assert time.monotonic() < end_s, what
        time.sleep(0.05)


def state(visitor: Visitor) -> dict[str, Any]:
    found: dict[str, Any] = visitor.get("/receiver/state").json()
    return found


def test_a_ride_is_started_and_stopped_by_a_telephone_and_stands_in_the_book(
    app: SecurityMiddleware, receiver: FakeReceiver, tmp_path: Path
) -> None:
    computer, phone = here(app), telephone(app)
    assert state(phone)["word"] == "off"
    setup = (SAMPLES / "thistledrake-before.toml").read_text()
    with Book(tmp_path / "book") as book:
        machine = book.machines.named("Thistledrake 2")
        made = book.machines.setup_named(machine.id, "64 teeth")
        book.machines.change_setup(made.id, name="64 teeth", since_utc="", toml=setup)
    assert computer.post("/receiver/listen", source=receiver.words).status == 303
    machine_form = {"machine": "Thistledrake 2", "setup": "64 teeth"}
    assert phone.post("/receiver/machine", **machine_form).status == 303
    until(lambda: state(phone)["word"] == "ready", "the receiver is steady")
    told = state(phone)
    assert told["reason"] == "the receiver is steady: you can ride"
    assert told["details"][0] == "12 satellites" and told["details"][2].endswith(" km/h")
    assert (told["listening"], told["ride_s"], told["kept"]) == (True, None, None)

    page = phone.get("/receiver")
    assert "Before you ride" in page.words and "Brakes tried at walking pace" in page.words
    assert "16 points of the set-up are not confirmed" in page.words
    points = {"point_0": "Gear on.", "tick_0": "yes", "point_1": "Brakes bite."}
    assert phone.post("/receiver/start", **points).status == 303
    until(lambda: state(phone)["word"] == "riding", "the ride is recorded")
    assert phone.post("/receiver/start").status == 400, "one ride at a time"
    until(lambda: state(phone)["ride_s"] > 3.0, "a ride of some seconds")
    assert phone.post("/receiver/stop").status == 303
    told = state(phone)
    assert (told["word"], told["ride_s"], told["kept"], told["problem"]) == ("ready", None, 1, "")
    assert not list((tmp_path / "book" / RECORDING).glob("ride-*"))
    with Book(tmp_path / "book") as book:
        ride = book.rides.get(1)
        kept = book.original(ride.sha256)
        assert (ride.machine, ride.setup) == ("Thistledrake 2", "64 teeth")
        looked = [(point.words, point.ticked) for point in book.details.points(1)]
        assert looked == [("Gear on.", True), ("Brakes bite.", False)]
    assert kept.startswith(b"$") and kept in LOG and len(kept) > 3_000
    assert "its page" in phone.get("/receiver").words
    page = phone.get("/rides/1")
    assert "1 of 2 points were ticked before this ride" in page.words
    assert "Not ticked: Brakes bite." in page.words
    assert phone.post("/receiver/end").status == 303
    assert state(phone)["word"] == "off"


def test_only_the_computer_names_a_receiver(
    app: SecurityMiddleware, receiver: FakeReceiver
) -> None:
    phone = telephone(app)
    answer = phone.post("/receiver/listen", source=receiver.words)
    assert answer.status == 403
    assert "Only the workshop's computer can name another receiver" in answer.words
    assert phone.post("/receiver/listen").status == 400, "none was named yet"
    computer = here(app)
    computer.post("/receiver/listen", source=receiver.words)
    computer.post("/receiver/end")
    assert f"Listen to {receiver.words}" in phone.get("/receiver").words
    assert phone.post("/receiver/listen", source=receiver.words).status == 303
    assert state(phone)["listening"]
    assert computer.post("/receiver/listen", source=receiver.words).status == 400, "one at a time"


@pytest.mark.parametrize(
    ("source", "words"),
    [
        ("", "no receiver is named"),
        (" - ", "no receiver is named"),
        ("/dev/no-such-line", "the line cannot be opened"),
        ("tcp://127.0.0.1:1", "no connection"),
        ("file:///etc/passwd", "names no receiver"),
        ("/etc/hostname", "is a file, not a receiver"),
    ],
)
def test_what_is_no_receiver_is_said_beside_its_field(
    app: SecurityMiddleware, source: str, words: str
) -> None:
    visitor = here(app)
    body = f"token={visitor.token}&source={source}".encode()
    headers = {
        "origin": f"http://{visitor.host}", "accept": "application/json",
        "content-type": "application/x-www-form-urlencoded",
    }  # fmt: skip
    answer = visitor.ask("POST", "/receiver/listen", body, headers=headers)
    assert answer.status == 400
    assert words in answer.json()["problem"] and answer.json()["field"] == "source"
    assert answer.json()["advice"]


def test_changes_need_the_token_of_the_page(app: SecurityMiddleware) -> None:
    visitor = here(app)
    for path in ("listen", "end", "machine", "start", "stop"):
        visitor.token = "stolen"
        assert visitor.post(f"/receiver/{path}", source="tcp://127.0.0.1:1").status == 403
    stranger = Visitor(app, host=LAN_HOST, client="192.168.7.50", scheme="https")
    assert stranger.get("/receiver").status == 303
    assert stranger.get("/receiver/state").headers["location"].startswith("/enter")
    assert stranger.post("/receiver/start").status == 403


def test_what_cannot_be_now_is_said(app: SecurityMiddleware) -> None:
    visitor = here(app)
    answer = visitor.post("/receiver/start")
    assert answer.status == 400 and "No receiver is listened to." in answer.words
    answer = visitor.post("/receiver/stop")
    assert answer.status == 400 and "No ride is being recorded." in answer.words
    answer = visitor.post("/receiver/machine", setup="64 teeth")
    assert answer.status == 400 and "A set-up belongs to a machine." in answer.words
    assert visitor.post("/receiver/end").status == 303


def test_an_unplugged_receiver_ends_the_ride_which_is_kept(
    app: SecurityMiddleware, receiver: FakeReceiver, tmp_path: Path
) -> None:
    visitor = here(app)
    visitor.post("/receiver/listen", source=receiver.words)
    until(lambda: state(visitor)["details"], "something arrives")
    visitor.post("/receiver/start")
    until(lambda: state(visitor)["ride_s"] and state(visitor)["ride_s"] > 2.0, "some seconds")
    receiver.unplug()
    until(lambda: not state(visitor)["listening"], "the listening ends")
    assert state(visitor)["kept"] == 1
    with Book(tmp_path / "book") as book:
        assert book.original(book.rides.get(1).sha256) in LOG


def test_a_receiver_that_falls_silent_is_lost_and_found(
    app: SecurityMiddleware, receiver: FakeReceiver
) -> None:
    visitor = here(app)
    visitor.post("/receiver/listen", source=receiver.words)
    until(lambda: state(visitor)["word"] == "ready", "steady")
    visitor.post("/receiver/start")
    receiver.speaks.clear()
    until(lambda: state(visitor)["word"] == "lost", "nothing comes any more")
    assert state(visitor)["reason"].startswith("nothing has arrived for ")
    receiver.speaks.set()
    until(lambda: state(visitor)["word"] == "riding", "it speaks again")


def test_a_ride_of_nothing_is_not_kept(app: SecurityMiddleware, receiver: FakeReceiver) -> None:
    receiver.speaks.clear()
    visitor = here(app)
    visitor.post("/receiver/listen", source=receiver.words)
    visitor.post("/receiver/start")
    visitor.post("/receiver/stop")
    told = state(visitor)
    assert told["kept"] is None
    assert told["problem"] == "Nothing arrived during the ride, so there is none to keep."
    assert told["problem"] in visitor.get("/receiver").words


def left_behind(folder: Path, told: str, log: bytes = LOG) -> None:
    (folder / RECORDING).mkdir(exist_ok=True)
    (folder / RECORDING / "ride-20240609-093000.nmea").write_bytes(log)
    (folder / RECORDING / "ride-20240609-093000.json").write_text(told)


POINT = {"words": "Brakes bite.", "ticked": True, "noted_utc": "2024-06-09T09:29:00Z"}
SAID = {"machine": "Thistledrake 2", "setup": "64 teeth", "points": [POINT]}


@pytest.mark.parametrize(
    ("told", "machine"),
    [
        (json.dumps(SAID), "Thistledrake 2"),
        (json.dumps(SAID)[:40], ""),
        ('{"machine": 1}', ""),
        ('{"machine": "A", "setup": "", "points": [{"colour": "red"}]}', ""),
    ],
)
def test_a_ride_that_a_killed_page_left_comes_into_the_book(
    app: SecurityMiddleware, tmp_path: Path, told: str, machine: str
) -> None:
    left_behind(tmp_path / "book", told)
    desk_of(app).take_what_was_left()
    with Book(tmp_path / "book") as book:
        ride = book.rides.get(1)
        assert book.original(ride.sha256) == LOG
        assert (ride.file, ride.machine) == ("ride-20240609-093000.nmea", machine)
        assert len(book.details.points(1)) == (1 if machine else 0)
    assert not list((tmp_path / "book" / RECORDING).glob("ride-*"))
    desk_of(app).take_what_was_left()  # nothing is left to take


def test_another_page_that_records_is_left_alone(
    app: SecurityMiddleware, receiver: FakeReceiver, tmp_path: Path
) -> None:
    left_behind(tmp_path / "book", json.dumps(SAID))
    visitor = here(app)
    visitor.post("/receiver/listen", source=receiver.words)
    with alone(tmp_path / "book" / RECORDING):
        desk_of(app).take_what_was_left()
        answer = visitor.post("/receiver/start")
    assert answer.status == 400
    assert "Another workshop page is recording a ride into this book." in answer.words
    assert len(list((tmp_path / "book" / RECORDING).glob("ride-*"))) == 2


def test_a_book_that_cannot_take_the_ride_loses_nothing(
    app: SecurityMiddleware, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(intake: object, data: bytes) -> None:
        raise OSError(28, "No space left on device")

    left_behind(tmp_path / "book", json.dumps(SAID))
    with monkeypatch.context() as patch:
        patch.setattr("ridelog.book.originals.Intake.write", full)
        desk_of(app).take_what_was_left()
    told = state(here(app))
    assert "The ride is not in the book yet: [Errno 28] No space left on device" in told["problem"]
    assert "comes into the book when this page is started again" in told["problem"]
    assert (tmp_path / "book" / RECORDING / "ride-20240609-093000.nmea").read_bytes() == LOG
    desk_of(app).take_what_was_left()
    with Book(tmp_path / "book") as book:
        assert book.rides.count() == 1


def test_no_folder_to_record_in_is_said(
    app: SecurityMiddleware, receiver: FakeReceiver, tmp_path: Path
) -> None:
    (tmp_path / "book" / RECORDING).write_bytes(b"in the way")
    visitor = here(app)
    visitor.post("/receiver/listen", source=receiver.words)
    answer = visitor.post("/receiver/start")
    assert answer.status == 400
    assert "A ride cannot be recorded in the book's folder" in answer.words


def test_points_are_kept_with_a_ride_that_came_otherwise(
    app: SecurityMiddleware, tmp_path: Path
) -> None:
    visitor = here(app)
    visitor.put("after.nmea", LOG)
    page = visitor.get("/rides/1")
    assert "nothing ticked yet" in page.words
    said = {"point_0": "Gear on.", "point_1": "Brakes bite.", "tick_1": "yes"}
    assert visitor.post("/rides/1/before", **said).status == 303
    assert "1 of 2 points were ticked before this ride" in visitor.get("/rides/1").words
    with Book(tmp_path / "book") as book:
        assert [point.ticked for point in book.details.points(1)] == [False, True]


def test_a_set_up_that_cannot_be_read_is_a_point(app: SecurityMiddleware, tmp_path: Path) -> None:
    with Book(tmp_path / "book") as book:
        machine = book.machines.named("Gorsehopper")
        setup = book.machines.setup_named(machine.id, "new")
        book.machines.change_setup(setup.id, name="new", since_utc="", toml="front_teeth = 0")
    desk_of(app).ridden_with = RiddenWith("Gorsehopper", "new")
    visitor = here(app)
    visitor.put("after.nmea", LOG)
    visitor.post("/rides/1/details", machine="Gorsehopper", setup="new")
    assert "The set-up cannot be read: " in visitor.get("/rides/1").words


# ------------------------------------------------------------------------- in a real browser

in_a_browser = pytest.mark.skipif(
    CHROMIUM is None, reason="no chromium on this machine: install Debian's, or set CHROMIUM"
)
expect.set_options(timeout=30_000)


@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    with live_page.browser() as opened:
        yield opened


@contextmanager
def looking(chromium: Browser, served: Served, width: int, scheme: str) -> Iterator[Page]:
    """Open the page, and see that nothing goes wrong in it that was not caused."""
    context = chromium.new_context(
        viewport={"width": width, "height": 844},
        color_scheme="dark" if scheme == "dark" else "light",
    )
    context.set_default_timeout(240_000)  # other work goes on on this machine
    page, watch = context.new_page(), Watch(served.base)
    watch.over(page)
    page.goto(f"{served.base}/receiver")
    yield page
    caused = ("net::ERR_INTERNET_DISCONNECTED", "net::ERR_CONNECTION_REFUSED")
    assert [fault for fault in watch.faults if not any(one in fault for one in caused)] == []
    context.close()


def nothing_in_the_way(page: Page, what: str) -> None:
    found = Axe().run(page).response["violations"]
    assert not found, (what, [(f["id"], f["nodes"][0]["html"]) for f in found])
    assert page.viewport_size
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]


def word(page: Page, name: str) -> None:
    expect(page.locator(f'#panel[data-word="{name}"]')).to_be_visible(timeout=LONGEST_S * 1000)
    expect(page.locator("#word")).to_have_text(name)


@in_a_browser
@pytest.mark.parametrize(("width", "scheme"), [(390, "dark"), (1280, "light")])
def test_the_page_on_the_handlebar(
    chromium: Browser, receiver: FakeReceiver, tmp_path: Path, width: int, scheme: str
) -> None:
    served = Served(tmp_path / "book")
    try:
        with looking(chromium, served, width, scheme) as page:
            word(page, "off")
            nothing_in_the_way(page, "off")
            page.get_by_label("Machine", exact=True).fill("Thistledrake 2")
            page.get_by_role("button", name="Choose").click()
            # The receiver is named by keys alone; sound is asked for before it is ready.
            sound = page.get_by_role("button", name="Sound when ready")
            sound.press("Enter")
            expect(sound).to_have_attribute("aria-pressed", "true")
            source = page.get_by_label("Receiver at this computer")
            source.fill(receiver.words)
            # What is typed while the page is laid out anew stays.
            expect(page.get_by_role("button", name="Choose")).to_be_enabled()
            expect(source).to_have_value(receiver.words)
            source.press("Enter")
            word(page, "ready")
            expect(page).to_have_title("Ready – ridelog")
            expect(page.locator("#said")).to_have_text(
                "ready: the receiver is steady: you can ride"
            )
            expect(page.locator("#awake")).to_contain_text("screen")
            expect(page.get_by_role("group", name="Before you ride")).to_contain_text(
                "Thistledrake"
            )
            nothing_in_the_way(page, "ready")
            page.get_by_label("Gear on", exact=False).check()
            page.get_by_role("button", name="Start the ride").press("Enter")
            word(page, "riding")
            expect(page.locator("#clock")).to_have_text("0:02")
            expect(page.get_by_role("button", name="Stop the ride")).to_be_focused()
            expect(sound).to_have_attribute("aria-pressed", "true")
            nothing_in_the_way(page, "riding")
            if width < 400:  # no scrolling on the handlebar
                box = page.get_by_role("button", name="Stop the ride").bounding_box()
                assert box and box["y"] + box["height"] <= 844 and box["height"] >= 60

            # The receiver falls silent; then the telephone is out of reach, while the ride goes on.
            receiver.speaks.clear()
            word(page, "lost")
            nothing_in_the_way(page, "lost")
            receiver.speaks.set()
            word(page, "riding")
            page.context.set_offline(True)
            word(page, "no word")
            expect(page.locator("#reason")).to_contain_text("it goes on recording by itself")
            nothing_in_the_way(page, "no word")
            page.context.set_offline(False)
            word(page, "riding")

            page.get_by_role("button", name="Stop the ride").click()
            expect(page.get_by_text("The ride is in the book")).to_be_visible()
            nothing_in_the_way(page, "kept")
            page.get_by_role("link", name="its page").click()
            expect(page.locator("#before-riding")).to_contain_text("1 of 8 points were ticked")
            expect(page.get_by_label("Machine", exact=True)).to_have_value("Thistledrake 2")
            # The page loads itself once more when the figures have come.
            measured = page.locator('#ride[data-current="yes"]')
            expect(measured).to_be_attached(timeout=LONGEST_S * 1000)
            nothing_in_the_way(page, "the ride")
    finally:
        served.stop()


@in_a_browser
def test_a_slow_network_and_a_server_that_is_gone(
    chromium: Browser, receiver: FakeReceiver, tmp_path: Path
) -> None:
    served = Served(tmp_path / "book")
    with looking(chromium, served, 390, "light") as page:
        page.get_by_label("Receiver at this computer").fill(receiver.words)
        page.get_by_role("button", name="Listen", exact=True).click()
        word(page, "ready")
        net = page.context.new_cdp_session(page)
        slow = {"offline": False, "latency": 2000, "downloadThroughput": 6000,
                "uploadThroughput": 6000}  # fmt: skip
        net.send("Network.emulateNetworkConditions", slow)
        page.get_by_role("button", name="Start the ride").click()
        word(page, "riding")
        end_s = time.monotonic() + 12.0
        while time.monotonic() < end_s:
            assert page.locator("#word").inner_text() == "riding"
            time.sleep(0.2)
        served.kill()
        word(page, "no word")
        page.get_by_role("button", name="Stop the ride").click()
        expect(page.get_by_role("alert")).to_contain_text("This did not get through.")
    # Nothing of it is lost: the page that comes after has the ride in the book.
    again = Served(tmp_path / "book")
    try:
        with Book(tmp_path / "book") as book:
            until(book.rides.count, "the ride comes into the book")
            (ride,) = book.rides.found()
            kept = book.original(ride.sha256)
    finally:
        again.stop()
    assert kept in LOG and len(kept) > 5_000


@in_a_browser
def test_a_browser_without_a_lock_says_so(
    chromium: Browser, receiver: FakeReceiver, tmp_path: Path
) -> None:
    served = Served(tmp_path / "book")
    try:
        with looking(chromium, served, 390, "light") as page:
            page.add_init_script("Object.defineProperty(navigator, 'wakeLock', {value: undefined})")
            page.reload()
            page.get_by_label("Receiver at this computer").fill(receiver.words)
            page.get_by_role("button", name="Listen", exact=True).click()
            expect(page.locator("#awake")).to_have_text(
                "This browser lets the screen go to sleep: set the telephone to keep it on."
            )
            page.get_by_role("button", name="Stop listening").click()
            word(page, "off")
            expect(page.locator("#awake")).to_have_text("")
    finally:
        served.stop()


def test_the_routes_of_this_file_were_visited(request: pytest.FixtureRequest) -> None:
    routes_visited.check(request)
