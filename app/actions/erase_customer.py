"""Erase a customer's personal data on request."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict, Forbidden
from app.record import customers, journal
from app.record.tables import Customer, Person


def erase_customer(session: Session, *, person: Person, at: dt.datetime, customer_id: int) -> Customer:
    """Empty name and contact; cars, their history and the journal stay whole.

    What is erased stands nowhere else in the record: the journal names no customer, and the text that the search
    looks in is written anew. Backups made before still hold it.
    """
    if person.role != "manager":
        raise Forbidden("Only a manager may erase a customer's data; ask one of them.")
    owner = customers.customer(session, customer_id)
    if owner.erased_at is not None:
        raise Conflict("This customer's data was erased already.")
    owner.name, owner.contact, owner.erased_at = "", "", at
    cars = customers.renew_search(session, owner)
    journal.append(
        session,
        at=at,
        person=person,
        action="erase customer",
        sentence=f"Personal data of customer {owner.id} erased on request.",
        vehicle_id=cars[0].id if len(cars) == 1 else None,
        subject=("customer", owner.id),
        facts={"vehicles": [car.id for car in cars]},
    )
    return owner
