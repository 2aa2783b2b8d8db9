"""Fault scans between the record and the calculation."""

import datetime as dt
from collections.abc import Sequence
from typing import Any

from sqlalchemy.orm import Session

from app.calc.vehicle.dtc import Dtc, Fault
from app.errors import NotFound
from app.record.tables import FaultScan, Person


def scan(session: Session, scan_id: int) -> FaultScan:
    found = session.get(FaultScan, scan_id)
    if found is None:
        raise NotFound(f"There is no fault scan {scan_id}.")
    return found


def faults_of(rows: Sequence[Any]) -> tuple[Fault, ...]:
    """Stored fault rows as values."""
    return tuple(
        Fault(Dtc(row["code"], row["failure_type"]), tuple(row["flags"]), row["text"], row["module"]) for row in rows
    )


def keep(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    faults: Sequence[Fault],
    text: str,
    occasion: str,
    readiness: dict[str, Any] | None = None,
) -> FaultScan:
    """The row of a scan: the decoded list and the text it came from."""
    row = FaultScan(
        vehicle_id=vehicle_id,
        occasion=occasion.strip() or "as found",
        faults=[_stored(fault) for fault in faults],
        text=text,
        readiness=readiness,
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    return row


def _stored(fault: Fault) -> dict[str, Any]:
    return {
        "code": fault.dtc.code,
        "failure_type": fault.dtc.failure_type,
        "flags": list(fault.flags),
        "text": fault.text,
        "module": fault.module,
    }
