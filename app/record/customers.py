"""Customers: the only rows with personal data."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from app.errors import NotFound
from app.record.search import folded, search_text
from app.record.tables import Customer, Vehicle

ERASED = "erased on request"


def customer(session: Session, customer_id: int) -> Customer:
    found = session.get(Customer, customer_id)
    if found is None:
        raise NotFound(f"There is no customer {customer_id}.")
    return found


def by_id(session: Session) -> dict[int | None, Customer]:
    """Every customer."""
    return {row.id: row for row in session.scalars(select(Customer))}


def cars(session: Session, customer_id: int) -> Sequence[Vehicle]:
    """Cars that are this customer's now."""
    return session.scalars(select(Vehicle).where(Vehicle.customer_id == customer_id).order_by(Vehicle.id)).all()


def everyone(session: Session, query: str = "") -> list[tuple[Customer, list[Vehicle]]]:
    """Customers with their cars, newest first; those in whose name or contact every word of `query` occurs."""
    owned: dict[int | None, list[Vehicle]] = {}
    for car in session.scalars(select(Vehicle).where(Vehicle.customer_id.is_not(None)).order_by(Vehicle.id)):
        owned.setdefault(car.customer_id, []).append(car)
    words = folded(query).split()
    rows = session.scalars(select(Customer).order_by(Customer.id.desc()))
    return [(row, owned.get(row.id, [])) for row in rows if _holds(row, words)]


def _holds(row: Customer, words: list[str]) -> bool:
    text = folded(f"{row.name} {row.contact}")
    return all(word in text for word in words)


def shown_name(row: Customer | None) -> str | None:
    """The name for a page: None when no customer is on record."""
    if row is None:
        return None
    return ERASED if row.erased_at is not None else row.name


def renew_search(session: Session, row: Customer) -> Sequence[Vehicle]:
    """Write the text that the search looks in anew for every car of this customer; returns the cars."""
    session.flush()
    owned = cars(session, row.id)
    for car in owned:
        car.search_text = search_text(car, row)
    return owned
