"""Log one write to a control unit."""

import datetime as dt

from sqlalchemy.orm import Session

from app.record import flash_log, journal, revisions, vehicles
from app.record.flash_log import NewFlash
from app.record.tables import Flash, Person

__all__ = ["NewFlash", "log_flash"]


def log_flash(session: Session, *, person: Person, at: dt.datetime, control_unit_id: int, flash: NewFlash) -> Flash:
    """Record the write; raises what `flash_log.add` raises."""
    row = flash_log.add(session, person=person, at=at, control_unit_id=control_unit_id, flash=flash)
    unit = vehicles.control_unit(session, row.control_unit_id)
    what = "stock"
    if row.revision_id is not None:
        revision = revisions.revision(session, row.revision_id)
        what = f"revision {revision.number} “{revision.title}”"
    broken = flash_log.broken_checksums(row)
    facts: dict[str, object] = {"outcome": row.outcome, "sha256": row.sha256, "supply_before_v": row.supply_before_v}
    if flash.happened_anyway:
        facts |= {"happened_anyway": flash.happened_reason.strip(), "broken_checksums": broken}
    danger = f" Block checksum not holding: {', '.join(broken)}." if broken else ""
    journal.append(
        session,
        at=at,
        person=person,
        action="log flash",
        sentence=f"Flash of {unit.role} with {what}: {row.outcome}, {flash_log.supply_words(row)}.{danger}",
        vehicle_id=unit.vehicle_id,
        subject=("flash", row.id),
        facts=facts,
    )
    return row
