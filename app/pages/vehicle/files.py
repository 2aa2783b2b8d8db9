"""Files of a car: the signed authorisation, photos, sheets. Kept, shown, taken back."""

from typing import Annotated, Literal
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.attach_file import KINDS, attach_file
from app.actions.restore_attachment import restore_attachment
from app.actions.withdraw_attachment import withdraw_attachment
from app.errors import AppError, BadInput, NotFound
from app.pages.intake_view import IntakeTyped, intake_page
from app.pages.restore.views import Refused, case_page
from app.pages.vehicle.views import FilesTyped, vehicle_page
from app.readers.picture import picture_of
from app.record import content, vehicles
from app.record.tables import Person
from app.web.download import attachment, picture
from app.web.form import FormModel, OncePerForm, read_choice, see_other, text_of
from app.web.now import Now
from app.web.page import render, view_of, writing_as
from app.web.signed_in import FrontDesk, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Uploads, read_upload

router = APIRouter()


class FilesForm(FormModel):
    """`back`: the intake page, for a file that was dropped there; `restore_id`: the checklist, likewise."""

    file: Uploads = Field(default_factory=list)
    kind: str = ""
    note: str = ""
    back: Literal["", "intake"] = ""
    restore_id: str = ""


class WithdrawForm(FormModel):
    reason: str = ""


@router.post("/vehicles/{vehicle_id:int}/files", max_body_size=UPLOAD_LIMIT)
def attach(
    request: Request,
    vehicle_id: int,
    form: Annotated[FilesForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    known: list[int] = []
    try:
        if not form.file:
            raise BadInput("Choose a file.", field="file")
        if form.kind not in KINDS:
            raise BadInput("Say what the file is: a photo does not count as an authorisation.", field="kind")
        uploads = [read_upload(one, field="file") for one in form.file]
        with session.begin_nested():
            for data, label in uploads:
                row, was_known = attach_file(
                    session,
                    person=person,
                    at=now,
                    vehicle_id=vehicle_id,
                    uploaded=data,
                    file_name=label,
                    kind=form.kind,
                    note=form.note,
                )
                known += [row.id] if was_known else []
    except AppError as error:
        if form.restore_id.isdecimal():
            return _refused_at_restore(request, session, person, int(form.restore_id[:9]), error, form)
        if form.back == "intake":
            return _refused_at_intake(request, session, vehicle_id, person, error)
        errors = {error.field or "file": error.sentence}
        typed = FilesTyped(form.kind, form.note, errors=errors, sentence=error.sentence)
        return _refused(request, session, vehicle_id, person, typed, error.status)
    if form.back == "intake":
        return see_other(request, session, f"/vehicles/{vehicle_id}/intake#authorisation", once)
    if form.restore_id:
        case = read_choice(form.restore_id, field="restore_id", sentence="There is no such restore.")
        return see_other(request, session, f"/restores/{case}#photos", once)
    query = f"?{urlencode({'recognised': known}, doseq=True)}" if known else ""
    return see_other(request, session, f"/vehicles/{vehicle_id}{query}#files", once)


def _refused(
    request: Request, session: Session, vehicle_id: int, person: Person, typed: FilesTyped, status: int
) -> HTMLResponse:
    """The car's page, with what was typed and why it was not taken."""
    with writing_as(view_of(request, session, person)):
        car = vehicle_page(session, vehicle_id, person, files_typed=typed)
    return render(request, "vehicles/page.html", car, session=session, person=person, title=car.label, status=status)


def _refused_at_intake(
    request: Request, session: Session, vehicle_id: int, person: Person, error: AppError
) -> HTMLResponse:
    page = intake_page(session, vehicle_id, person, IntakeTyped(files_refused=error.sentence))
    return render(
        request, "intake/page.html", page, session=session, person=person, title="Intake", status=error.status
    )


def _refused_at_restore(
    request: Request, session: Session, person: Person, restore_id: int, error: AppError, form: FilesForm
) -> HTMLResponse:
    """The checklist from which the file was sent, with why it was not taken."""
    with writing_as(view_of(request, session, person)):
        page = case_page(session, restore_id, person, Refused("photos", error, text_of(form)))
    title = f"Restore, {page.vehicle}"
    return render(request, "restore/case.html", page, session=session, person=person, title=title, status=error.status)


@router.get("/attachments/{attachment_id:int}")
def download(attachment_id: int, session: Read, _person: Viewer) -> Response:
    row = vehicles.attachment(session, attachment_id)
    return attachment(content.fetch(session, row.sha256), row.file_name)


@router.get("/attachments/{attachment_id:int}/picture")
def show_picture(attachment_id: int, session: Read, _person: Viewer) -> Response:
    """The file as a picture, when its bytes are one now: what the row says is not enough to show it."""
    row = vehicles.attachment(session, attachment_id)
    data = content.fetch(session, row.sha256)
    found = picture_of(data)
    if found is None:
        raise NotFound("This file is no picture that can be shown; download it instead.")
    return picture(data, found.media_type)


@router.post("/attachments/{attachment_id:int}/withdraw")
def withdraw(
    request: Request,
    attachment_id: int,
    form: Annotated[WithdrawForm, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    vehicle_id = vehicles.attachment(session, attachment_id).vehicle_id
    try:
        with session.begin_nested():
            withdraw_attachment(session, person=person, at=now, attachment_id=attachment_id, reason=form.reason)
    except AppError as error:
        errors = {f"withdraw-{attachment_id}": error.sentence} if error.field else {}
        typed = FilesTyped(reason=form.reason, withdrawing=True, errors=errors, sentence=error.sentence)
        return _refused(request, session, vehicle_id, person, typed, error.status)
    return see_other(request, session, f"/vehicles/{vehicle_id}?done=file-{attachment_id}#files", once)


@router.post("/attachments/{attachment_id:int}/restore")
def restore(
    request: Request,
    attachment_id: int,
    _form: Annotated[FormModel, Form()],
    once: OncePerForm,
    session: Write,
    person: FrontDesk,
    now: Now,
) -> Response:
    """Attaches the file again that was taken back by mistake."""
    row = restore_attachment(session, person=person, at=now, attachment_id=attachment_id)
    return see_other(request, session, f"/vehicles/{row.vehicle_id}#files", once)
