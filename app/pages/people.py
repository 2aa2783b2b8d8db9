"""People and their API tokens, for managers."""

from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.add_person import add_person
from app.actions.change_person import change_person
from app.actions.create_token import create_token
from app.actions.revoke_token import revoke_token
from app.errors import AppError, NotFound
from app.record import api_tokens, people
from app.record.tables import Person
from app.web.form import FormModel, OncePerForm, remember, see_other, text_of
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import ROLE_NAMES, Manager
from app.web.transaction import Read, Write

router = APIRouter(prefix="/people")


@dataclass(frozen=True, slots=True)
class PersonRow:
    id: int
    name: str
    role: str
    role_name: str
    active: bool
    has_password: bool
    locked_until: datetime | None
    made_at: datetime


@dataclass(frozen=True, slots=True)
class TokenRow:
    id: int
    label: str
    person: str
    made_at: datetime
    revoked_at: datetime | None


@dataclass(frozen=True, slots=True)
class PeoplePage:
    people: tuple[PersonRow, ...]
    tokens: tuple[TokenRow, ...]
    roles: tuple[tuple[str, str], ...]
    new_token: str | None
    typed: dict[str, str]
    errors: dict[str, str]
    sentence: str


class AddForm(FormModel):
    name: str = ""
    role: str = "tuner"
    password: str = ""


class ChangeForm(FormModel):
    role: str
    active: Literal["yes", "no"]
    password: str = ""


class TokenForm(FormModel):
    person_id: int
    label: str


class EmptyForm(FormModel):
    """A form that carries nothing but its key."""


def _page(
    session: Session,
    now: datetime,
    new_token: str | None = None,
    typed: dict[str, str] | None = None,
    error: AppError | None = None,
) -> PeoplePage:
    """The page; a refused form's values come back in `typed`, but for the password."""
    everyone = people.everyone(session)
    names = {person.id: person.name for person in everyone}
    return PeoplePage(
        people=tuple(_row(person, now) for person in everyone),
        tokens=tuple(
            TokenRow(t.id, t.label, names[t.person_id], t.made_at, t.revoked_at) for t in api_tokens.everyones(session)
        ),
        roles=tuple(ROLE_NAMES.items()),
        new_token=new_token,
        typed={"name": "", "role": "tuner", "label": "", "person_id": "", **(typed or {}), "password": ""},
        errors={} if error is None or error.field is None or typed is None else {error.field: error.sentence},
        sentence="" if error is None else error.sentence,
    )


def _refused(
    request: Request, session: Session, person: Person, now: datetime, typed: dict[str, str] | None, error: AppError
) -> HTMLResponse:
    page = _page(session, now, typed=typed, error=error)
    return render(
        request, "people/page.html", page, session=session, person=person, title="People", status=error.status
    )


def _row(person: Person, now: datetime) -> PersonRow:
    locked = person.locked_until if person.locked_until is not None and person.locked_until > now else None
    return PersonRow(
        id=person.id,
        name=person.name,
        role=person.role,
        role_name=ROLE_NAMES[person.role],
        active=person.active,
        has_password=person.password_hash is not None,
        locked_until=locked,
        made_at=person.made_at,
    )


@router.get("")
def show(request: Request, session: Read, person: Manager, now: Now) -> HTMLResponse:
    return render(request, "people/page.html", _page(session, now), session=session, person=person, title="People")


@router.post("")
def add(
    request: Request, form: Annotated[AddForm, Form()], once: OncePerForm, session: Write, person: Manager, now: Now
) -> Response:
    try:
        with session.begin_nested():
            add_person(session, person=person, at=now, name=form.name, role=form.role, password=form.password)
    except AppError as error:
        return _refused(request, session, person, now, text_of(form), error)
    return see_other(request, session, "/people", once)


@router.post("/{person_id:int}")
def change(
    request: Request,
    person_id: int,
    form: Annotated[ChangeForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Manager,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            change_person(
                session,
                person=person,
                at=now,
                person_id=person_id,
                role=form.role,
                active=form.active == "yes",
                password=form.password or None,
            )
    except NotFound:
        raise
    except AppError as error:
        return _refused(request, session, person, now, None, error)
    return see_other(request, session, "/people", once)


@router.post("/tokens")
def make_token(
    request: Request,
    form: Annotated[TokenForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Manager,
    now: Now,
) -> HTMLResponse:
    """Answers with the page itself: the token is shown this once and must not stand in an address."""
    try:
        with session.begin_nested():
            token = create_token(session, person=person, at=now, person_id=form.person_id, label=form.label)
    except NotFound:
        raise
    except AppError as error:
        typed = {**text_of(form), "person_id": str(form.person_id)}
        return _refused(request, session, person, now, typed, error)
    remember(session, "/people", once)
    page = _page(session, now, new_token=token)
    return render(request, "people/page.html", page, session=session, person=person, title="People")


@router.post("/tokens/{token_id:int}/revoke")
def revoke(
    request: Request,
    token_id: int,
    _form: Annotated[EmptyForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Manager,
    now: Now,
) -> Response:
    revoke_token(session, person=person, at=now, token_id=token_id)
    return see_other(request, session, "/people", once)
