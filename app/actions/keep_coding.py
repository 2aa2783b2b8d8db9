"""Keep the option coding of every module at one moment."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.calc.vehicle.coding import CodingSnapshot as Coding
from app.record import codings, journal, vehicles
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
    snapshot = codings.keep(
        session,
        person=person,
        at=at,
        vehicle_id=vehicle.id,
        coding=coding,
        occasion=occasion,
        uploaded=uploaded,
        file_name=file_name,
    )
    journal.append(
        session,
        at=at,
        person=person,
        action="keep coding",
        sentence=f"Option coding kept ({snapshot.occasion}): {counted(snapshot.keys, 'value')} of "
        f"{counted(snapshot.modules, 'module')}.",
        vehicle_id=vehicle.id,
        subject=("coding_snapshot", snapshot.id),
        facts={"digest": snapshot.digest},
    )
    return snapshot
