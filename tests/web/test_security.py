"""Who may ask: this machine's own pages, and telephones with a code; nobody else."""

import re
from pathlib import Path
from urllib.parse import quote

import pytest
from visitor import HOST, LAN_HOST, Visitor, app_in

from ridelog.web.security import SecurityMiddleware


@pytest.fixture
def app(tmp_path: Path) -> SecurityMiddleware:
    return app_in(tmp_path / "book")


@pytest.fixture
def lan_app(tmp_path: Path) -> SecurityMiddleware:
    return app_in(tmp_path / "book", lan=True)


def test_this_machine_comes_in_by_itself(app: SecurityMiddleware) -> None:
    visitor = Visitor(app)
    answer = visitor.get("/")
    assert answer.status == 200 and "Drop the logs of test rides here" in answer.words
    assert re.fullmatch(
        r"ridelog_8437=[\w-]{22}\.[0-9a-f]{64}; Path=/; HttpOnly; SameSite=Strict",
        answer.cookies[0],
    )
    assert not visitor.get("/").cookies, "one session a browser"


def test_every_answer_keeps_the_page_to_itself(app: SecurityMiddleware) -> None:
    for path in ("/", "/machines", "/static/page.css", "/rides/99", "/nowhere", "/tasks"):
        headers = Visitor(app).get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'; script-src 'self';" in policy and "unsafe-eval" not in policy
        assert "frame-ancestors 'none'" in policy and "base-uri 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:80", "evil.example:8437", "", LAN_HOST]
)
def test_a_foreign_host_is_refused(app: SecurityMiddleware, host: str) -> None:
    answer = Visitor(app, host=host).get("/")
    assert answer.status == 421 and answer.text == "This address is not served here.\n"
    assert not answer.cookies


@pytest.mark.parametrize(
    "origin",
    [
        "http://evil.example",
        "null",
        None,
        f"https://{HOST}",
        "http://127.0.0.1:9",
        f"http://{HOST}/",
    ],
)
def test_a_change_from_another_page_is_refused(app: SecurityMiddleware, origin: str | None) -> None:
    visitor = Visitor(app)
    visitor.get("/")
    headers = {"x-ridelog-token": visitor.token, **({"origin": origin} if origin else {})}
    for method, path in (("PUT", "/logs?name=a"), ("POST", "/machines"), ("DELETE", "/rides/1")):
        answer = visitor.ask(method, path, b"x", headers=headers)
        assert answer.status == 403
        assert answer.text == "This request comes from another page and is refused.\n"


def test_the_browsers_own_word_counts_too(app: SecurityMiddleware) -> None:
    visitor = Visitor(app)
    visitor.get("/")
    headers = {
        "origin": f"http://{HOST}", "x-ridelog-token": visitor.token,
        "sec-fetch-site": "cross-site",
    }  # fmt: skip
    assert visitor.ask("PUT", "/logs?name=a", b"x", headers=headers).status == 403


def test_a_change_needs_the_token_of_its_page(app: SecurityMiddleware) -> None:
    visitor = Visitor(app)
    visitor.get("/")
    token, visitor.token = visitor.token, "wrong"
    answer = visitor.post("/machines", name="Stolen")
    assert answer.status == 403
    assert "the page was older than the server, so the change was not made" in answer.words.lower()
    visitor.token = "wrong"
    assert visitor.put("a.gpx", b"log").status == 403
    visitor.token = token
    assert visitor.post("/machines", name="Mine").status == 303
    assert "Stolen" not in visitor.get("/machines").words


def test_a_token_is_worth_nothing_in_another_browser(app: SecurityMiddleware) -> None:
    one, other = Visitor(app), Visitor(app)
    one.get("/"), other.get("/")
    other.token = one.token
    assert other.post("/machines", name="Stolen").status == 403


def test_paths_lead_nowhere_else(app: SecurityMiddleware) -> None:
    for path in (
        "/static/../app.py", "/static/..%2fapp.py", "/static/templates/base.html",
        "/static/%2e%2e/%2e%2e/cli.py", "/static/bokeh.js", "/rides/1/../../etc", "/rides/x",
        "/rides/-1", "/rides/1e9",
    ):  # fmt: skip
        answer = Visitor(app).get(path)
        assert answer.status == 404 and "There is no such page" in answer.words, path


