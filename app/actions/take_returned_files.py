"""Take what a remote customer sent back for a release package: each file is kept and judged where it belongs."""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.calc.vehicle.coding import CodingSnapshot as Coding
from app.calc.vehicle.coding import compare
from app.calc.vehicle.dtc import Fault
from app.errors import BadInput, Conflict
from app.readers.image import ReadImage
from app.record import codings, content, faults, flash_log, flashes, journal, packages, read_backs, revisions, vehicles
from app.record.flash_log import NewFlash
from app.record.tables import Attachment, CodingWriteBack, Flash, PackageReturn, Person, ReadBack, ReleasePackage


@dataclass(frozen=True, slots=True)
class Named:
    """A file as it came."""

    data: bytes
    name: str


@dataclass(frozen=True, slots=True)
class Returned:
    """What came back. `flash` tells of the write; None when it is on record from an earlier return."""

    flash: NewFlash | None = None
    read_back: tuple[ReadImage, Named] | None = None
    coding: tuple[Coding, Named] | None = None
    faults: tuple[Sequence[Fault], str] | None = None
    logs: tuple[Named, ...] = ()


@dataclass(frozen=True, slots=True)
class _Kept:
    """Ids of the rows that were made, what was found, one clause each, and whether all that was compared is equal."""

    read_back_id: int | None
    write_back_id: int | None
    scan_id: int | None
    attachment_ids: list[int]
    said: list[str]
    equal: bool


def take_returned_files(
    session: Session, *, person: Person, at: dt.datetime, package_id: int, returned: Returned
) -> PackageReturn:
    """Log the write where it is new; compare the read-back with the image and the coding with the snapshot of the
    package; keep faults and logs.

    Raises what the single acts raise: BadInput for values that cannot be, Conflict for a write that did not complete.
    """
    package = packages.package(session, package_id)
    unit = vehicles.control_unit(session, revisions.revision(session, package.revision_id).control_unit_id)
    flash = _flash(session, person, at, package, unit.id, returned)
    found = _keep(session, person, at, package, flash, unit.vehicle_id, returned)
    if not found.said and returned.flash is None:
        raise BadInput("Nothing was sent: choose at least one file.", field="read_back")
    written = [] if returned.flash is None else [f"write {flash.outcome}, {flash_log.supply_words(flash)}"]
    sentence = "; ".join([*written, *found.said]) + "."
    row = PackageReturn(
        package_id=package.id,
        flash_id=flash.id,
        read_back_id=found.read_back_id,
        coding_write_back_id=found.write_back_id,
        fault_scan_id=found.scan_id,
        attachment_ids=found.attachment_ids,
        sentence=sentence[0].upper() + sentence[1:],
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="take returned files",
        sentence=f"Returned for release package {package.id}: {sentence}",
        vehicle_id=unit.vehicle_id,
        subject=("release_package", package.id),
        facts={"flash_id": flash.id, "outcome": flash.outcome, "equal": found.equal},
    )
    return row


def _flash(
    session: Session, person: Person, at: dt.datetime, package: ReleasePackage, unit_id: int, returned: Returned
) -> Flash:
    earlier = packages.returns(session, package.id)
    if returned.flash is not None:
        return flash_log.add(session, person=person, at=at, control_unit_id=unit_id, flash=returned.flash)
    if not earlier:
        raise BadInput("Say how the write ended, as the return form tells it.", field="outcome")
    return flashes.flash(session, earlier[0].flash_id)


def _keep(
    session: Session,
    person: Person,
    at: dt.datetime,
    package: ReleasePackage,
    flash: Flash,
    vehicle_id: int,
    returned: Returned,
) -> _Kept:
    said: list[str] = []
    read_back = None if returned.read_back is None else _read_back(session, person, at, flash, returned, said)
    write_back = None
    if returned.coding is not None:
        write_back = _coding(session, person, at, package, flash, vehicle_id, returned.coding, said)
    scan_id = None
    if returned.faults is not None:
        listed, text = returned.faults
        scan = faults.keep(
            session, person=person, at=at, vehicle_id=vehicle_id, faults=listed, text=text,
            occasion=f"returned for package {package.id}",
        )  # fmt: skip
        scan_id = scan.id
        said.append(counted(len(listed), "fault code"))
    logs = [_log(session, person, at, package, vehicle_id, log) for log in returned.logs]
    if logs:
        said.append(f"{counted(len(logs), 'log')} kept")
    equal = all(row.equal for row in (read_back, write_back) if row is not None)
    return _Kept(_id(read_back), _id(write_back), scan_id, logs, said, equal)


def _id(row: ReadBack | CodingWriteBack | None) -> int | None:
    return None if row is None else row.id


def _read_back(
    session: Session, person: Person, at: dt.datetime, flash: Flash, returned: Returned, said: list[str]
) -> ReadBack:
    assert returned.read_back is not None
    read, file = returned.read_back
    verdict = read_backs.compare(session, flash, read.image)
    row = read_backs.add(
        session,
        person=person,
        at=at,
        flash=flash,
        read=read.image,
        verdict=verdict,
        uploaded=file.data,
        file_name=file.name,
        file_format=read.format,
    )
    said.append(f"read-back: {verdict.sentence.rstrip('.')}")
    return row


def _coding(
    session: Session,
    person: Person,
    at: dt.datetime,
    package: ReleasePackage,
    flash: Flash,
    vehicle_id: int,
    coding: tuple[Coding, Named],
    said: list[str],
) -> CodingWriteBack:
    if package.coding_snapshot_id is None:
        raise Conflict(
            "No coding was kept before this package was issued, so there is nothing to compare the coding with: "
            "keep it as a snapshot of the car.",
            field="coding",
        )
    read, file = coding
    wanted = flashes.coding_snapshot(session, package.coding_snapshot_id)
    snapshot = codings.keep(
        session, person=person, at=at, vehicle_id=vehicle_id, coding=read,
        occasion=f"returned for package {package.id}", uploaded=file.data, file_name=file.name,
    )  # fmt: skip
    comparison = compare(codings.load(session, wanted), read)
    row = codings.write_back(
        session, person=person, at=at, flash_id=flash.id, wanted_id=wanted.id, read_id=snapshot.id,
        comparison=comparison,
    )  # fmt: skip
    said.append(
        "coding equal, verified"
        if row.equal
        else f"coding: {counted(len(row.differences), 'value differs', 'values differ')}, still owed"
    )
    return row


def _log(
    session: Session, person: Person, at: dt.datetime, package: ReleasePackage, vehicle_id: int, file: Named
) -> int:
    row = Attachment(
        vehicle_id=vehicle_id,
        sha256=content.put(session, file.data, at=at),
        file_name=file.name,
        kind="log",
        size=len(file.data),
        picture=None,
        note=f"Returned for release package {package.id}",
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row.id
