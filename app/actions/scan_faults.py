"""Keep the fault codes found on a car at one moment."""

import datetime as dt
from collections.abc import Sequence
from typing import Any

from sqlalchemy.orm import Session

from app.calc.vehicle.dtc import Fault
from app.record import faults as faults_on_record
from app.record import journal, vehicles
from app.record.tables import FaultScan, Person


def scan_faults(
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
    """Store the decoded list and the text it came from."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    scan = faults_on_record.keep(
        session,
        person=person,
        at=at,
        vehicle_id=vehicle.id,
        faults=faults,
        text=text,
        occasion=occasion,
        readiness=readiness,
    )
    codes = ", ".join(dict.fromkeys(fault.dtc.display for fault in faults)) or "none"
    journal.append(
        session,
        at=at,
        person=person,
        action="scan faults",
        sentence=f"Fault codes scanned ({scan.occasion}): {codes}.",
        vehicle_id=vehicle.id,
        subject=("fault_scan", scan.id),
    )
    return scan
