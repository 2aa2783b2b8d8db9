"""The check of the whole record: begun by a person, done in the background, its result on a page of its own."""

import secrets
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.errors import AppError, NotFound
from app.record.engine import reading
from app.record.tables import Person
from app.record.verify import Verification, verify
from app.web import work
from app.web.anchor import read_anchor
from app.web.form import OncePerForm, see_other
from app.web.page import render
from app.web.signed_in import Manager
from app.web.transaction import Read, Write

router = APIRouter(prefix="/journal/verify")

_RESULTS_KEPT = 20


@dataclass(frozen=True, slots=True)
class CheckPage:
    """Before a check `found` is None; `anchor` is the printed head that was compared, or that was refused."""

    found: Verification | None
    anchor: str
    sentence: str = ""


# Results of this process, newest last: a check says how the record was at that moment, so none is recorded.
_results: dict[str, CheckPage] = {}


@router.get("")
def show(request: Request, session: Read, person: Manager) -> HTMLResponse:
    return _page(request, session, person, CheckPage(None, ""))


@router.post("")
def begin(
    request: Request, once: OncePerForm, session: Write, person: Manager, anchor: Annotated[str, Form()] = ""
) -> Response:
    """Check in a thread, with a connection of its own that sees one state of the record throughout."""
    try:
        anchors = [read_anchor(anchor)] if anchor.strip() else []
    except AppError as error:
        return _page(request, session, person, CheckPage(None, anchor, error.sentence), error.status)
    engine, token = request.app.state.engine, secrets.token_urlsafe(12)

    def act(report: work.Report) -> str:
        def tell(what: str, done: int, total: int) -> None:
            report(done, total, f"Reading {what}")

        with reading(engine) as own:
            found = verify(own, anchors=anchors, progress=tell)
        while len(_results) >= _RESULTS_KEPT:
            del _results[next(iter(_results))]
        _results[token] = CheckPage(found, anchor)
        return f"/journal/verify/{token}"

    key = work.begin(person.id, "Checking the whole record", act)
    return see_other(request, session, f"/work/{key}", once)


@router.get("/{token}")
def show_result(request: Request, token: str, session: Read, person: Manager) -> HTMLResponse:
    page = _results.get(token)
    if page is None:
        raise NotFound("The result of this check is not kept any more; check again.")
    return _page(request, session, person, page)


def _page(request: Request, session: Session, person: Person, page: CheckPage, status: int = 200) -> HTMLResponse:
    return render(
        request,
        "journal/verification.html",
        page,
        session=session,
        person=person,
        title="Journal check",
        status=status,
    )