def test_the_unit_tests_host_is_this_machine(app: SecurityMiddleware) -> None:
    assert Visitor(app, host="localhost:8437").get("/").status == 200


def test_numbers_too_large_for_the_book_are_no_crash(app: SecurityMiddleware) -> None:
    for number in ("1" * 14, "1" * 30, "1" * 5000):
        answer = Visitor(app).get(f"/rides/{number}")
        assert answer.status == 404


@pytest.mark.parametrize("number", ["²", "٣", "½", "1_0", "+1", "9" * 40, "", "-1"])
def test_what_is_no_number_to_python_is_no_crash(app: SecurityMiddleware, number: str) -> None:
    visitor = Visitor(app)
    visitor.get("/")
    word = quote(number)
    for path in (f"/?page={word}", f"/?machine={word}", f"/compare?before={word}&after={word}",
                 f"/compare?before=1&after={word}", f"/machines/1?saved={word}"):  # fmt: skip
        assert visitor.get(path).status in (200, 400, 404), path
    for path, field in (("/tasks/dismiss", "task"), ("/machines", "name")):
        assert visitor.post(path, **{field: number}).status in (303, 400), path
    declared = number.encode("utf-8").decode("latin-1")
    assert visitor.put("a.gpx", b"log", **{"content-length": declared}).status in (202, 200, 413)


def test_a_form_is_bounded(app: SecurityMiddleware) -> None:
    visitor = Visitor(app)
    visitor.get("/")
    answer = visitor.post("/machines", name="x" * 300_000)
    assert answer.status == 413 and "The form is too large" in answer.words
    headers = {"origin": f"http://{HOST}", "content-type": "multipart/form-data; boundary=x"}
    assert visitor.ask("POST", "/machines", b"--x", headers=headers).status == 415


def phone(app: SecurityMiddleware) -> Visitor:
    return Visitor(app, host=LAN_HOST, client="192.168.7.44", scheme="https")


def code_from(app: SecurityMiddleware) -> str:
    local = Visitor(app)
    local.get("/phone")
    page = local.post("/phone/code")
    assert "<svg" in page.text
    found = re.search(r'class="code">(\w{8})<', page.text)
    assert found
    return found[1]


def test_a_telephone_stands_outside_without_a_code(lan_app: SecurityMiddleware) -> None:
    visitor = phone(lan_app)
    answer = visitor.get("/")
    assert answer.status == 303 and answer.headers["location"] == "/enter"
    assert visitor.get("/rides/1").status == 303 and visitor.get("/tasks").status == 303
    assert visitor.put("a.gpx", b"log").status == 403
    assert "Come in with the code" in visitor.get("/enter").words
    assert visitor.get("/static/page.css").status == 200


@pytest.mark.parametrize(
    ("referer", "back"),
    [
        (f"https://{LAN_HOST}/machines?x=1", "/machines?x=1"),
        ("https://evil.example/machines", "/"),
        (f"https://{LAN_HOST}.evil.example/machines", "/"),
        (None, "/"),
    ],
)
def test_a_form_of_a_page_without_scripts_leads_to_the_code(
    lan_app: SecurityMiddleware, referer: str | None, back: str
) -> None:
    visitor = phone(lan_app)
    origin = {"origin": f"https://{LAN_HOST}"}
    asked = {"accept": "text/html,*/*;q=0.8", **({"referer": referer} if referer else {})}
    answer = visitor.ask("POST", "/machines", b"name=Mine", headers=origin | asked)
    assert answer.status == 403 and "Nothing was changed" in answer.words
    assert f'name="back" value="{back}"' in answer.text and 'action="/enter"' in answer.text
    assert "what you typed there is kept" not in answer.words
    # Scripts say it beside what was typed.
    asked = {"accept": "application/json"}
    answer = visitor.ask("POST", "/machines", b"name=Mine", headers=origin | asked)
    assert (answer.status, answer.text) == (403, "Enter the code first.\n")


