"""Change a person's role, password, or whether the person may sign in."""

import datetime as dt

from sqlalchemy.orm import Session

from app.errors import Conflict
from app.record import journal, people, sign_ins
from app.record.passwords import hash_password, refuse_weak
from app.record.tables import Person


def change_person(
    session: Session,
    *,
    person: Person | None,
    at: dt.datetime,
    person_id: int,
    role: str | None = None,
    active: bool | None = None,
    password: str | None = None,
) -> Person:
    """Change what is given and end all of the person's sign-ins; raises `Conflict` for the last active manager."""
    hashed = None if password is None else hash_password(password)
    managers = people.active_managers(session)  # before the person: two who change each other must not wait in a ring
    changed = people.by_id_alone(session, person_id)
    if role is not None:
        people.check_role(role)
    if password is not None:
        refuse_weak(password, changed.name)
    _keep_a_manager(changed, managers, role=role, active=active)
    said: list[str] = []
    if role is not None and role != changed.role:
        said.append(f"role {changed.role.replace('_', ' ')} → {role.replace('_', ' ')}")
        changed.role = role
    if active is not None and active != changed.active:
        said.append("may sign in again" if active else "may no longer sign in")
        changed.active = active
    if hashed is not None:
        said.append("new password")
        changed.password_hash = hashed
        sign_ins.clear_failures(changed)
    if not said:
        raise Conflict(f"Nothing about {changed.name} would change.")
    sign_ins.end_all(session, changed.id)
    journal.append(
        session,
        at=at,
        person=person,
        action="change person",
        sentence=f"{changed.name}: {', '.join(said)}.",
        subject=("person", changed.id),
    )
    return changed


def _keep_a_manager(changed: Person, managers: int, *, role: str | None, active: bool | None) -> None:
    was = changed.active and changed.role == "manager"
    will_be = (changed.active if active is None else active) and (role or changed.role) == "manager"
    if was and not will_be and managers == 1:
        raise Conflict(f"{changed.name} is the only manager; make somebody else a manager first.", field="role")
