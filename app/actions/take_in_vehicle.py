"""Take in a vehicle's whole record from another workshop's bag."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.errors import Conflict
from app.record import journal, vehicles
from app.record.bag.check import check
from app.record.bag.document import VehicleRecord
from app.record.bag.insert import Taking
from app.record.tables import Person, Vehicle


@dataclass(frozen=True, slots=True)
class TakenIn:
    """The vehicle here, and how much came with it."""

    vehicle: Vehicle
    entries: int
    rows: int
    files: int


def take_in_vehicle(
    session: Session,
    *,
    person: Person | None,
    at: dt.datetime,
    record: VehicleRecord,
    fetch: Callable[[str], bytes],
    manifest_digest: str,
) -> TakenIn:
    """Write the record with ids of this database.

    The entries of the source come first, one by one, each with its number, moment and hash there, so that the history
    keeps its order; the last entry says that the record was taken in, from where and with which digests. `fetch`
    gives the bytes of a stored file by its digest.
    Raises Conflict when the VIN is on record, Damaged when a row is not as the source's journal recorded it.
    """
    check(record)
    vin = str(record.rows("vehicle")[0]["vin"])
    known = vehicles.by_vin(session, vin)
    if known is not None:
        raise Conflict(
            f"The VIN {vin} is on record already (vehicle {known.id}): a record is taken in once, whole, and never "
            "mixed with another.",
            details=(f"/vehicles/{known.id}",),
        )
    taking = Taking(session, record, person, at)
    vehicle = taking.begin(fetch)
    rows = sum(len(listed) for listed in record.tables.values())
    entries = sum(taking.replay(entry) for entry in record.journal)
    journal.append(
        session,
        at=at,
        person=person,
        action="take in vehicle",
        sentence=f"{vehicle.make} {vehicle.model}, VIN {vin}, taken in from {record.workshop} with its whole record: "
        f"{counted(rows, 'row')}, {counted(len(record.content), 'file')}. Journal head there {record.journal_head}.",
        vehicle_id=vehicle.id,
        subject=("vehicle", vehicle.id),
        facts={
            "manifest_sha256": manifest_digest,
            "exported_at": record.exported_at,
            "journal_head": record.journal_head,
            "left_out": list(record.left_out),
        },
    )
    return TakenIn(vehicle, entries, rows, len(record.content))
