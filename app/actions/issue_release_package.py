"""Hand out a released revision to a remote customer."""

import datetime as dt
import hashlib

from sqlalchemy.orm import Session

from app.calc.release_package.archive import archive, sha256_sums
from app.calc.release_package.manifest import (
    CODING_NAME,
    FORM_NAME,
    MANIFEST_NAME,
    README_NAME,
    SUMS_NAME,
    ImageFile,
    PackageFacts,
    coding_json,
    manifest,
)
from app.calc.release_package.texts import readme, return_form
from app.errors import BadInput
from app.readers.image_writer import WriteFormat, write_image
from app.record import codings, content, images, journal, packages, revisions, vehicles
from app.record.tables import CodingSnapshot, Person, ReleasePackage, Revision

FORMATS: dict[WriteFormat, str] = {"bin": "raw binary", "hex": "Intel HEX", "srec": "S-record"}


def issue_release_package(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    revision_id: int,
    format: str,
    coding_snapshot_id: int | None,
    note: str = "",
) -> ReleasePackage:
    """Make the package and keep it as it was handed out, with the coding that is to be written back.

    Raises Conflict for a revision that is not released, has no image, or whose block checksums do not hold, and for
    a car that loses its coding and gets none; BadInput for a format that cannot carry the image.
    """
    chosen = next((one for one in FORMATS if one == format), None)
    if chosen is None:
        raise BadInput(f"Choose the customer's format: {', '.join(FORMATS)}.", field="format")
    row = revisions.revision(session, revision_id)
    release = packages.release_of(session, row)
    unit = vehicles.control_unit(session, row.control_unit_id)
    coding = packages.coding_of(session, vehicles.vehicle(session, unit.vehicle_id), coding_snapshot_id)
    facts = packages.facts(session, row, release, coding)
    image = _image(session, row, facts, chosen)
    data = archive(_files(session, facts, coding, *image))
    digest = content.put(session, data, at=at)
    package = ReleasePackage(
        revision_id=row.id,
        decision_id=release.id,
        format=chosen,
        sha256=digest,
        file_name=f"release-{facts.vin[-6:]}-r{row.number}-{(row.sha256 or '')[:8]}.zip",
        coding_snapshot_id=None if coding is None else coding.id,
        note=note.strip(),
        at=at,
        by_id=person.id,
    )
    session.add(package)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="issue release package",
        sentence=f"Release package {package.id} of revision {row.number} “{row.title}” issued as {FORMATS[chosen]}: "
        f"SHA-256 {digest[:16]}….",
        vehicle_id=unit.vehicle_id,
        subject=("release_package", package.id),
        facts={"sha256": digest, "image_sha256": row.sha256, "legal_basis": release.legal_basis},
    )
    return package


def _image(session: Session, row: Revision, facts: PackageFacts, format: WriteFormat) -> tuple[ImageFile, bytes]:
    image = images.load(session, row)
    data = write_image(image, format, header=f"{facts.vin} r{row.number}")
    described = ImageFile(
        name=f"revision-{row.number}.{format}",
        format=FORMATS[format],
        file_sha256=hashlib.sha256(data).hexdigest(),
        size_bytes=image.size,
        sha256=image.digest,
        crc32=image.crc32,
        spans=image.spans,
    )
    return described, data


def _files(
    session: Session, facts: PackageFacts, coding: CodingSnapshot | None, image: ImageFile, data: bytes
) -> dict[str, bytes]:
    files = {
        README_NAME: readme(facts, image),
        MANIFEST_NAME: manifest(facts, image),
        image.name: data,
        FORM_NAME: return_form(facts, image),
    }
    if coding is not None:
        files[CODING_NAME] = coding_json(codings.load(session, coding).as_dict())
    files[SUMS_NAME] = sha256_sums(files)
    return files
