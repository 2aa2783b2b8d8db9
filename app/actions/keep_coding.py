"""Keep the option coding of every module at one moment."""

import datetime as dt
import json

from sqlalchemy.orm import Session

from app.calc.vehicle.coding import CodingSnapshot as Coding
from app.record import content, journal, vehicles
from app.record.tables import CodingSnapshot, Person


def keep_coding(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    coding: Coding,
    occasion: str,
    uploaded: bytes | None = None,
    file_name: str | None = None,
) -> CodingSnapshot:
    """Store the snapshot and, where it came from a file, that file itself."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    stored = json.dumps(coding.as_dict(), sort_keys=True, ensure_ascii=False).encode()
    snapshot = CodingSnapshot(
        vehicle_id=vehicle.id,
        occasion=occasion.strip() or "as found",
        digest=coding.digest,
        sha256=content.put(session, stored, at=at),
        original_sha256=None if uploaded is None else content.put(session, uploaded, at=at),
        file_name=file_name,
        modules=len(coding.modules),
        keys=coding.value_count,
        at=at,
        by_id=person.id,
    )
    session.add(snapshot)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="keep coding",
        sentence=(
            f"Option coding kept ({snapshot.occasion}): {snapshot.keys} values of {snapshot.modules} modules, "
            f"digest {snapshot.digest[:16]}…."
        ),
        vehicle_id=vehicle.id,
        subject=("coding_snapshot", snapshot.id),
    )
    return snapshot
