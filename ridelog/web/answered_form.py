"""A form with its answer below it, which the worker computes, and the files of that answer."""

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from ridelog.book.records import RideEntry
from ridelog.core.errors import RideLogError
from ridelog.core.text import clean
from ridelog.web.compare_pages import answered
from ridelog.web.views import PageError, attachment, page
from ridelog.web.worker import ComparedRides, Job, JobError

# What the form shows, what is wrong with it, and the work that answers it.
ReadForm = Callable[[Request], tuple[dict[str, Any], str, Job | None]]
KeepAnswer = Callable[[dict[str, Any], ComparedRides], Awaitable[object]]


async def form_page(
    request: Request, template: str, read: ReadForm, keep: KeepAnswer | None = None
) -> Response:
    """Return the form, and below it the answer if something was asked; ``keep`` remembers it."""
    shown, problem, job = await run_in_threadpool(read, request)
    answer = None
    if job is not None:
        try:
            answer = await answered(request, job)
        except JobError:
            raise
        except RideLogError as error:
            # What cannot be belongs beside the form, not on another page.
            problem = str(error)
        else:
            if keep is not None:
                await keep(shown, answer)
    query = str(request.url.query)
    return page(request, template, answer=answer, problem=clean(problem), query=query, **shown)


async def answer_file(
    request: Request, read: ReadForm, types: Mapping[str, str], *, not_asked: str, back: str
) -> Response:
    """Return one file of the answer; pages that stand alone are shown."""
    name = request.path_params["name"]
    _, problem, job = await run_in_threadpool(read, request)
    if job is None:
        raise PageError(problem or not_asked, "go back to the form.", 404)
    made = await answered(request, job)
    if name not in types or name not in made.files:
        raise PageError("There is no such file.", f"go back to the {back}.", 404)
    return attachment(made.files[name], types[name], name, alone=name.endswith(".html"))


def ticked_rides(shown: dict[str, Any]) -> tuple[RideEntry, ...]:
    """Return the rides of a form that are ticked."""
    return tuple(ride for ride in shown["rides"] if ride.id in shown["ticked"])
