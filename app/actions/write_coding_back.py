"""Record that the option coding was written back after a flash, proven by reading it again."""

import datetime as dt

from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.calc.vehicle.coding import compare
from app.errors import Conflict
from app.record import codings, flashes, journal, vehicles
from app.record.tables import CodingWriteBack, Person


def write_coding_back(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    flash_id: int,
    wanted_snapshot_id: int,
    read_snapshot_id: int,
) -> CodingWriteBack:
    """Compare the coding read after the write-back with the chosen snapshot, key by key.

    The interlock opens only when nothing differs.
    """
    flash = flashes.flash(session, flash_id)
    unit = vehicles.control_unit(session, flash.control_unit_id)
    wanted = flashes.coding_snapshot(session, wanted_snapshot_id)
    read = flashes.coding_snapshot(session, read_snapshot_id)
    if wanted.vehicle_id != unit.vehicle_id or read.vehicle_id != unit.vehicle_id:
        raise Conflict("That coding snapshot belongs to another car; choose one of this car.")
    if read.id == wanted.id or read.entry_seq < flash.entry_seq:
        raise Conflict(
            "The coding that was read back must be a new snapshot, read after this flash: read every module again.",
            field="read_snapshot_id",
        )
    comparison = compare(codings.load(session, wanted), codings.load(session, read))
    row = codings.write_back(
        session,
        person=person,
        at=at,
        flash_id=flash.id,
        wanted_id=wanted.id,
        read_id=read.id,
        comparison=comparison,
    )
    outcome = (
        "equal, coding verified"
        if row.equal
        else f"{counted(len(row.differences), 'value differs', 'values differ')}, coding still pending"
    )
    journal.append(
        session,
        at=at,
        person=person,
        action="write coding back",
        sentence=f"Coding written back after the flash of {unit.role} and read again: {outcome}.",
        vehicle_id=unit.vehicle_id,
        subject=("flash", flash.id),
        facts={"equal": row.equal},
    )
    return row
