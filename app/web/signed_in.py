"""Who is asking, and whether the person's role allows it. The same for pages (cookie) and the API (bearer token)."""

import contextlib
from collections.abc import Awaitable, Callable
from datetime import datetime, timedelta
from typing import Annotated

from fastapi import Depends, Request
from sqlalchemy.orm import Session

from app.errors import Forbidden, NotSignedIn, StorageFailed
from app.record import api_tokens, sign_ins
from app.record.engine import reading, transaction
from app.record.tables import Person
from app.settings import Settings
from app.web.cookie import token_of
from app.web.guard import SAFE_METHODS, same_origin
from app.web.now import Now

ROLE_NAMES = {"tuner": "Tuner", "front_desk": "Front desk", "manager": "Manager"}
_SEEN_EVERY = timedelta(minutes=1)


def _anyone(request: Request, now: Now) -> Person | None:
    """The person of this request, or None.

    Asked in a session of its own that ends here: a request that kept its connection and then asked for a second one
    to write with would, with enough others like it, leave none for anybody.
    """
    with reading(request.app.state.engine) as session:
        person, seen_at = find_person(request, session, now)
    if seen_at is not None and now - seen_at >= max(_SEEN_EVERY, request.app.state.settings.idle / 60):
        _see(request, now)
    request.state.person = person
    return person


def find_person(request: Request, session: Session, now: datetime) -> tuple[Person | None, datetime | None]:
    """The person whose token the request carries, and when their browser was last seen."""
    person = _by_bearer(request, session) if _is_api(request) else None
    if person is None and "authorization" not in request.headers:
        return _by_cookie(request, session, now)
    return person, None


def _is_api(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def _by_bearer(request: Request, session: Session) -> Person | None:
    scheme, _, token = request.headers.get("authorization", "").partition(" ")
    if scheme.lower() != "bearer" or not token or len(token) > 128:
        return None
    return api_tokens.find(session, token.strip())


def _by_cookie(request: Request, session: Session, now: datetime) -> tuple[Person | None, datetime | None]:
    """The person and when the browser was last seen."""
    if _is_api(request) and not (request.method in SAFE_METHODS and same_origin(request.scope)):
        return None, None
    token = token_of(request)
    if token is None:
        return None, None
    settings: Settings = request.app.state.settings
    found = sign_ins.find(session, token, now, idle=settings.idle, absolute=settings.absolute)
    return (None, None) if found is None else (found.person, found.seen_at)


def _see(request: Request, now: datetime) -> None:
    """Note that the browser is still in use: seldom, and in a transaction of its own."""
    with contextlib.suppress(StorageFailed), transaction(request.app.state.engine) as session:
        sign_ins.see(session, token_of(request) or "", now)


Anyone = Annotated[Person | None, Depends(_anyone)]


def _needs(roles: frozenset[str], refusal: str) -> Callable[[Person | None], Awaitable[Person]]:
    async def check(person: Anyone) -> Person:
        if person is None:
            raise NotSignedIn("Sign in to go on.")
        if person.role not in roles:
            raise Forbidden(refusal)
        return person

    return check


_ALL = frozenset({"tuner", "front_desk", "manager"})
Viewer = Annotated[Person, Depends(_needs(_ALL, "Ask a manager for a role in this workshop."))]
# Intake is done by everyone who meets the car; the name says which acts these are.
FrontDesk = Annotated[Person, Depends(_needs(_ALL, "Ask a manager for a role in this workshop."))]
Tuner = Annotated[
    Person, Depends(_needs(frozenset({"tuner", "manager"}), "Only a tuner or a manager may do this; ask one of them."))
]
Manager = Annotated[Person, Depends(_needs(frozenset({"manager"}), "Only a manager may do this; ask one of them."))]
