"""Errors at the edge: a page with one clear sentence, or problem details (RFC 9457) for the API."""

import logging
import secrets
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote

from fastapi import FastAPI, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from sqlalchemy.exc import DBAPIError, IntegrityError
from sqlalchemy.orm import Session
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.errors import AppError, BadInput, Conflict, Forbidden, NotFound, NotSignedIn, StorageFailed, TooLarge
from app.record.engine import is_serialization_failure, reading
from app.record.tables import Person
from app.web.address import address_of
from app.web.came_from import came_from
from app.web.form import AlreadyTaken, lead_to, taken_meanwhile
from app.web.log import log, log_unexpected
from app.web.page import render, render_fragment, render_plain
from app.web.signed_in import find_person


@dataclass(frozen=True, slots=True)
class ErrorPage:
    """An error and where to go on from it. ways: (label, address), the likeliest first; search: whether what was looked
    for may be found by a search."""

    status: int
    title: str
    sentence: str
    where: str | None
    details: tuple[str, ...]
    reference: str | None
    ways: tuple[tuple[str, str], ...]
    search: bool


class _Unexpected(AppError):
    """A defect: its own text stays in the log."""


class _NotAllowedHere(AppError):
    status = 405
    title = "Not possible at this address"


def install(app: FastAPI) -> None:
    app.add_exception_handler(AppError, _app_error)
    app.add_exception_handler(AlreadyTaken, _already_taken)
    app.add_exception_handler(RequestValidationError, _validation_error)
    app.add_exception_handler(HTTPException, _http_error)
    app.add_exception_handler(IntegrityError, _integrity_error)
    app.add_exception_handler(DBAPIError, _database_error)
    app.add_exception_handler(Exception, _unexpected)


def answer(request: Request, error: AppError, reference: str | None = None) -> Response:
    """The error as the requester can read it."""
    if request.url.path.startswith("/api/"):
        return _problem(request, error, reference)
    if isinstance(error, NotSignedIn):
        return lead_to(request, _sign_in_address(request), 401)
    back = _back(request, error.status)
    page = ErrorPage(
        status=error.status,
        title=error.title,
        sentence=error.sentence,
        where=error.where,
        details=error.details,
        reference=reference,
        ways=(*back, ("Go to Today", "/")),
        search=False,
    )
    try:
        with reading(request.app.state.engine) as session:
            person = _person(request, session)
            on = (("Sign in", "/sign-in"),) if person is None else (("Vehicles", "/vehicles"), ("Today", "/"))
            known = replace(page, ways=back + on, search=person is not None and error.status == 404)
            if request.headers.get("hx-request") == "true":
                return render_fragment(
                    request, "errors/_error.html", known, session=session, person=person, status=error.status
                )
            return render(
                request,
                "errors/error.html",
                known,
                session=session,
                person=person,
                title=error.title,
                status=error.status,
            )
    except Exception:  # whatever keeps the frame from being drawn, the sentence still gets out
        log("error page without its frame", request, level=logging.ERROR)
        return render_plain(request, "errors/error.html", page, title=error.title, status=error.status)


def _person(request: Request, session: Session) -> Person | None:
    """Who asks; looked for here where no route did, since there is none at the address."""
    if hasattr(request.state, "person"):
        known: Person | None = request.state.person
        return known
    return find_person(request, session, datetime.now(UTC))[0]


def _back(request: Request, status: int) -> tuple[tuple[str, str], ...]:
    """To the page before, and where it may help, the same again."""
    before = came_from(request)
    found = [] if before is None else [("Back to the page before", before)]
    if status >= 500 and request.method == "GET":
        found.append(("Try again", address_of(request)))
    return tuple(found)


def _problem(request: Request, error: AppError, reference: str | None) -> Response:
    body: dict[str, Any] = {
        "type": "about:blank",
        "title": error.title,
        "status": error.status,
        "detail": str(error),
        "instance": request.url.path,
    }
    extra = {"field": error.field, "where": error.where, "details": list(error.details), "reference": reference}
    body |= {key: value for key, value in extra.items() if value}
    headers = {"WWW-Authenticate": "Bearer"} if error.status == 401 else None
    return JSONResponse(body, error.status, headers, media_type="application/problem+json")


def _sign_in_address(request: Request) -> str:
    """The sign-in page that leads back to where the person was."""
    shown = request.method == "GET" and request.headers.get("hx-request") != "true"
    here = address_of(request) if shown else came_from(request)
    return "/sign-in" if here is None or here == "/" else "/sign-in?next=" + quote(here, safe="/")


