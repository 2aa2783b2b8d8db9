"""Find block checksums: which algorithm over which range explains a stored word of all images on record.

The search takes seconds, so it runs in the background. What it found goes on in the address of the page that lists the
candidates; there each is evaluated on the images again, so nothing in an address is believed.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.calc.calibration.checksum import ChecksumDefinition, evaluate
from app.calc.calibration.checksum_search import MAX_IMAGES, ChecksumCandidate, find_checksums
from app.calc.calibration.image import Image
from app.calc.number_text import counted
from app.errors import BadInput
from app.record import images, layouts
from app.record.tables import Layout, Revision, Stock
from app.web import work
from app.web.form import OncePerForm, see_other
from app.web.page import render
from app.web.signed_in import Tuner
from app.web.transaction import Read, Write

router = APIRouter(prefix="/layouts/{layout_id:int}/checksum-search")


@dataclass(frozen=True, slots=True)
class SearchPage:
    layout: tuple[str, str]
    layout_id: int
    images: int


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
    in_layout: int
    candidates: tuple[CandidateRow, ...]


@router.get("")
def show(request: Request, layout_id: int, session: Read, person: Tuner) -> HTMLResponse:
    row = layouts.layout(session, layout_id)
    page = SearchPage(_name(row), row.id, len(_images(session, row.id)))
    return render(request, "layouts/search.html", page, session=session, person=person, title="Find block checksums")


@router.post("")
def begin(request: Request, layout_id: int, once: OncePerForm, session: Write, person: Tuner) -> Response:
    """Search in a thread; its page leads on to the candidates."""
    found = _images(session, layout_id)

    def act(report: work.Report) -> str:
        report(0, None, f"Trying every algorithm over every plausible range of {len(found)} images")
        return _address(layout_id, find_checksums(found))

    key = work.begin(person.id, "Searching for block checksums", act)
    return see_other(request, session, f"/work/{key}", once)


def _images(session: Session, layout_id: int) -> list[Image]:
    """Different images of units with this layout, no more than the search looks at.

    A single image whose checksum does not hold would hide it. So images that a unit surely accepted are taken; only
    where these are fewer than two, all others too.
    """
    row = layouts.layout(session, layout_id)
    proven = _different(layouts.proven_of(session, row))
    chosen = proven if len(proven) > 1 else _different(layouts.images_of(session, row))
    return [images.load(session, one) for one in chosen[:MAX_IMAGES]]


def _different(rows: Sequence[Stock | Revision]) -> list[Stock | Revision]:
    """One row for each digest."""
    return list({row.sha256: row for row in reversed(rows)}.values())[::-1]


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
    page = CandidatesPage(_name(row), row.id, len(known), len(found) - len(rows), rows)
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
        return definition, _in_words(float(chance))
    except (ValueError, KeyError) as error:
        raise BadInput("This address names no candidate; search again.") from error


def _in_words(chance: float) -> str:
    if not 0 <= chance <= 1:
        return "not known"
    return "less than one in a billion" if chance < 1e-9 else f"one in {1 / chance:,.0f}"


def _candidate(text: str, known: list[Image]) -> CandidateRow:
    one, chance = _definition(text)
    held = sum(evaluate(image, one).state == "holds" for image in known)
    return CandidateRow(
        algorithm=one.algorithm,
        ranges=", ".join(f"0x{start:X}-0x{end - 1:X}" for start, end in one.ranges),
        stored_at=f"0x{one.stored_at:X}",
        byte_order=one.byte_order,
        chance=chance,
        held=f"{held} of {counted(len(known), 'image')}",
        name=one.name,
    )
