"""Back to stock, as JSON: the case, evidence for its steps, overrides, signatures, the certificate."""

from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, UploadFile, status
from fastapi.exceptions import RequestValidationError
from pydantic import ValidationError
from sqlalchemy.orm import Session
from starlette.datastructures import UploadFile as SentFile

from app.actions.abandon_restore import abandon_restore
from app.actions.close_restore_step import close_restore_step
from app.actions.open_restore import NewRestore, open_restore
from app.actions.override_restore_step import override_restore_step
from app.actions.sign_off_restore import sign_off_restore
from app.api.model import ApiIn, ApiOut, Time
from app.api.restore_evidence import StepIn, evidence_of
from app.errors import BadInput, Forbidden
from app.record import flashes, restore_certificate, restores, vehicles
from app.record.restore_defaults import proposed
from app.record.restores import Case
from app.record.tables import RestoreStep
from app.settings import Settings
from app.web.confirmed import confirmed
from app.web.now import Now
from app.web.page import view_of
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT

router = APIRouter(tags=["restore"])


class RestoreIn(ApiIn):
    """What is left out is taken as the record proposes; null for snapshot or baseline means that there is none."""

    reason: str
    control_unit_ids: list[int] | None = None
    coding_snapshot_id: int | None = None
    baseline_session_id: int | None = None
    margin_percent: float | None = None
    two_sign_offs: bool = False


class OverrideOut(ApiOut):
    reason: str
    by: str


class StepOut(ApiOut):
    """state: done, open or blocked; outcome and sentence: what the latest evidence came to."""

    key: str
    title: str
    guidance: str
    caution: str
    evidence: str
    evidence_possible: bool
    control_unit_id: int | None
    state: str
    waits_for: list[str]
    stale: bool
    outcome: str | None
    sentence: str | None
    details: list[str]
    override: OverrideOut | None


class SignOffOut(ApiOut):
    by: str
    at: Time
    statement: str


class AbandonedOut(ApiOut):
    reason: str
    by: str
    at: Time


class RestoreOut(ApiOut):
    id: int
    vehicle_id: int
    number: int
    reason: str
    opened_at: Time
    margin_percent: float
    two_sign_offs: bool
    coding_snapshot_id: int | None
    baseline_session_id: int | None
    sentence: str
    may_sign_off: bool
    steps: list[StepOut]
    sign_offs: list[SignOffOut]
    certificate_issued: bool
    replaced_by_id: int | None
    abandoned: AbandonedOut | None


class EntryOut(ApiOut):
    """One entry of a step: evidence with its verdict, or an override."""

    id: int
    restore_id: int
    key: str
    outcome: str
    sentence: str
    details: list[str]
    reason: str
    kept: dict[str, Any]
    at: Time


class AbandonIn(ApiIn):
    reason: str


class SignIn(ApiIn):
    name: str
    password: str


class SignedOut(ApiOut):
    sign_off_id: int
    statement: str
    certificate_issued: bool


class HeadOut(ApiOut):
    seq: int
    hash: str


class CertificateOut(ApiOut):
    """The certificate as issued and stored, or a draft of what it would say now. Times are text as printed."""

    draft: bool
    restore_id: int
    address: str | None
    number: str
    issued_at: str
    vehicle: dict[str, Any]
    headline: str
    verified: list[dict[str, Any]]
    not_verified: list[dict[str, Any]]
    overridden: list[dict[str, Any]]
    digests: list[dict[str, Any]]
    signatures: list[dict[str, Any]]
    statements: list[str]
    journal_head: HeadOut


@dataclass(frozen=True, slots=True)
class Handed:
    """The body of a step's request: fields, and a file when it came as multipart."""

    fields: StepIn
    file: UploadFile | None = None