def _app_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, AppError)
    if (taken := taken_meanwhile(request)) is not None:
        return lead_to(request, taken)
    if isinstance(error, Forbidden):
        log("refused", request, sentence=error.sentence)
    reference = None
    if error.status >= 500:
        reference = _new_reference()
        log_unexpected(request, error, reference)
    return answer(request, error, reference)


def _already_taken(request: Request, error: Exception) -> Response:
    assert isinstance(error, AlreadyTaken)
    return lead_to(request, error.location)


def _integrity_error(request: Request, error: Exception) -> Response:
    if (taken := taken_meanwhile(request)) is not None:
        return lead_to(request, taken)
    log_unexpected(request, error, "integrity")
    return answer(
        request,
        Conflict(
            "The record refused this, perhaps since somebody recorded the same just now. Look, then send it again."
        ),
    )


def _database_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, DBAPIError)
    if is_serialization_failure(error):
        if (taken := taken_meanwhile(request)) is not None:
            return lead_to(request, taken)
        busy = StorageFailed("Two people wrote at the same moment: nothing was saved. Send it again.")
        return answer(request, busy)
    return _unexpected(request, error)


_PLAIN = {
    "missing": "is missing",
    "extra_forbidden": "is not a field of this form",
    "int_parsing": "must be a whole number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "float_parsing": "must be a number",
    "float_type": "must be a number",
    "finite_number": "must be a finite number",
    "bool_parsing": "must be yes or no",
    "bool_type": "must be true or false",
    "string_type": "must be text",
    "json_invalid": "is not valid JSON",
    "datetime_parsing": "must be a date and time like 2026-11-25T14:03:00Z",
    "datetime_from_date_parsing": "must be a date and time like 2026-11-25T14:03:00Z",
    "timezone_aware": "must carry its time zone, like 2026-11-25T14:03:00Z",
}


def _field_sentence(error: dict[str, Any]) -> tuple[str, str]:
    """(field, sentence) of one finding of the validation."""
    place = [str(part) for part in error["loc"] if part not in ("body", "query", "path", "header")]
    name = ".".join(place)
    readable = name.replace("_", " ") or "the request"
    reason = _PLAIN.get(error["type"]) or _reason(str(error["msg"]))
    return name, f"{readable[:1].upper()}{readable[1:80]} {reason}."


def _reason(message: str) -> str:
    """The validator's own words after the field's name: "Input should be at least 3" → "should be at least 3"."""
    message = message.removeprefix("Value error, ").rstrip(".")
    for beginning in ("Input ", "Value ", "String "):
        if message.startswith(beginning):
            return message.removeprefix(beginning)
    return f"cannot be used: {message}"


def _validation_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    findings = [_field_sentence(one) for one in error.errors()]
    if any(one["loc"][0] == "path" for one in error.errors()):
        return answer(request, NotFound("There is nothing at this address."))
    field, sentence = findings[0] if findings else ("", "The request cannot be read.")
    details = [other for _, other in findings[1:]]
    return answer(request, BadInput(sentence, field=field or None, details=details))


def _http_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if error.status_code == 404:
        return answer(request, NotFound("There is nothing at this address."))
    if error.status_code == 405:
        response = answer(request, _NotAllowedHere("This address does not take such a request."))
        response.headers.update(error.headers or {})
        return response
    if error.status_code == 413:
        return answer(request, _too_large())
    return answer(request, BadInput("The request cannot be read; load the page again and send it from there."))


def _too_large() -> TooLarge:
    return TooLarge("What was sent is larger than this place accepts; nothing was kept.")


def _new_reference() -> str:
    return secrets.token_hex(4)


def _unexpected(request: Request, error: Exception) -> Response:
    reference = _new_reference()
    log_unexpected(request, error, reference)
    sentence = "The program failed on this request; nothing was saved. The log has it under this reference."
    return answer(request, _Unexpected(sentence), reference)


class LastResort:
    """Around the whole application: its failures end here, and the bare 413 of the body limit becomes a page."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = dressed = False

        async def send_dressed(message: Message) -> None:
            nonlocal started, dressed
            if dressed:
                return
            if message["type"] == "http.response.start":
                started = True
                if message["status"] == 413 and _is_bare(message):
                    dressed = True
                    response = await run_in_threadpool(answer, Request(scope), _too_large())
                    await response(scope, receive, send)
                    return
            await send(message)

        try:
            await self.app(scope, receive, send_dressed)
        except Exception as error:
            # The handler has answered and logged it; raising it on would only print it once more.
            if not started:
                log_unexpected(Request(scope), error, _new_reference())
                await Response("The program failed on this request.", 500)(scope, receive, send)


def _is_bare(message: Message) -> bool:
    return any(key == b"content-type" and value.startswith(b"text/plain") for key, value in message["headers"])
