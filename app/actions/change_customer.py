"""Put down whose car it is: correct the customer on record, or name another one from now on."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import BadInput, Conflict
from app.record import customers, journal, vehicles
from app.record.tables import Customer, Person, Vehicle

LONGEST = 200


def change_customer(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    name: str,
    contact: str,
    another: bool = False,
) -> Customer:
    """The customer of the car from now on.

    `another` says that the car has changed hands: the customer before stays on record, apart from this car. The
    journal tells that it happened and never a name or contact, so that personal data can still be erased.
    """
    vehicle = vehicles.vehicle(session, vehicle_id)
    name, contact = name.strip(), contact.strip()
    if not name:
        raise BadInput("Type the customer's name; erasing a name is an act of its own.", field="customer_name")
    for field, text in (("customer_name", name), ("customer_contact", contact)):
        if len(text) > LONGEST or "\x00" in text:
            raise BadInput(f"At most {LONGEST} characters of plain text; shorten it.", field=field)
    owner = vehicles.customer(session, vehicle.customer_id)
    if owner is None or owner.erased_at is not None or another:
        owner, what = _another(session, vehicle, name, contact, at), "recorded"
    elif (owner.name, owner.contact) == (name, contact):
        raise Conflict("Nothing would change: name and contact are as they are on record.")
    else:
        owner.name, owner.contact, what = name, contact, "corrected"
    customers.renew_search(session, owner)
    journal.append(
        session,
        at=at,
        person=person,
        action="change customer",
        sentence=f"Customer {owner.id} {what} for this car.",
        vehicle_id=vehicle.id,
        subject=("customer", owner.id),
    )
    return owner


def _another(session: Session, vehicle: Vehicle, name: str, contact: str, at: dt.datetime) -> Customer:
    owner = Customer(name=name, contact=contact, made_at=at)
    session.add(owner)
    session.flush()
    vehicle.customer_id = owner.id
    return owner
