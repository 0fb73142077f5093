"""Which addresses of the workshop page a real browser visits, file by file of these tests.

No table is believed: at its end each file asks whether its browsers did visit what stands here.
"""

import pytest
from live_page import CHROMIUM, VISITED, this_file
from starlette.routing import Match, Route

from ridelog.web.app import routes
from ridelog.web.serve import lan_host

_RIDE, _MACHINE = "/rides/{ride:number}", "/machines/{machine:number}"
_SETUP, _PHOTO = f"{_MACHINE}/setups/{{setup:number}}", f"{_MACHINE}/photos/{{photo:number}}"
# No page asks for these: programs do.
FOR_PROGRAMS = {"GET /tasks"}
# Without an address in a network no telephone comes in.
_BY_TELEPHONE = {"POST /phone/code", "POST /enter"}
STORIES = {
    "test_story": {
        "GET /", "GET /events", "GET /static/{name}", "PUT /logs", "POST /tasks/dismiss",
        "POST /units", f"GET {_RIDE}", f"GET {_RIDE}/chart", f"GET {_RIDE}/trace",
        f"GET {_RIDE}/result.json", f"POST {_RIDE}/details", f"POST {_RIDE}/marks",
        "GET /compare", "GET /compare/{name}", "POST /compare/charge", "POST /compare/work",
        "GET /machines", f"GET {_MACHINE}", f"GET {_SETUP}", "GET /phone", "POST /phone/code",
        "GET /enter", "POST /enter",
    },
    "test_owner_story": {
        "GET /workshop", "GET /workshop/logo", "PUT /workshop/logo", "POST /workshop",
        "POST /workshop/logo/remove", "POST /machines", f"POST {_MACHINE}",
        f"POST {_MACHINE}/setups", f"POST {_MACHINE}/work", f"POST {_MACHINE}/work/remove",
        f"PUT {_MACHINE}/photos", f"GET {_PHOTO}", f"GET {_PHOTO}/original",
        f"POST {_MACHINE}/photos/remove", f"GET {_MACHINE}/history.csv", "GET /kept/{kept:number}",
        f"POST {_MACHINE}/kept/remove", f"POST {_SETUP}", f"GET {_SETUP}/what-if",
        f"GET {_SETUP}/what-if/{{name}}", f"GET {_SETUP}/options",
        f"GET {_SETUP}/options/{{name}}", f"POST {_SETUP}/options/decision",
        f"GET {_SETUP}/stated", f"GET {_SETUP}/stated/{{name}}", "POST /rides/details",
        f"GET {_RIDE}/original", f"GET {_RIDE}/report.html", f"POST {_RIDE}/before",
        f"POST {_RIDE}/notes/remove", f"POST {_RIDE}/again", f"POST {_RIDE}/remove",
    },
    "test_modes_story": {f"GET {_RIDE}/modes", f"GET {_RIDE}/modes/{{name}}"},
    "test_day_story": {f"GET {_MACHINE}/compare"},
    "test_marking": {f"POST {_RIDE}/marks/remove"},
    "test_handlebar": {
        "GET /receiver", "GET /receiver/state", "POST /receiver/listen", "POST /receiver/end",
        "POST /receiver/machine", "POST /receiver/start", "POST /receiver/stop",
    },
}  # fmt: skip


def named(route: Route) -> str:
    """Return a route by its method and address."""
    return f"{next(iter((route.methods or set()) - {'HEAD'}))} {route.path}"


def visited() -> set[str]:
    """Return the routes that answered what the browsers of this file asked for so far."""
    found = set()
    for method, path in VISITED[this_file()]:
        scope = {"type": "http", "method": method, "path": path, "root_path": ""}
        match = (one for one in routes() if one.matches(scope)[0] is Match.FULL)
        if (route := next(match, None)) is not None:
            found.add(named(route))
    return found


def check(request: pytest.FixtureRequest) -> None:
    """Fail unless the browsers of a file visited what is said of it; skip if not all of it ran."""
    if CHROMIUM is None:
        pytest.skip("no chromium on this machine")
    module = request.module
    ran = {getattr(one, "originalname", "") for one in request.session.items
           if getattr(one, "module", None) is module}  # fmt: skip
    if left := {name for name in vars(module) if name.startswith("test_")} - ran:
        pytest.skip(f"not run: {', '.join(sorted(left))}")
    told = STORIES[module.__name__.rpartition(".")[-1]]
    assert told - visited() - (set() if lan_host() else _BY_TELEPHONE) == set()
