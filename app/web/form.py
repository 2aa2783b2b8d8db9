"""Forms: sent twice, recorded once; and numbers as people type them."""

import hashlib
import math
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse, Response
from pydantic import BaseModel, ConfigDict
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.orm import Session
from starlette.datastructures import FormData, UploadFile

from app.errors import BadInput, StorageFailed
from app.record import form_keys
from app.record.engine import reading
from app.record.row_id import row_id
from app.web.now import Now
from app.web.signed_in import Viewer


class FormModel(BaseModel):
    """Base of every form: unknown fields are refused, the hidden key is there. Take it as
    `form: Annotated[MyForm, Form()]`, with `Form(media_type="multipart/form-data")` when it has an `Upload`."""

    model_config = ConfigDict(extra="forbid", str_strip_whitespace=True, allow_inf_nan=False)
    form_key: str = ""


class AlreadyTaken(Exception):
    """This form was taken before; `location` is where that led."""

    def __init__(self, location: str) -> None:
        super().__init__(location)
        self.location = location


@dataclass(frozen=True, slots=True)
class SentForm:
    """One sending of a form: its fingerprint, who sent it and when."""

    key: str
    person_id: int
    at: datetime


async def _fingerprint(request: Request, _person: Viewer) -> str:
    """SHA-256 over the form's key, its address and all it carries.

    The content counts, so that going back, changing a value and sending again is a new entry, while the same content
    under the same key is a repeat.
    """
    form = await request.form()
    key = form.get("form_key")
    if not isinstance(key, str) or not 16 <= len(key) <= 64:
        raise BadInput("This form was not made by this server; load the page again and send it from there.")
    return await run_in_threadpool(_digest, request.url.path, form)


def _digest(path: str, form: FormData) -> str:
    whole = hashlib.sha256(path.encode())
    for name, value in form.multi_items():
        if isinstance(value, UploadFile):
            content = hashlib.file_digest(value.file, "sha256").digest()  # type: ignore[arg-type]  # spooled file: has readinto
            value.file.seek(0)
            part = (value.filename or "").encode() + b"\x00" + content
        else:
            part = value.encode()
        whole.update(hashlib.sha256(name.encode()).digest() + hashlib.sha256(part).digest())
    return whole.hexdigest()


def _once(request: Request, key: Annotated[str, Depends(_fingerprint)], person: Viewer, now: Now) -> SentForm:
    sent = SentForm(key, person.id, now)
    request.state.sent_form = sent
    with reading(request.app.state.engine) as session:
        location = form_keys.location(session, key, sent.person_id)
    if location is not None:
        raise AlreadyTaken(location)
    return sent


# Every page that takes a form has this parameter and ends with `see_other(request, session, location, form)`.
OncePerForm = Annotated[SentForm, Depends(_once)]


def see_other(request: Request, session: Session, location: str, key: SentForm) -> Response:
    """Remember the form in the act's own transaction and lead the browser to `location` on this server."""
    remember(session, location, key)
    return lead_to(request, location)


def remember(session: Session, location: str, key: SentForm) -> None:
    """Remember where the form led. Should the same form, sent at the same moment, have been faster, this fails the
    transaction, and the error handler leads to where the faster one led."""
    form_keys.remember(session, key.key, person_id=key.person_id, location=location, at=key.at)


def taken_meanwhile(request: Request) -> str | None:
    """Where the same form led when it was sent twice at once and the other sending was faster."""
    sent: SentForm | None = getattr(request.state, "sent_form", None)
    if sent is None:
        return None
    try:
        with reading(request.app.state.engine) as session:
            return form_keys.location(session, sent.key, sent.person_id)
    except (SQLAlchemyError, StorageFailed):
        return None


def lead_to(request: Request, location: str, status: int = 303) -> Response:
    """A redirect; htmx would swap the followed page into its target, so it is told to load the page instead."""
    if request.headers.get("hx-request") == "true":
        return Response(status_code=status if status >= 400 else 200, headers={"HX-Redirect": location})
    return RedirectResponse(location, status_code=303)


def read_number(
    text: str | None,
    *,
    field: str,
    label: str,
    lowest: float = -math.inf,
    highest: float = math.inf,
    unit: str = "",
) -> float | None:
    """A number as people type it, with a point or a comma; None for an empty field.

    Raises `BadInput` that names the field. "1,234" is refused: a comma may mean a thousand or a fraction.
    """
    if text is None or not text.strip():
        return None
    typed = text.strip().replace("\u2212", "-").replace("\u202f", "").replace("\u00a0", "").replace(" ", "")
    digits = typed.lstrip("+-")
    if "," in typed and ("." in typed or typed.count(",") > 1 or _could_be_thousands(digits)):
        raise BadInput(
            f"{label}: “{text.strip()}” can be read in two ways; write it without separating thousands.", field=field
        )
    typed = typed.replace(",", ".")
    if not typed.isascii() or not digits or not (digits[0].isdigit() or digits[0] in ".,"):
        raise BadInput(f"{label}: “{text.strip()}” is no number.", field=field)
    try:
        value = float(typed.replace("_", "x"))
    except ValueError:
        raise BadInput(f"{label}: “{text.strip()}” is no number.", field=field) from None
    if not math.isfinite(value) or not lowest <= value <= highest:
        raise BadInput(f"{label} must be {_range(lowest, highest, unit)}; “{text.strip()}” is not.", field=field)
    return value


def read_choice(text: str, *, field: str, sentence: str = "Choose one from the list.") -> int:
    """The id of the row chosen from a list; raises `BadInput` with the sentence for anything else."""
    found = row_id(text)
    if found is None:
        raise BadInput(sentence, field=field)
    return found


def _could_be_thousands(digits: str) -> bool:
    whole, _, rest = digits.partition(",")
    return len(rest) == 3 and rest.isdigit() and 1 <= len(whole) <= 3 and whole != "0"


def _range(lowest: float, highest: float, unit: str) -> str:
    end = f" {unit}" if unit else ""
    if math.isinf(highest):
        return f"at least {lowest:g}{end}" if not math.isinf(lowest) else "a finite number"
    if math.isinf(lowest):
        return f"at most {highest:g}{end}"
    return f"from {lowest:g} to {highest:g}{end}"


def text_of(form: FormModel) -> dict[str, str]:
    """The fields of a form as typed, to show a refused form again."""
    return {name: value for name, value in form if isinstance(value, str) and name != "form_key"}
