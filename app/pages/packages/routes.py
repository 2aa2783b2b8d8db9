"""Routes of release packages."""

from datetime import datetime
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.issue_release_package import issue_release_package
from app.actions.take_returned_files import Named, Returned, take_returned_files
from app.errors import AppError, BadInput, Conflict
from app.pages.packages.views import package_page, packages_page
from app.readers.coding import read_coding
from app.readers.fault_list import read_fault_list
from app.record import content, packages, revisions
from app.record.flash_log import NewFlash
from app.web.download import attachment
from app.web.form import FormModel, OncePerForm, read_choice, read_number, see_other, text_of
from app.web.image_upload import ImageUpload, read_image_upload
from app.web.now import Now
from app.web.page import render, view_of
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, Uploads, read_upload

router = APIRouter()


class IssueForm(FormModel):
    format: str = ""
    coding_snapshot_id: str = ""
    note: str = ""


class ReturnForm(FormModel):
    outcome: str = ""
    flashed_at: str = ""
    supply_before: str = ""
    supply_lowest: str = ""
    remarks: str = ""
    read_back: Upload = None
    coding: Upload = None
    faults: str = ""
    logs: Uploads = Field(default_factory=list)


@router.get("/revisions/{revision_id:int}/packages")
def show_packages(request: Request, revision_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = packages_page(session, revision_id, {}, None)
    return render(request, "packages/list.html", page, session=session, person=person, title="Release packages")


@router.post("/revisions/{revision_id:int}/packages")
def issue(
    request: Request,
    revision_id: int,
    form: Annotated[IssueForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            package = issue_release_package(
                session,
                person=person,
                at=now,
                revision_id=revision_id,
                format=form.format,
                coding_snapshot_id=_snapshot_id(form),
                note=form.note,
            )
    except AppError as error:
        page = packages_page(session, revision_id, text_of(form), error)
        return render(
            request,
            "packages/list.html",
            page,
            session=session,
            person=person,
            title="Release packages",
            status=error.status,
        )
    return see_other(request, session, f"/release-packages/{package.id}", once)


def _snapshot_id(form: IssueForm) -> int | None:
    chosen = form.coding_snapshot_id
    return read_choice(chosen, field="coding_snapshot_id") if chosen else None


@router.get("/revisions/{revision_id:int}/package")
def newest(revision_id: int, session: Read, _person: Tuner) -> Response:
    """The package that was issued last; Conflict when there is none or the revision is released no more."""
    row = revisions.revision(session, revision_id)
    packages.release_of(session, row)
    issued = packages.of_revision(session, row.id)
    if not issued:
        raise Conflict(f"No package of revision {row.number} was issued yet; issue one on its page.")
    return RedirectResponse(f"/release-packages/{issued[0].id}/file", status_code=303)


@router.get("/release-packages/{package_id:int}")
def show(request: Request, package_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = package_page(session, package_id, text_of(ReturnForm()), None)
    return render(request, "packages/page.html", page, session=session, person=person, title="Release package")


@router.get("/release-packages/{package_id:int}/file")
def download(package_id: int, session: Read, _person: Tuner) -> Response:
    package = packages.package(session, package_id)
    return attachment(content.fetch(session, package.sha256), package.file_name, "application/zip")


@router.post("/release-packages/{package_id:int}/returns", max_body_size=2 * UPLOAD_LIMIT)
def take(
    request: Request,
    package_id: int,
    form: Annotated[ReturnForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        image = _image(request, package_id, form)
        returned = _returned(session, package_id, form, image, view_of(request, session, person).zone)
        with session.begin_nested():
            take_returned_files(session, person=person, at=now, package_id=package_id, returned=returned)
    except AppError as error:
        page = package_page(session, package_id, text_of(form), error)
        return render(
            request,
            "packages/page.html",
            page,
            session=session,
            person=person,
            title="Release package",
            status=error.status,
        )
    return see_other(request, session, f"/release-packages/{package_id}#returned", once)


def _image(request: Request, package_id: int, form: ReturnForm) -> ImageUpload | None:
    if form.read_back is None or not form.read_back.filename:
        return None
    return read_image_upload(
        request, form.read_back, lambda reads: packages.control_unit(reads, package_id), field="read_back"
    )


def _returned(
    session: Session, package_id: int, form: ReturnForm, image: ImageUpload | None, zone: ZoneInfo
) -> Returned:
    revision_id = packages.package(session, package_id).revision_id
    coding = _named(form.coding, "coding")
    return Returned(
        flash=_flash(form, revision_id, zone) if form.outcome else None,
        read_back=None if image is None else (image.read, Named(image.data, image.label)),
        coding=None if coding is None else (read_coding(coding.data), coding),
        faults=(read_fault_list(form.faults), form.faults) if form.faults else None,
        logs=tuple(Named(*read_upload(one, field="logs")) for one in form.logs),
    )


def _named(upload: Upload, field: str) -> Named | None:
    return None if upload is None or not upload.filename else Named(*read_upload(upload, field=field))


def _flash(form: ReturnForm, revision_id: int, zone: ZoneInfo) -> NewFlash:
    return NewFlash(
        revision_id=revision_id,
        outcome=form.outcome,
        supply_before_v=read_number(form.supply_before, field="supply_before", label="Voltage before"),
        supply_lowest_v=read_number(form.supply_lowest, field="supply_lowest", label="Lowest voltage"),
        note=form.remarks,
        flashed_at=_moment(form.flashed_at, zone),
    )


def _moment(text: str, zone: ZoneInfo) -> datetime | None:
    """When it was written, in the workshop's time zone; None for an empty field."""
    if not text:
        return None
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise BadInput("Write date and time like 2026-11-25T14:30.", field="flashed_at") from None
    return moment.replace(tzinfo=zone) if moment.tzinfo is None else moment
