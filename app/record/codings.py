"""Coding snapshots between the content store and the calculation."""

import datetime as dt
import json
from dataclasses import asdict

from sqlalchemy.orm import Session

from app.calc.vehicle.coding import CodingComparison
from app.calc.vehicle.coding import CodingSnapshot as Coding
from app.record import content
from app.record.tables import CodingSnapshot, CodingWriteBack, Person

AS_FOUND = "as found"


def load(session: Session, row: CodingSnapshot) -> Coding:
    """Modules, keys and values of a stored snapshot."""
    return Coding.of(json.loads(content.fetch(session, row.sha256)))


def keep(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    coding: Coding,
    occasion: str,
    uploaded: bytes | None,
    file_name: str | None,
) -> CodingSnapshot:
    """The row of a snapshot; the file it came from is stored beside it."""
    stored = json.dumps(coding.as_dict(), sort_keys=True, ensure_ascii=False).encode()
    row = CodingSnapshot(
        vehicle_id=vehicle_id,
        occasion=occasion.strip() or AS_FOUND,
        digest=coding.digest,
        sha256=content.put(session, stored, at=at),
        original_sha256=None if uploaded is None else content.put(session, uploaded, at=at),
        file_name=file_name,
        modules=len(coding.modules),
        keys=coding.value_count,
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def write_back(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    flash_id: int,
    wanted_id: int,
    read_id: int,
    comparison: CodingComparison,
) -> CodingWriteBack:
    """The row that proves a write-back: what was wanted, what was read afterwards, and how they compare."""
    row = CodingWriteBack(
        flash_id=flash_id,
        wanted_snapshot_id=wanted_id,
        read_snapshot_id=read_id,
        equal=comparison.equal,
        differences=[asdict(change) for change in comparison.changes],
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row