def test_a_telephone_comes_in_with_a_code_once(lan_app: SecurityMiddleware) -> None:
    code = code_from(lan_app)
    visitor = phone(lan_app)
    visitor.get("/enter")
    assert visitor.post("/enter", code=code.lower()).status == 303
    assert visitor.get("/").status == 200
    assert visitor.put("a.gpx", b"some log").status == 202
    second = phone(lan_app)
    answer = second.post("/enter", code=code)
    assert answer.status == 403 and "The code is wrong, used or too old" in answer.words
    assert visitor.post("/phone/code").status == 403, "only this machine makes codes"


def test_a_guesser_waits_and_the_owners_code_stays_good(lan_app: SecurityMiddleware) -> None:
    code = code_from(lan_app)
    guesser = Visitor(lan_app, host=LAN_HOST, client="192.168.7.66", scheme="https")
    for _ in range(4):
        assert guesser.post("/enter", code="WRONGONE").status == 403
    for _ in range(30):
        answer = guesser.post("/enter", code=code)
        assert answer.status == 429 and "Too many wrong codes from here. Wait 2 s" in answer.words
        assert answer.headers["retry-after"] == "2"
    assert phone(lan_app).post("/enter", code=code).status == 303


def test_a_telephone_goes_on_where_it_wanted_to(lan_app: SecurityMiddleware) -> None:
    visitor = phone(lan_app)
    answer = visitor.get("/compare?before=1&after=2")
    assert answer.headers["location"] == "/enter?back=%2Fcompare%3Fbefore%3D1%26after%3D2"
    page = visitor.get(answer.headers["location"])
    assert 'name="back" value="/compare?before=1&amp;after=2"' in page.text
    answer = visitor.post("/enter", code=code_from(lan_app), back="/compare?before=1&after=2")
    assert (answer.status, answer.headers["location"]) == (303, "/compare?before=1&after=2")
    other = phone(lan_app)
    answer = other.post("/enter", code=code_from(lan_app), back="//evil.example")
    assert answer.headers["location"] == "/"


def test_a_cookie_over_https_is_never_sent_in_the_open(lan_app: SecurityMiddleware) -> None:
    answer = phone(lan_app).post("/enter", code=code_from(lan_app))
    assert answer.cookies[0].endswith("; Path=/; HttpOnly; SameSite=Strict; Secure")
    plain = Visitor(lan_app, host=LAN_HOST, client="192.168.7.44")
    answer = plain.post("/enter", code=code_from(lan_app))
    assert answer.cookies[0].endswith("; Path=/; HttpOnly; SameSite=Strict")


def test_the_fingerprint_stands_beside_the_code(lan_app: SecurityMiddleware) -> None:
    local = Visitor(lan_app)
    assert "only if its SHA-256 fingerprint is this one: AB:CD" in local.get("/phone").words
    assert "only if its SHA-256 fingerprint is this one: AB:CD" in local.post("/phone/code").words


ELSEWHERE = [
    {"sec-fetch-site": "cross-site"},
    {"sec-fetch-site": "same-site"},
    {"origin": "http://evil.example"},
    {"origin": "null"},
    {"referer": "http://evil.example/page"},
    {"referer": f"http://{HOST}.evil.example/"},
]


@pytest.mark.parametrize("headers", ELSEWHERE)
def test_another_sites_requests_change_and_compute_nothing(
    app: SecurityMiddleware, headers: dict[str, str]
) -> None:
    owner = Visitor(app)
    owner.get("/")
    cookies = dict(owner.cookies)
    for path in ("/", "/compare?before=1&after=2", "/rides/1", "/tasks"):
        answer = owner.ask("GET", path, headers={**headers, "sec-fetch-mode": "navigate"})
        assert answer.status == 200 and "This leads to the workshop" in answer.words, path
        assert f'href="{path.replace("&", "&amp;")}"' in answer.text
        assert 'data-token=""' in answer.text and not answer.cookies
        if "sec-fetch-site" in headers:
            answer = owner.ask("GET", path, headers={**headers, "sec-fetch-mode": "no-cors"})
            assert answer.status == 403 and "from another page" in answer.text
    assert owner.cookies == cookies and owner.post("/machines", name="Mine").status == 303


