"""Find block checksums: which algorithm over which range explains a stored word of all images on record.

The search takes seconds, so a page follows it by an event stream. What it found goes on in the address of the page
that lists the candidates; there each is evaluated on the images again, so nothing in an address is believed.
"""

import json
import threading
from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated, Any
from urllib.parse import urlencode

import anyio
import anyio.to_thread
from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response, StreamingResponse
from sqlalchemy.orm import Session

from app.calc.calibration.checksum import ChecksumDefinition, evaluate
from app.calc.calibration.checksum_search import MAX_IMAGES, ChecksumCandidate, find_checksums
from app.calc.calibration.image import Image
from app.errors import AppError, BadInput, Conflict
from app.record import images, layouts
from app.record.tables import Layout
from app.web.page import render
from app.web.signed_in import Tuner
from app.web.transaction import Read

router = APIRouter(prefix="/layouts/{layout_id:int}/checksum-search")

_one_at_a_time = threading.Lock()
_HEARTBEAT_S = 1.0


@dataclass(frozen=True, slots=True)
class SearchPage:
    layout: tuple[str, str]
    layout_id: int
    images: int
    most: int


@dataclass(frozen=True, slots=True)
class CandidateRow:
    """A proposed checksum as the layout's form takes it, and in how many images it holds."""

    algorithm: str
    ranges: str
    stored_at: str
    byte_order: str
    chance: str
    held: str
    name: str


@dataclass(frozen=True, slots=True)
class CandidatesPage:
    layout: tuple[str, str]
    layout_id: int
    images: int
    candidates: tuple[CandidateRow, ...]


@router.get("")
def show(request: Request, layout_id: int, session: Read, person: Tuner) -> HTMLResponse:
    row = layouts.layout(session, layout_id)
    page = SearchPage(_name(row), row.id, len(layouts.images_of(session, row)), MAX_IMAGES)
    return render(request, "layouts/search.html", page, session=session, person=person, title="Find block checksums")


@router.get("/run")
def run(layout_id: int, session: Read, _person: Tuner) -> Response:
    """The search without progress, for a browser without JavaScript."""
    return RedirectResponse(_address(layout_id, _search(_images(session, layout_id))), status_code=303)


@router.get("/events")
def events(layout_id: int, session: Read, _person: Tuner) -> StreamingResponse:
    """The search as an event stream; see static/js/progress.js for its events."""
    found = _images(session, layout_id)
    return StreamingResponse(_stream(layout_id, found), media_type="text/event-stream")


async def _stream(layout_id: int, found: list[Image]) -> AsyncIterator[str]:
    outcome: dict[str, Any] = {}

    async def search() -> None:
        try:
            outcome["candidates"] = await anyio.to_thread.run_sync(_search, found)
        except AppError as error:
            outcome["error"] = str(error)

    began = anyio.current_time()
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(search)
        while not outcome:
            seconds = round(anyio.current_time() - began)
            words = f"Trying every algorithm over every plausible range of {len(found)} images: {seconds} s"
            yield _event("progress", {"done": seconds, "total": None, "text": words})
            with anyio.move_on_after(_HEARTBEAT_S):
                while not outcome:
                    await anyio.sleep(0.05)
    if "error" in outcome:
        yield _event("failed", {"text": outcome["error"]})
    else:
        count = len(outcome["candidates"])
        words = f"{count} found" if count else "Nothing found"
        yield _event("finished", {"text": words, "href": _address(layout_id, outcome["candidates"])})


def _event(name: str, data: dict[str, Any]) -> str:
    return f"event: {name}\ndata: {json.dumps(data)}\n\n"


def _search(found: list[Image]) -> tuple[ChecksumCandidate, ...]:
    if not _one_at_a_time.acquire(blocking=False):
        raise Conflict("Another search for checksums is running; start this one when it is done.")
    try:
        return find_checksums(found)
    finally:
        _one_at_a_time.release()


def _images(session: Session, layout_id: int) -> list[Image]:
    """Different images of units with this layout, stock first; no more than the search looks at."""
    found: dict[str, Image] = {}
    for row in layouts.images_of(session, layouts.layout(session, layout_id)):
        if row.sha256 is not None and row.sha256 not in found:
            found[row.sha256] = images.load(session, row)
        if len(found) == MAX_IMAGES:
            break
    return list(found.values())


def _name(row: Layout) -> tuple[str, str]:
    return f"{row.name} v{row.version}", f"/layouts/{row.id}"


def _address(layout_id: int, candidates: tuple[ChecksumCandidate, ...]) -> str:
    plain = [
        "~".join(
            (
                one.definition.algorithm,
                ",".join(f"{start:x}-{end:x}" for start, end in one.definition.ranges),
                f"{one.definition.stored_at:x}",
                one.definition.byte_order,
                f"{one.chance:.1e}",
            )
        )
        for one in candidates
    ]
    return f"/layouts/{layout_id}/checksum-search/candidates?" + urlencode({"found": plain}, doseq=True)


@router.get("/candidates")
def show_candidates(
    request: Request,
    layout_id: int,
    session: Read,
    person: Tuner,
    found: Annotated[list[str], Query(max_length=50)] = [],  # noqa: B006 - FastAPI copies it
) -> HTMLResponse:
    row = layouts.layout(session, layout_id)
    known = _images(session, layout_id)
    taken = {one.stored_range for one in layouts.require(session, row).checksums_in_image}
    rows = tuple(_candidate(text, known) for text in found if _definition(text)[0].stored_range not in taken)
    page = CandidatesPage(_name(row), row.id, len(known), rows)
    return render(
        request, "layouts/candidates.html", page, session=session, person=person, title="Block checksums found"
    )


def _definition(text: str) -> tuple[ChecksumDefinition, str]:
    """A candidate from its address, in the image's addresses, and the estimated chance of a coincidence."""
    parts = text.split("~")
    try:
        algorithm, ranges, stored_at, order, chance = parts
        pairs = tuple((int(a, 16), int(b, 16)) for a, _, b in (part.partition("-") for part in ranges.split(",")))
        byte_order = {"big": "big", "little": "little"}[order]
        at = int(stored_at, 16)
        definition = ChecksumDefinition(f"block checksum at 0x{at:X}", algorithm, pairs, at, byte_order)  # type: ignore[arg-type]  # one of the two
        return definition, f"{float(chance):.0e}"
    except (ValueError, KeyError) as error:
        raise BadInput("This address names no candidate; search again.") from error


def _candidate(text: str, known: list[Image]) -> CandidateRow:
    one, chance = _definition(text)
    held = sum(evaluate(image, one).state == "holds" for image in known)
    return CandidateRow(
        algorithm=one.algorithm,
        ranges=", ".join(f"0x{start:X}-0x{end - 1:X}" for start, end in one.ranges),
        stored_at=f"0x{one.stored_at:X}",
        byte_order=one.byte_order,
        chance=chance,
        held=f"{held} of {len(known)}",
        name=one.name,
    )
