"""Take what a revision changed over to another base image: look at the report first, then keep it."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, Response
from pydantic import Field
from sqlalchemy.orm import Session

from app.actions.port_revision import CAUTION, NewRevision, port_revision
from app.errors import AppError
from app.pages.revisions.names import label_of
from app.pages.revisions.port_words import SharedWords, finding, shared_words
from app.record import ports, revisions, vehicles
from app.record.car_state import vehicle_label
from app.record.ports import Wanted
from app.web.form import FormModel, OncePerForm, see_other
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Tuner
from app.web.transaction import Read, Write

router = APIRouter(prefix="/revisions/{revision_id:int}/port")

MODES = (
    ("relative", "Add the difference", "What the change added to each cell is added to the target's."),
    ("percent", "Change by the same percentage", "Each cell of the target changes by the same share."),
    ("absolute", "Set the same values", "Changed cells get the very values that they have after the change."),
)
SINCES = (("parent", "What this revision changed from its parent"), ("stock", "Everything since stock"))


@dataclass(frozen=True, slots=True)
class MapChoice:
    """A changed map that can be taken over or left."""

    name: str
    category: str
    chosen: bool
    outcome: str
    finding: str


@dataclass(frozen=True, slots=True)
class Report:
    """The port as computed, not yet on record."""

    sentence: str
    target: str
    layout: str
    checksums_left: tuple[str, ...]
    shared: tuple[SharedWords, ...]
    maps: tuple[MapChoice, ...]
    nothing: bool


@dataclass(frozen=True, slots=True)
class PortPage:
    id: int
    revision: str
    vehicle: tuple[str, str]
    caution: str
    targets: tuple[tuple[str, str], ...]
    modes: tuple[tuple[str, str, str], ...]
    sinces: tuple[tuple[str, str], ...]
    target: str
    mode: str
    since: str
    report: Report | None
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str


class PortForm(FormModel):
    target: str = ""
    mode: str = "relative"
    since: str = "parent"
    map: list[str] = Field(default_factory=list, max_length=2000)
    title: str = ""
    purpose: str = ""


def _page(
    session: Session, wanted: Wanted, *, title: str = "", purpose: str = "", error: AppError | None = None
) -> PortPage:
    source = revisions.revision(session, wanted.revision_id)
    unit = vehicles.control_unit(session, source.control_unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    report = None
    if wanted.target:
        try:
            report = _report(session, wanted)
        except AppError as refusal:
            error = error or refusal
    name = f"As revision {source.number} of {vehicle_label(vehicle)}"
    return PortPage(
        id=source.id,
        revision=label_of(source),
        vehicle=(vehicle_label(vehicle), f"/vehicles/{vehicle.id}"),
        caution=CAUTION,
        targets=tuple((one.key, f"{one.vehicle}: {one.label}") for one in ports.targets(session, source)),
        modes=MODES,
        sinces=SINCES,
        target=wanted.target,
        mode=wanted.mode,
        since=wanted.since,
        report=report,
        values={"title": title or name[:120], "purpose": purpose or source.purpose},
        errors={} if error is None or error.field is None else {error.field: error.sentence},
        sentence="" if error is None else str(error),
    )


def _report(session: Session, wanted: Wanted) -> Report:
    found = ports.compute(session, wanted)
    report = found.result.report.to_json()
    by_name = {one["name"]: one for one in report["maps"]}
    every = ports.changed_maps(session, found.source, wanted.since)
    return Report(
        sentence=report["sentence"],
        target=f"{found.target.label} of {found.target.vehicle}",
        layout=f"{found.layout.name} v{found.layout.version}",
        checksums_left=tuple(report["checksums_left"]),
        shared=shared_words(report),
        maps=tuple(
            MapChoice(
                one.name,
                one.category,
                one.name in by_name,
                by_name[one.name]["outcome"] if one.name in by_name else "left out",
                finding(by_name[one.name]) if one.name in by_name else "",
            )
            for one in every
        ),
        nothing=found.result.image.digest == found.base.digest,
    )


@router.get("")
def show(
    request: Request,
    revision_id: int,
    session: Read,
    person: Tuner,
    target: str = "",
    mode: str = "relative",
    since: str = "parent",
    map: Annotated[list[str] | None, Query(max_length=2000)] = None,
    title: str = "",
    purpose: str = "",
) -> HTMLResponse:
    """The form, and once a target is chosen the report of what would become of each map."""
    wanted = Wanted(revision_id, target, since, mode, None if not map else frozenset(map))
    page = _page(session, wanted, title=title, purpose=purpose)
    return render(request, "revisions/port.html", page, session=session, person=person, title="Port a revision")


@router.post("")
def take(
    request: Request,
    revision_id: int,
    form: Annotated[PortForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    wanted = Wanted(revision_id, form.target, form.since, form.mode, frozenset(form.map))
    try:
        with session.begin_nested():
            new = NewRevision(title=form.title, purpose=form.purpose)
            row = port_revision(session, person=person, at=now, wanted=wanted, revision=new)
    except AppError as error:
        page = _page(session, wanted, title=form.title, purpose=form.purpose, error=error)
        return render(
            request,
            "revisions/port.html",
            page,
            session=session,
            person=person,
            title="Port a revision",
            status=error.status,
        )
    return see_other(request, session, f"/revisions/{row.id}", once)
