"""Take over cars from a list that another program kept."""

import datetime as dt
from collections import Counter

from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.calc.vehicle.listed import VehicleList
from app.errors import Conflict
from app.record import journal, vehicle_details, vehicle_import
from app.record.tables import Person
from app.record.vehicle_import import Planned


def import_vehicles(
    session: Session, *, person: Person, at: dt.datetime, listed: VehicleList, digest: str
) -> tuple[Planned, ...]:
    """Register every car of the list that is new; those on record stay as they are, refused lines are left out.

    `digest` is the SHA-256 of the file, which is not kept: it holds customers' names, and those must stay erasable.
    Raises Conflict when nothing in the list is new, so that the same list twice changes nothing the second time.
    """
    planned = vehicle_import.plan(session, listed.rows)
    counts = Counter(one.outcome for one in planned)
    if not counts["new"]:
        raise Conflict(
            f"No car of this list is new: {counts['known']} on record already, {counts['refused']} refused.",
            field="file",
        )
    added = []
    for one in planned:
        if one.details is not None:
            row = vehicle_details.put_on_record(
                session, one.details, one.vin, name=one.customer_name, contact=one.customer_contact, at=at
            )
            added.append([row.id, row.vin])
    journal.append(
        session,
        at=at,
        person=person,
        action="import vehicles",
        sentence=f"{counted(counts['new'], 'car')} taken over from a list; {counts['known']} on record already, "
        f"{counted(counts['refused'], 'line')} refused.",
        facts={"sha256": digest, "vehicles": added, **{name: counts[name] for name in ("new", "known", "refused")}},
    )
    return planned
