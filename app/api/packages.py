"""Release packages as JSON: issue, read, download, and what came back."""

from typing import Annotated

from fastapi import APIRouter, Form, Request, status
from fastapi.responses import Response
from pydantic import BaseModel
from sqlalchemy.orm import Session

from app.actions.issue_release_package import issue_release_package
from app.actions.take_returned_files import Named, Returned, take_returned_files
from app.api.model import ApiIn, ApiOut, Time
from app.readers.coding import read_coding
from app.readers.fault_list import read_fault_list
from app.readers.image_writer import WriteFormat
from app.record import content, packages, revisions
from app.record.flash_log import NewFlash
from app.record.tables import ReleasePackage
from app.web.download import attachment
from app.web.image_upload import ImageUpload, read_image_upload
from app.web.now import Now
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, Uploads, read_upload

router = APIRouter(tags=["release packages"])


class PackageIn(ApiIn):
    """`format`: bin, hex or srec. `coding_snapshot_id`: the coding to be written back; needed for a car that loses
    its coding when flashed."""

    format: WriteFormat
    coding_snapshot_id: int | None = None
    note: str = ""


class ReturnOut(ApiOut):
    id: int
    flash_id: int
    read_back_id: int | None
    coding_write_back_id: int | None
    fault_scan_id: int | None
    attachment_ids: list[int]
    sentence: str
    at: Time


class PackageOut(ApiOut):
    id: int
    revision_id: int
    format: str
    file_name: str
    sha256: str
    image_sha256: str
    coding_snapshot_id: int | None
    note: str
    issued_at: Time
    returns: list[ReturnOut]


class ReturnUpload(BaseModel):
    """`outcome` and the fields after it tell of the write; leave them out to add to the one on record."""

    outcome: str = ""
    flashed_at: Time | None = None
    supply_before_v: float | None = None
    supply_lowest_v: float | None = None
    note: str = ""
    read_back: Upload = None
    coding: Upload = None
    faults: str = ""
    logs: Uploads = []


def _out(session: Session, package: ReleasePackage) -> PackageOut:
    return PackageOut(
        id=package.id,
        revision_id=package.revision_id,
        format=package.format,
        file_name=package.file_name,
        sha256=package.sha256,
        image_sha256=revisions.revision(session, package.revision_id).sha256 or "",
        coding_snapshot_id=package.coding_snapshot_id,
        note=package.note,
        issued_at=package.at,
        returns=[ReturnOut.model_validate(one) for one in packages.returns(session, package.id)],
    )


@router.post("/revisions/{revision_id:int}/packages", status_code=status.HTTP_201_CREATED)
def issue(revision_id: int, body: PackageIn, session: Write, person: Tuner, now: Now) -> PackageOut:
    """Hand out a released revision; 409 when it is not released, has no image, or a block checksum does not hold."""
    package = issue_release_package(session, person=person, at=now, revision_id=revision_id, **body.model_dump())
    return _out(session, package)


@router.get("/release-packages/{package_id:int}")
def show(package_id: int, session: Read, _person: Viewer) -> PackageOut:
    """What was handed out, and what came back, newest first."""
    return _out(session, packages.package(session, package_id))


@router.get("/release-packages/{package_id:int}/file", response_class=Response)
def download(package_id: int, session: Read, _person: Tuner) -> Response:
    """The archive, byte for byte as it was handed out."""
    package = packages.package(session, package_id)
    return attachment(content.fetch(session, package.sha256), package.file_name, "application/zip")


@router.post(
    "/release-packages/{package_id:int}/returns",
    status_code=status.HTTP_201_CREATED,
    max_body_size=2 * UPLOAD_LIMIT,
)
def take(
    request: Request,
    package_id: int,
    form: Annotated[ReturnUpload, Form(media_type="multipart/form-data")],
    session: Write,
    person: Tuner,
    now: Now,
) -> ReturnOut:
    """Take the customer's files: the read-back is compared with the image, the coding with the snapshot."""
    image = _image(request, package_id, form)
    returned = _returned(session, package_id, form, image)
    row = take_returned_files(session, person=person, at=now, package_id=package_id, returned=returned)
    return ReturnOut.model_validate(row)


def _image(request: Request, package_id: int, form: ReturnUpload) -> ImageUpload | None:
    if form.read_back is None:
        return None
    return read_image_upload(
        request, form.read_back, lambda reads: packages.control_unit(reads, package_id), field="read_back"
    )


def _returned(session: Session, package_id: int, form: ReturnUpload, image: ImageUpload | None) -> Returned:
    coding = None if form.coding is None else Named(*read_upload(form.coding, field="coding"))
    flash = NewFlash(
        revision_id=packages.package(session, package_id).revision_id,
        outcome=form.outcome,
        supply_before_v=form.supply_before_v,
        supply_lowest_v=form.supply_lowest_v,
        note=form.note,
        flashed_at=form.flashed_at,
    )
    return Returned(
        flash=flash if form.outcome else None,
        read_back=None if image is None else (image.read, Named(image.data, image.label)),
        coding=None if coding is None else (read_coding(coding.data), coding),
        faults=(read_fault_list(form.faults), form.faults) if form.faults.strip() else None,
        logs=tuple(Named(*read_upload(one, field="logs")) for one in form.logs),
    )
