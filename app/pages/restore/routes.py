"""Routes of the back-to-stock pages."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.abandon_restore import abandon_restore
from app.actions.close_restore_step import close_restore_step
from app.actions.open_restore import open_restore
from app.actions.override_restore_step import override_restore_step
from app.actions.sign_off_restore import sign_off_restore
from app.errors import AppError
from app.pages.restore.certificate import certificate_page
from app.pages.restore.forms import AbandonForm, OpenForm, OverrideForm, SignForm, StepForm, evidence_of, new_restore
from app.pages.restore.list_view import list_page
from app.pages.restore.views import CasePage, Refused, case_page, html_id
from app.record import restores, vehicles
from app.record.tables import Person
from app.settings import Settings
from app.web.confirmed import confirmed
from app.web.form import OncePerForm, see_other, text_of
from app.web.now import Now
from app.web.page import render, view_of, writing_as
from app.web.signed_in import Manager, Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT

router = APIRouter()


@router.get("/vehicles/{vehicle_id:int}/restores")
def show_list(request: Request, vehicle_id: int, session: Read, person: Viewer) -> HTMLResponse:
    with writing_as(view_of(request, session, person)):
        page = list_page(session, vehicle_id, person)
    return render(request, "restore/list.html", page, session=session, person=person, title="Restore to stock")


@router.post("/vehicles/{vehicle_id:int}/restores")
def take_new(
    request: Request,
    vehicle_id: int,
    form: Annotated[OpenForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        wanted = new_restore(form)
        with session.begin_nested():
            row = open_restore(session, person=person, at=now, vehicle_id=vehicle_id, wanted=wanted)
    except AppError as error:
        with writing_as(view_of(request, session, person)):
            page = list_page(session, vehicle_id, person, form, error)
        return render(
            request,
            "restore/list.html",
            page,
            session=session,
            person=person,
            title="Restore to stock",
            status=error.status,
        )
    return see_other(request, session, f"/restores/{row.id}", once)


def _page(request: Request, session: Session, restore_id: int, person: Person, refused: Refused | None) -> CasePage:
    with writing_as(view_of(request, session, person)):
        return case_page(session, restore_id, person, refused)


@router.get("/restores/{restore_id:int}")
def show(request: Request, restore_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = _page(request, session, restore_id, person, None)
    return render(request, "restore/case.html", page, session=session, person=person, title=f"Restore, {page.vehicle}")


def _refused(request: Request, session: Session, restore_id: int, person: Person, refused: Refused) -> HTMLResponse:
    page = _page(request, session, restore_id, person, refused)
    return render(
        request,
        "restore/case.html",
        page,
        session=session,
        person=person,
        title=f"Restore, {page.vehicle}",
        status=refused.error.status,
    )


@router.post("/restores/{restore_id:int}/steps/{key}", max_body_size=UPLOAD_LIMIT)
def take_evidence(
    request: Request,
    restore_id: int,
    key: str,
    form: Annotated[StepForm, Form(media_type="multipart/form-data")],
    once: OncePerForm,
    reading: Read,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    step = restores.case(reading, restore_id).work_step(key)
    try:
        base = 0 if step.unit_id is None else vehicles.control_unit(reading, step.unit_id).base_address
        evidence = evidence_of(form, step, base_address=base)
        with session.begin_nested():
            close_restore_step(session, person=person, at=now, restore_id=restore_id, key=key, evidence=evidence)
    except AppError as error:
        return _refused(request, session, restore_id, person, Refused(key, error, text_of(form), form))
    return see_other(request, session, f"/restores/{restore_id}#{html_id(step)}", once)


@router.post("/restores/{restore_id:int}/steps/{key}/override")
def take_override(
    request: Request,
    restore_id: int,
    key: str,
    form: Annotated[OverrideForm, Form()],
    once: OncePerForm,
    reading: Read,
    session: Write,
    person: Manager,
    now: Now,
) -> Response:
    step = restores.case(reading, restore_id).work_step(key)
    try:
        fits = confirmed(request, person, form.password, now)
        with session.begin_nested():
            override_restore_step(
                session,
                person=person,
                at=now,
                restore_id=restore_id,
                key=key,
                reason=form.reason,
                password_fits=fits,
            )
    except AppError as error:
        return _refused(request, session, restore_id, person, Refused(f"{key}/override", error, text_of(form)))
    return see_other(request, session, f"/restores/{restore_id}#{html_id(step)}", once)


@router.post("/restores/{restore_id:int}/sign-off")
def take_sign_off(
    request: Request,
    restore_id: int,
    form: Annotated[SignForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        fits = confirmed(request, person, form.password, now)
        with session.begin_nested():
            signed = sign_off_restore(
                session,
                person=person,
                at=now,
                restore_id=restore_id,
                name=form.name,
                password_fits=fits,
                zone=view_of(request, session, person).zone,
            )
    except AppError as error:
        return _refused(request, session, restore_id, person, Refused("sign", error, text_of(form)))
    place = "#sign-off" if signed.certificate is None else "/certificate"
    return see_other(request, session, f"/restores/{restore_id}{place}", once)


@router.post("/restores/{restore_id:int}/abandon")
def take_abandonment(
    request: Request,
    restore_id: int,
    form: Annotated[AbandonForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    try:
        with session.begin_nested():
            abandon_restore(session, person=person, at=now, restore_id=restore_id, reason=form.reason)
    except AppError as error:
        return _refused(request, session, restore_id, person, Refused("abandon", error, text_of(form)))
    return see_other(request, session, f"/restores/{restore_id}", once)


@router.get("/restores/{restore_id:int}/certificate")
def show_certificate(request: Request, restore_id: int, session: Read, person: Viewer, now: Now) -> HTMLResponse:
    settings: Settings = request.app.state.settings
    zone = view_of(request, session, person).zone
    page = certificate_page(session, restore_id, at=now, zone=zone, base_url=settings.base_url)
    title = f"{'Draft of certificate' if page.draft else 'Certificate'} {page.number}"
    return render(request, "restore/certificate.html", page, session=session, person=person, title=title)
