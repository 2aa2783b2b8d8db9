"""Keep, release, withdraw; compare again under another layout; the image as a file."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.decide_revision import decide_revision
from app.actions.recompute_analysis import recompute_analysis
from app.errors import AppError
from app.pages.revisions.page_view import revision_page
from app.readers.image_writer import WriteFormat, write_image
from app.record import images, revisions
from app.record.tables import Person
from app.web.download import attachment
from app.web.form import FormModel, OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write

router = APIRouter(prefix="/revisions/{revision_id:int}")


class DecisionForm(FormModel):
    decision: str = ""
    reason: str = ""
    legal_basis: str = ""
    limits_reason: str = ""
    confirmed: str = ""


class RecomputeForm(FormModel):
    layout_id: int


@router.get("")
def show(request: Request, revision_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = revision_page(session, revision_id, person)
    return render(request, "revisions/page.html", page, session=session, person=person, title=page.head.title)


def _refused(
    request: Request, session: Session, person: Person, revision_id: int, error: AppError, values: dict[str, str]
) -> HTMLResponse:
    page = revision_page(session, revision_id, person, error=error, values=values)
    return render(
        request,
        "revisions/page.html",
        page,
        session=session,
        person=person,
        title=page.head.title,
        status=error.status,
    )


@router.post("/decision")
def decide(
    request: Request,
    revision_id: int,
    form: Annotated[DecisionForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            decide_revision(
                session,
                person=person,
                at=now,
                revision_id=revision_id,
                decision=form.decision,
                reason=form.reason,
                legal_basis=form.legal_basis,
                limits_reason=form.limits_reason,
            )
    except AppError as error:
        return _refused(request, session, person, revision_id, error, text_of(form))
    return see_other(request, session, f"/revisions/{revision_id}#decision", once)


@router.post("/recompute")
def compare_again(
    request: Request,
    revision_id: int,
    form: Annotated[RecomputeForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            recompute_analysis(session, person=person, at=now, revision_id=revision_id, layout_id=form.layout_id)
    except AppError as error:
        return _refused(request, session, person, revision_id, error, {})
    return see_other(request, session, f"/revisions/{revision_id}#maps", once)


@router.get("/image")
def download(revision_id: int, session: Read, _person: Tuner, format: WriteFormat = "bin") -> Response:
    row = revisions.revision(session, revision_id)
    data = write_image(images.load(session, row), format)
    return attachment(data, f"revision-{row.number}-{(row.sha256 or '')[:12]}.{format}")