async def _handed(request: Request) -> AsyncIterator[Handed]:
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "multipart/form-data":
        body = await request.body() or b"{}"
        yield Handed(_checked(lambda: StepIn.model_validate_json(body)))
        return
    async with request.form() as form:
        texts = {name: value for name, value in form.multi_items() if isinstance(value, str)}
        sent = form.get("file")
        file = None
        if isinstance(sent, SentFile):
            file = UploadFile(sent.file, size=sent.size, filename=sent.filename, headers=sent.headers)
        yield Handed(_checked(lambda: StepIn.model_validate(texts)), file)


def _checked(read: Callable[[], StepIn]) -> StepIn:
    try:
        return read()
    except ValidationError as error:
        found = [{**one, "loc": ("body", *one["loc"])} for one in error.errors(include_context=False)]
        raise RequestValidationError(found) from None


_BODIES = {
    "requestBody": {
        "required": True,
        "content": {
            "application/json": {"schema": StepIn.model_json_schema()},
            "multipart/form-data": {
                "schema": {"type": "object", "properties": {"file": {"type": "string", "format": "binary"}}}
            },
        },
    }
}


@router.post("/vehicles/{vehicle_id:int}/restores", status_code=status.HTTP_201_CREATED)
def open_(vehicle_id: int, body: RestoreIn, session: Write, person: Tuner, now: Now) -> RestoreOut:
    """Open a case. An earlier one of the car without a certificate ends: this takes its place."""
    vehicles.vehicle(session, vehicle_id)
    defaults = proposed(session, vehicle_id)
    given = body.model_fields_set
    wanted = NewRestore(
        reason=body.reason,
        unit_ids=defaults.unit_ids if body.control_unit_ids is None else tuple(body.control_unit_ids),
        coding_snapshot_id=body.coding_snapshot_id if "coding_snapshot_id" in given else defaults.coding_snapshot_id,
        baseline_session_id=body.baseline_session_id
        if "baseline_session_id" in given
        else defaults.baseline_session_id,
        margin_percent=defaults.margin_percent if body.margin_percent is None else body.margin_percent,
        two_sign_offs=body.two_sign_offs,
    )
    row = open_restore(session, person=person, at=now, vehicle_id=vehicle_id, wanted=wanted)
    return _out(session, restores.case(session, row.id))


@router.get("/restores/{restore_id:int}")
def show(restore_id: int, session: Read, _person: Viewer) -> RestoreOut:
    """The checklist: every step, how it stands, and what it waits for."""
    return _out(session, restores.case(session, restore_id))


@router.post(
    "/restores/{restore_id:int}/steps/{key}",
    status_code=status.HTTP_201_CREATED,
    max_body_size=UPLOAD_LIMIT,
    openapi_extra=_BODIES,
)
def step(
    request: Request,
    restore_id: int,
    key: str,
    person: Tuner,
    handed: Annotated[Handed, Depends(_handed)],
    reading: Read,
    session: Write,
    now: Now,
) -> EntryOut:
    """Hand in evidence for a step; which fields count is told by its `evidence`. Answers with the verdict.

    409 while the step waits for others (`details` names them). With `?override` in the address: `reason` and the
    manager's own `password`; the step counts as closed and the reason prints on the certificate.
    """
    if "override" in request.query_params:
        return _override(request, restore_id, key, person, handed.fields, session, now)
    wanted = restores.case(reading, restore_id).work_step(key)
    base = 0 if wanted.unit_id is None else vehicles.control_unit(reading, wanted.unit_id).base_address
    evidence = evidence_of(handed.fields, handed.file, wanted, base_address=base)
    row = close_restore_step(session, person=person, at=now, restore_id=restore_id, key=key, evidence=evidence)
    return _entry(row)


def _override(
    request: Request, restore_id: int, key: str, person: Tuner, fields: StepIn, session: Write, now: Now
) -> EntryOut:
    if person.role != "manager":
        raise Forbidden("Only a manager may override a step; ask one of them.")
    if not fields.password:
        raise BadInput("Send your password with the override.", field="password")
    fits = confirmed(request, person, fields.password, now)
    row = override_restore_step(
        session,
        person=person,
        at=now,
        restore_id=restore_id,
        key=key,
        reason=fields.reason,
        password_fits=fits,
    )
    return _entry(row)


