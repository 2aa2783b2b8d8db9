"""Signing again with the password, for what a person answers for by name."""

from datetime import datetime

from fastapi import Request

from app.actions.confirm_password import confirm_password
from app.errors import BadInput
from app.record.engine import transaction
from app.record.passwords import password_fits
from app.record.tables import Person


def confirmed(request: Request, person: Person, password: str, now: datetime) -> bool:
    """Whether this is the person's own password.

    Asked in a transaction of its own before the endpoint touches `Write`: hashing takes longer than the record may be
    held, and a wrong password must stay counted although the act is refused. Raises BadInput for a person who has none.
    """
    if person.password_hash is None:
        raise BadInput("You have no password yet; a manager sets one for you on the People page.", field="password")
    fits = password_fits(person.password_hash, password)
    with transaction(request.app.state.engine) as session:
        return confirm_password(session, person=person, at=now, password_fits=fits)
