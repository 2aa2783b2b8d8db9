"""Lists with personal data as files, for managers: people, API tokens, customers."""

from fastapi import APIRouter
from fastapi.responses import Response

from app.pages.lists.out import Ending, list_file
from app.record import api_tokens, customers, people
from app.record.car_state import vehicle_label
from app.web.signed_in import Manager
from app.web.transaction import Read

router = APIRouter()


@router.get("/people.{ending}")
def person_list(ending: Ending, session: Read, _person: Manager) -> Response:
    """Who may sign in, in which role."""
    header = ("id", "name", "role", "active", "has_password", "locked_until", "added_at")
    rows = (
        (row.id, row.name, row.role, row.active, row.password_hash is not None, row.locked_until, row.made_at)
        for row in people.everyone(session)
    )
    return list_file(ending, "people", header, rows)


@router.get("/people/tokens.{ending}")
def token_list(ending: Ending, session: Read, _person: Manager) -> Response:
    """API tokens, revoked ones too; the tokens themselves are kept nowhere."""
    names = people.names(session)
    header = ("id", "label", "speaks_for", "made_at", "revoked_at")
    rows = (
        (row.id, row.label, names.get(row.person_id), row.made_at, row.revoked_at)
        for row in api_tokens.everyones(session)
    )
    return list_file(ending, "api-tokens", header, rows)


@router.get("/customers.{ending}")
def customer_list(ending: Ending, session: Read, _person: Manager, q: str = "") -> Response:
    """All customers that the query finds, with their cars."""
    header = ("id", "name", "contact", "cars", "on_record_since", "erased_at")
    rows = (
        (
            row.id,
            customers.shown_name(row),
            row.contact,
            ", ".join(vehicle_label(car) for car in cars),
            row.made_at,
            row.erased_at,
        )
        for row, cars in customers.everyone(session, q)
    )
    return list_file(ending, "customers", header, rows)
