"""Sign in and out, the first manager, and links that sign in once."""

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlsplit

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from app.actions.create_first_manager import create_first_manager
from app.actions.sign_in import sign_in
from app.actions.sign_in_by_link import sign_in_by_link
from app.actions.sign_out import sign_out
from app.errors import BadInput, Conflict, Forbidden
from app.record import one_time_keys, people
from app.record.passwords import password_fits
from app.record.sign_ins import start
from app.web.cookie import clear_token, set_token, token_of
from app.web.form import FormModel
from app.web.guard import can_be_overheard
from app.web.log import log
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Anyone
from app.web.transaction import Read, Write, undo

router = APIRouter()

REFUSED = "The name or the password is wrong, or there were too many tries: check both, or wait a quarter of an hour."


@dataclass(frozen=True, slots=True)
class SignInPage:
    next: str
    name: str
    error: str | None
    nobody_yet: bool
    overheard: bool


@dataclass(frozen=True, slots=True)
class LinkPage:
    action: str


@dataclass(frozen=True, slots=True)
class FirstRunPage:
    key: str
    name: str
    error: str | None
    field: str | None


class SignInForm(FormModel):
    name: str = ""
    password: str = ""
    next: str = ""


class FirstRunForm(FormModel):
    key: str = ""
    name: str = ""
    password: str = ""
    password_again: str = ""


def own_path(address: str) -> str:
    """The address when it is a path of this server, else "/": a link must not lead people to another site."""
    parts = urlsplit(address)
    safe = (
        address.startswith("/")
        and not address.startswith("//")
        and not parts.scheme
        and not parts.netloc
        and "\\" not in address
        and all(" " < c < "\x7f" for c in address)
    )
    return address if safe else "/"


@router.get("/sign-in")
def show_sign_in(request: Request, session: Read, person: Anyone, next: str = "/") -> Response:
    if person is not None:
        return RedirectResponse(own_path(next), 303)
    page = SignInPage(own_path(next), "", None, not people.anyone(session), can_be_overheard(request.scope))
    return render(request, "sign_in/page.html", page, session=session, person=None, title="Sign in")


@router.post("/sign-in")
def take_sign_in(
    request: Request, form: Annotated[SignInForm, Form()], reading: Read, session: Write, now: Now
) -> Response:
    candidate = people.by_name(reading, form.name)
    fits = password_fits(None if candidate is None else candidate.password_hash, form.password)
    token = sign_in(session, person=candidate, at=now, password_fits=fits, old_token=token_of(request))
    if token is None:
        log("sign-in refused", request, candidate_id=None if candidate is None else candidate.id)
        page = SignInPage(own_path(form.next), form.name, REFUSED, False, can_be_overheard(request.scope))
        return render(request, "sign_in/page.html", page, session=reading, person=None, title="Sign in", status=401)
    log("signed in", request, candidate_id=None if candidate is None else candidate.id)
    response = RedirectResponse(own_path(form.next), 303)
    set_token(request, response, token)
    return response


@router.post("/sign-out")
def take_sign_out(request: Request, session: Write, person: Anyone, now: Now) -> Response:
    token = token_of(request)
    if person is not None and token is not None:
        sign_out(session, person=person, at=now, token=token)
    response = RedirectResponse("/sign-in", 303)
    clear_token(request, response)
    return response


@router.get("/sign-in/link/{key}")
def show_link(request: Request, key: str, session: Read, now: Now) -> HTMLResponse:
    """Opening the link changes nothing, so that a program which looks ahead does not spend it."""
    if not one_time_keys.is_valid(session, key, "sign_in", now):
        raise Forbidden("This link was used already or has expired; ask for a new one.")
    page = LinkPage(request.url.path)
    return render(request, "sign_in/link.html", page, session=session, person=None, title="Sign in")


@router.post("/sign-in/link/{key}")
def take_link(request: Request, key: str, session: Write, now: Now) -> Response:
    token = sign_in_by_link(session, person=None, at=now, key=key, old_token=token_of(request))
    response = RedirectResponse("/", 303)
    set_token(request, response, token)
    return response


@router.get("/first-run")
def show_first_run(request: Request, session: Read, key: str = "") -> HTMLResponse:
    if people.anyone(session):
        raise Conflict("The first manager is set up already; sign in instead.")
    page = FirstRunPage(key[:100], "", None, None)
    return render(request, "sign_in/first_run.html", page, session=session, person=None, title="First manager")


@router.post("/first-run")
def take_first_run(
    request: Request, form: Annotated[FirstRunForm, Form()], reading: Read, session: Write, now: Now
) -> Response:
    try:
        if form.password != form.password_again:
            raise BadInput("The two passwords differ; type them again.", field="password_again")
        first = create_first_manager(session, person=None, at=now, key=form.key, name=form.name, password=form.password)
    except BadInput as error:
        undo(session)
        page = FirstRunPage(form.key, form.name, error.sentence, error.field)
        return render(
            request, "sign_in/first_run.html", page, session=reading, person=None, title="First manager", status=422
        )
    response = RedirectResponse("/", 303)
    set_token(request, response, start(session, first.id, now))
    return response