@pytest.mark.parametrize(
    ("path", "onward"),
    [
        ("//evil.example/x", "/"),
        ("/\\evil.example", "/%5Cevil.example"),
        ("/<script>", "/"),
    ],
)
def test_the_door_leads_to_our_own_pages_only(
    app: SecurityMiddleware, path: str, onward: str
) -> None:
    answer = Visitor(app).ask("GET", path, headers={"sec-fetch-site": "cross-site"})
    assert f'class="button main" href="{onward}"' in answer.text


@pytest.mark.parametrize(
    "headers", [{}, {"sec-fetch-site": "none"}, {"referer": f"http://{HOST}/"}]
)
def test_our_own_requests_pass(app: SecurityMiddleware, headers: dict[str, str]) -> None:
    visitor = Visitor(app)
    assert "Drop the logs" in visitor.ask("GET", "/", headers=headers).words


def test_what_computes_needs_a_cookie_or_the_browsers_word(app: SecurityMiddleware) -> None:
    for path in ("/compare?before=1&after=2", "/compare/sheet.pdf?before=1&after=2",
                 "/rides/1/report.html", "/machines/1/setups/1/what-if?asked=1"):  # fmt: skip
        visitor = Visitor(app)
        assert "This leads to the workshop" in visitor.get(path).words
        assert visitor.cookies, "the next click brings it along"
        assert visitor.get(path).status == 404
        word = {"sec-fetch-site": "same-origin"}
        assert Visitor(app).ask("GET", path, headers=word).status == 404


def test_any_number_of_strangers_ends_no_session(app: SecurityMiddleware) -> None:
    owner = Visitor(app)
    owner.get("/machines")
    for _ in range(501):
        assert Visitor(app).get("/machines").status == 200
    assert owner.post("/machines", name="Mine").status == 303


def test_a_telephones_cookie_is_not_this_machines(lan_app: SecurityMiddleware) -> None:
    visitor = phone(lan_app)
    visitor.post("/enter", code=code_from(lan_app))
    stranger = Visitor(lan_app, host=HOST, client="192.168.7.44")
    stranger.cookies = visitor.cookies
    assert stranger.get("/").status == 421, "the network may not use this machine's own name"


def test_the_network_is_limited_in_its_requests(
    lan_app: SecurityMiddleware, monkeypatch: pytest.MonkeyPatch
) -> None:
    # The clock stands still, so that a slow machine does not refill the bucket meanwhile.
    monkeypatch.setattr(lan_app._requests, "_clock", lambda: 0.0)
    visitor = phone(lan_app)
    statuses = [visitor.get("/enter").status for _ in range(620)]
    assert statuses[0] == 200 and statuses[-1] == 429
    assert Visitor(lan_app).get("/").status == 200


def test_without_the_option_no_code_is_made(app: SecurityMiddleware) -> None:
    visitor = Visitor(app)
    page = visitor.get("/phone")
    assert "The page is open to this machine only" in page.words
    assert visitor.post("/phone/code").status == 403


def test_units_switch_and_lead_back_to_our_own_pages_only(app: SecurityMiddleware) -> None:
    visitor = Visitor(app)
    visitor.get("/machines")
    answer = visitor.post("/units", unit="mph", back="/machines?x=1")
    assert (answer.status, answer.headers["location"]) == (303, "/machines?x=1")
    assert 'value="mph" aria-pressed="true"' in visitor.get("/").text
    for back in ("//evil.example", "https://evil.example", "/\\evil.example", "javascript:x"):
        assert visitor.post("/units", unit="kmh", back=back).headers["location"] == "/"
    answer = visitor.post("/units", unit="knots")
    assert (
        answer.status == 400
        and "'knots' is no unit. What to do: choose kmh or mph." in answer.words
    )