@router.post("/restores/{restore_id:int}/sign-off", status_code=status.HTTP_201_CREATED)
def sign_off(request: Request, restore_id: int, body: SignIn, session: Write, person: Tuner, now: Now) -> SignedOut:
    """Sign by name with the password; the last signature issues the certificate."""
    fits = confirmed(request, person, body.password, now)
    signed = sign_off_restore(
        session,
        person=person,
        at=now,
        restore_id=restore_id,
        name=body.name,
        password_fits=fits,
        zone=view_of(request, session, person).zone,
    )
    return SignedOut(
        sign_off_id=signed.sign_off.id,
        statement=signed.sign_off.statement,
        certificate_issued=signed.certificate is not None,
    )


@router.post("/restores/{restore_id:int}/abandon")
def abandon(restore_id: int, body: AbandonIn, session: Write, person: Tuner, now: Now) -> RestoreOut:
    """End a case that will not be finished, with the reason; it gets no certificate."""
    abandon_restore(session, person=person, at=now, restore_id=restore_id, reason=body.reason)
    return _out(session, restores.case(session, restore_id))


@router.get("/restores/{restore_id:int}/certificate")
def certificate(request: Request, restore_id: int, session: Read, person: Viewer, now: Now) -> CertificateOut:
    """The certificate; a draft until the last person has signed."""
    settings: Settings = request.app.state.settings
    case = restores.case(session, restore_id)
    body = dict(restore_certificate.body(session, case, at=now, zone=view_of(request, session, person).zone))
    seq, digest = body.pop("journal_head")
    return CertificateOut(
        draft=case.certificate is None,
        restore_id=restore_id,
        address=restore_certificate.address(settings.base_url, restore_id),
        journal_head=HeadOut(seq=seq, hash=digest),
        **body,
    )


def _out(session: Session, case: Case) -> RestoreOut:
    row = case.restore
    return RestoreOut(
        id=row.id,
        vehicle_id=row.vehicle_id,
        number=row.number,
        reason=row.reason,
        opened_at=row.at,
        margin_percent=row.margin_percent,
        two_sign_offs=row.two_sign_offs,
        coding_snapshot_id=row.coding_snapshot_id,
        baseline_session_id=row.baseline_session_id,
        sentence=case.progress.sentence,
        may_sign_off=case.progress.may_sign_off and case.is_open,
        steps=[
            StepOut(
                key=s.step.key,
                title=s.step.title,
                guidance=s.step.guidance,
                caution=s.step.caution,
                evidence=s.step.evidence,
                evidence_possible=s.step.evidence_possible,
                control_unit_id=s.step.unit_id,
                state=s.state,
                waits_for=list(s.waits_for),
                stale=s.stale,
                outcome=None if s.verdict is None else s.verdict.outcome,
                sentence=None if s.verdict is None else s.verdict.sentence,
                details=[] if s.verdict is None else list(s.verdict.details),
                override=None if s.override is None else OverrideOut(reason=s.override.reason, by=s.override.by),
            )
            for s in case.progress.states
        ],
        sign_offs=[
            SignOffOut(by=flashes.person_name(session, one.by_id), at=one.at, statement=one.statement)
            for one in case.sign_offs
        ],
        certificate_issued=case.certificate is not None,
        replaced_by_id=None if case.replaced_by is None else case.replaced_by.id,
        abandoned=_abandoned(session, case),
    )


def _abandoned(session: Session, case: Case) -> AbandonedOut | None:
    row = case.abandonment
    if row is None:
        return None
    return AbandonedOut(reason=row.reason, by=flashes.person_name(session, row.by_id), at=row.at)


def _entry(row: RestoreStep) -> EntryOut:
    return EntryOut(
        id=row.id,
        restore_id=row.restore_id,
        key=row.key,
        outcome=row.outcome,
        sentence=row.sentence,
        details=[str(line) for line in row.details],
        reason=row.reason,
        kept=row.evidence.get("kept", {}),
        at=row.at,
    )
