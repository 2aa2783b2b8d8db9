"""Long work as it goes on: a page with a bar, fed by an event stream."""

import json
from collections.abc import AsyncIterator
from dataclasses import dataclass

import anyio
from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response, StreamingResponse

from app.web import work
from app.web.page import render
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter(prefix="/work")
_LOOK_EVERY_S = 0.2


@dataclass(frozen=True, slots=True)
class WorkPage:
    key: str
    work_title: str
    text: str
    done: int
    total: int | None
    failure: str | None
    again: str | None


@router.get("/{key}")
def show(request: Request, key: str, session: Read, person: Viewer) -> Response:
    """Leads on when the work is over, so that a browser without JavaScript gets there by loading again."""
    one = work.find(key, person.id)
    if one.href is not None:
        return RedirectResponse(one.href, status_code=303)
    again = "/layouts?ask=byte-order#new" if one.field == "legacy_byte_order" else None
    page = WorkPage(key, one.title, one.text, one.done, one.total, one.failure, again)
    status = 200 if one.failure is None else 422
    return render(request, "work/page.html", page, session=session, person=person, title=one.title, status=status)


@router.get("/{key}/events")
def events(key: str, person: Viewer) -> StreamingResponse:
    """See static/js/progress.js for the events."""
    return StreamingResponse(_stream(work.find(key, person.id), key), media_type="text/event-stream")


async def _stream(one: work.Work, key: str) -> AsyncIterator[str]:
    while not one.over:
        yield _event("progress", {"done": one.done, "total": one.total, "text": one.text})
        await anyio.sleep(_LOOK_EVERY_S)
    # A refusal is told by the page itself, which also says what to do next.
    yield _event("finished", {"text": one.failure or "Done", "href": one.href or f"/work/{key}"})


def _event(name: str, data: dict[str, object]) -> str:
    return f"event: {name}\ndata: {json.dumps(data)}\n\n"
