"""Fault scans between the record and the calculation."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy.orm import Session

from app.calc.vehicle.dtc import Dtc, Fault
from app.errors import NotFound
from app.record.tables import FaultScan


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
