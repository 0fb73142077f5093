"""Every address of the workshop page is visited by a real browser in one of these tests."""

from pathlib import Path

from routes_visited import FOR_PROGRAMS, STORIES, named

from ridelog.web.app import routes


def test_browsers_visit_every_route() -> None:
    every, told = {named(one) for one in routes()}, set().union(*STORIES.values())
    assert every - told == FOR_PROGRAMS, "add it to a story, then to that story's routes"
    assert told <= every, "there is no such route any more"


def test_every_story_asks_whether_it_visited_them() -> None:
    for name in STORIES:
        text = (Path(__file__).parent / f"{name}.py").read_text(encoding="utf-8")
        assert "    routes_visited.check(request)" in text, name
