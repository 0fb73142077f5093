"""What if: teeth, cells, limits or masses changed, answered from the rides on a set-up."""

import asyncio
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ridelog.book import Book, RideEntry
from ridelog.core.errors import RideLogError
from ridelog.core.text import clean
from ridelog.machine.change import changed, parse_change, parse_sweep
from ridelog.machine.setup import KEYS, MachineSetup
from ridelog.web.machine_pages import setup_of
from ridelog.web.views import page, problems_as_pages, server_of, unit_of
from ridelog.web.worker import Job, JobError
from ridelog.workflow.set_up import setup_of_text
from ridelog.workflow.settings_of import log_at

# What a workshop changes most; any other key can be typed. Own choice.
_FIELDS = (
    "front_teeth", "rear_teeth", "battery_cells", "battery_limit_a", "motor_limit_a",
    "rider_mass_kg",
)  # fmt: skip
_SWEPT = {"front_teeth": 2, "rear_teeth": 4, "battery_cells": 2}
_MOST_RIDES, _USUAL_RIDES = 6, 3


async def what_if(request: Request) -> Response:
    """Return the panel, and below it the prediction if a change was asked for."""

    async def work() -> Response:
        asked = await run_in_threadpool(_read, request)
        answer = None
        problem = asked.pop("problem")
        if asked["job"] is not None and not problem:
            try:
                answer = await asyncio.wrap_future(server_of(request).queue.ask(asked["job"]))
            except JobError:
                raise
            except RideLogError as error:
                # A change that cannot be belongs beside the form, not on another page.
                problem = str(error)
        asked.pop("job")
        return page(request, "what_if.html", answer=answer, problem=clean(problem), **asked)

    return await problems_as_pages(request, work())


def _read(request: Request) -> dict[str, Any]:
    """Return what the form asked for, and what it shows."""
    query = request.query_params
    with Book(server_of(request).folder) as book:
        machine, state = setup_of(request, book)
        rides = [
            ride
            for ride in book.rides.found(machine_id=machine.id, most=200)
            if ride.setup_id == state.id and ride.state == "ready"
        ][:_MOST_RIDES]
        ticked = set(query.getlist("ride"))
        if "asked" not in query:
            ticked = {str(ride.id) for ride in rides[:_USUAL_RIDES]}
        problem, known, job = "", MachineSetup(), None
        try:
            known = setup_of_text(state.toml)
            job = _job(request, book, known, [r for r in rides if str(r.id) in ticked])
        except RideLogError as error:
            problem = str(error)
    shown = {name: query.get(name, "")[:40] for name in (*_FIELDS, "more", "sweep")}
    return {
        "machine": machine,
        "setup": state,
        "rides": rides,
        "ticked": ticked,
        "fields": [_field(name, known, shown[name]) for name in _FIELDS],
        "more": shown["more"],
        "sweep": shown["sweep"],
        "swept": {
            name: KEYS[name].question.partition(" (")[0] for name in _SWEPT if name in known.given()
        },
        "problem": problem,
        "job": job,
    }


def _field(name: str, known: MachineSetup, typed: str) -> dict[str, str]:
    key, present = KEYS[name], known.given().get(name)
    return {
        "name": name,
        "label": key.question,
        "unit": key.unit,
        "present": "" if present is None else f"{present:g}",
        "typed": typed,
    }


def _job(request: Request, book: Book, known: MachineSetup, rides: list[RideEntry]) -> Job | None:
    """Return the work that answers the form, or None if it asks for nothing."""
    query = request.query_params
    texts = [
        f"{name}={query[name].strip()[:40]}" for name in _FIELDS if query.get(name, "").strip()
    ]
    texts += query.get("more", "")[:200].split()
    asked = dict(parse_change(text) for text in texts)
    given = known.given()
    asked = {name: value for name, value in asked.items() if given.get(name) != value}
    sweep = None
    swept = query.get("sweep", "")
    if swept in _SWEPT and isinstance(given.get(swept), int):
        low, high = given[swept] - _SWEPT[swept], given[swept] + _SWEPT[swept]
        sweep = parse_sweep(f"{swept}={max(low, 1)}:{high}")
    if not asked and sweep is None:
        return None
    changed(known, asked)  # says at once what cannot be
    return Job(
        "predict_change",
        {
            "setup": given,
            "logs": [log_at(book, ride) for ride in rides],
            "asked": asked,
            "sweep": sweep,
            "unit": unit_of(request).label,
        },
    )
