"""Dyno sessions and their pulls as JSON."""

from typing import Annotated, Any

from fastapi import APIRouter, Form, status
from pydantic import BaseModel, Field
from sqlalchemy.orm import Session

from app.actions.add_dyno import add_dyno
from app.actions.add_runs import NewRuns, add_runs
from app.actions.attribute import Result, attribute
from app.actions.decide_run import decide_run
from app.actions.record_session import NewSession, record_session
from app.api.attribution import AttributionIn, AttributionOut, attributions_out
from app.api.measured import MeasuredOut, measured_out
from app.api.model import ApiIn, ApiOut, Time
from app.api.paging import Cursor, Limit, ListPage, cut, decode_number, encode_cursor
from app.api.sweep import SweepOut, sweep_out
from app.readers.dyno_columns import ColumnProfile
from app.readers.dyno_file import read_dyno_file
from app.record import channels, dyno, vehicles
from app.record.dyno import RunRecord
from app.record.rollers import columns_of
from app.record.row_id import row_id
from app.record.tables import DynoSession
from app.web.now import Now
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter(tags=["dyno"])


class DynoIn(ApiIn):
    name: str = Field(max_length=80)
    note: str = ""


class DynoOut(ApiOut):
    id: int
    name: str
    note: str


class SessionIn(ApiIn):
    """Conditions of the pulls; what was not recorded stays null. `attributed`: control unit id → revision id, or null
    for stock; without it the flash log decides."""

    dyno_id: int
    purpose: str = "measurement"
    correction_standard: str = "none"
    pressure_hpa: float | None = None
    temperature_c: float | None = None
    relative_humidity_percent: float | None = None
    gear: str = Field("", max_length=24)
    drive_mode: str = Field("", max_length=40)
    driven_axles: str = Field("", max_length=8)
    tyre: str = Field("", max_length=40)
    tyre_pressure_bar: float | None = None
    fuel: str = Field("", max_length=80)
    start_coolant_c: float | None = None
    start_intake_c: float | None = None
    battery_soc_percent: float | None = None
    note: str = ""
    measured_at: Time | None = None
    attributed: dict[str, int | None] | None = None


class RunOut(ApiOut):
    id: int
    dyno_session_id: int
    position: int
    file_name: str
    sha256: str
    included: bool
    reason: str
    points: int
    channels: list[str]
    findings: list[str]
    start_coolant_c: float | None
    start_intake_c: float | None
    battery_soc_percent: float | None
    sweep: SweepOut


class SessionOut(ApiOut):
    id: int
    vehicle_id: int
    dyno_id: int
    measured_at: Time
    purpose: str
    correction_standard: str
    pressure_hpa: float | None
    temperature_c: float | None
    relative_humidity_percent: float | None
    gear: str
    drive_mode: str
    driven_axles: str
    tyre: str
    tyre_pressure_bar: float | None
    fuel: str
    start_coolant_c: float | None
    start_intake_c: float | None
    battery_soc_percent: float | None
    note: str
    attributions: list[AttributionOut]


class SessionDetail(SessionOut):
    runs: list[RunOut]
    measured: MeasuredOut


class RunsUpload(BaseModel):
    file: Upload = None
    start_coolant_c: float | None = None
    start_intake_c: float | None = None
    battery_soc_percent: float | None = Field(None, ge=0, le=100)


class RunsOut(ApiOut):
    """What was understood of the file, column by column, and the pulls found in it."""

    columns: list[dict[str, Any]]
    findings: list[str]
    runs: list[RunOut]


class DecisionIn(ApiIn):
    included: bool
    reason: str


class SampleOut(ApiOut):
    """A pull's channels as recorded, by name; null where a value is missing. `sweep`: what the curve is made from."""

    id: int
    position: int
    sweep: SweepOut
    channels: dict[str, list[float | None]]


_CONDITIONS = tuple(name for name in SessionOut.model_fields if name != "attributions")


def session_out(session: Session, row: DynoSession) -> dict[str, Any]:
    """The fields of a SessionOut."""
    same = {name: getattr(row, name) for name in _CONDITIONS}
    return {**same, "attributions": attributions_out(dyno.attributions(session, [row.id])[row.id])}


def run_out(one: RunRecord) -> RunOut:
    data = channels.unpack(one.run.channels)
    return RunOut(
        id=one.run.id,
        dyno_session_id=one.run.dyno_session_id,
        position=one.run.position,
        file_name=one.run.file_name,
        sha256=one.run.sha256,
        included=one.included,
        reason=one.reason,
        points=len(next(iter(data.values()))),
        channels=list(data),
        findings=[str(text) for text in one.run.findings],
        start_coolant_c=one.run.start_coolant_c,
        start_intake_c=one.run.start_intake_c,
        battery_soc_percent=one.run.battery_soc_percent,
        sweep=sweep_out(data),
    )


@router.get("/dynos")
def list_dynos(session: Read, _person: Viewer) -> list[DynoOut]:
    """The shop's dynos by name."""
    return [DynoOut.model_validate(row) for row in dyno.dynos(session)]


@router.post("/dynos", status_code=status.HTTP_201_CREATED)
def new_dyno(body: DynoIn, session: Write, person: Tuner, now: Now) -> DynoOut:
    """Put a dyno on record."""
    return DynoOut.model_validate(add_dyno(session, person=person, at=now, name=body.name, note=body.note))


@router.post("/vehicles/{vehicle_id:int}/dyno-sessions", status_code=status.HTTP_201_CREATED)
def open_session(vehicle_id: int, body: SessionIn, session: Write, person: Tuner, now: Now) -> SessionDetail:
    """Open a session: pulls of one car under one set of conditions."""
    fields = body.model_dump()
    attributed = fields.pop("attributed")
    row = record_session(
        session,
        person=person,
        at=now,
        vehicle_id=vehicle_id,
        conditions=NewSession(**fields),
        attributed=None if attributed is None else {_unit_id(key): value for key, value in attributed.items()},
    )
    return SessionDetail(**session_out(session, row), runs=[], measured=measured_out(session, row))


def _unit_id(key: str) -> int:
    """JSON keys are text; one that is no number is no control unit."""
    return row_id(key) or 0


@router.get("/vehicles/{vehicle_id:int}/dyno-sessions")
def list_sessions(
    vehicle_id: int, session: Read, _person: Viewer, limit: Limit = 50, cursor: Cursor = None
) -> ListPage[SessionOut]:
    """Sessions of a car, the last recorded first."""
    car = vehicles.vehicle(session, vehicle_id)
    found = dyno.page_of_sessions(session, car.id, before=decode_number(cursor), limit=limit + 1)
    rows, following = cut(found, limit, lambda row: encode_cursor(row.id))
    return ListPage(items=[SessionOut(**session_out(session, row)) for row in rows], next_cursor=following)


@router.post("/dyno-sessions/{session_id:int}/runs", status_code=status.HTTP_201_CREATED, max_body_size=UPLOAD_LIMIT)
def upload_runs(
    session_id: int,
    form: Annotated[RunsUpload, Form(media_type="multipart/form-data")],
    session: Write,
    person: Tuner,
    now: Now,
) -> RunsOut:
    """Add the pulls of one file, as the dyno wrote it; the answer says what was understood."""
    data, label = read_upload(form.file, field="file")
    row = dyno.dyno_session(session, session_id)
    profile = columns_of(dyno.dyno(session, row.dyno_id))
    found = read_dyno_file(data, profile=None if profile is None else ColumnProfile.from_json(profile))
    runs = NewRuns.of_file(
        found,
        start_coolant_c=form.start_coolant_c,
        start_intake_c=form.start_intake_c,
        battery_soc_percent=form.battery_soc_percent,
    )
    added = add_runs(session, person=person, at=now, dyno_session_id=row.id, uploaded=data, file_name=label, runs=runs)
    return RunsOut(
        columns=runs.columns,
        findings=[str(text) for text in runs.findings],
        runs=[run_out(RunRecord(run, True, "")) for run in added],
    )


@router.patch("/runs/{run_id:int}")
def decide(run_id: int, body: DecisionIn, session: Write, person: Tuner, now: Now) -> RunOut:
    """Exclude a pull with a written reason, or take it in again; the pull itself stays on record."""
    decide_run(session, person=person, at=now, run_id=run_id, included=body.included, reason=body.reason)
    return _run(session, run_id)


@router.get("/runs/{run_id:int}")
def show_run(run_id: int, session: Read, _person: Viewer) -> SampleOut:
    """A pull's channels as recorded, in the units of their names, uncorrected."""
    row = dyno.run(session, run_id)
    data = channels.unpack(row.channels)
    return SampleOut(
        id=row.id,
        position=row.position,
        sweep=sweep_out(data),
        channels={name: [None if v != v else float(v) for v in column] for name, column in data.items()},
    )


def _run(session: Session, run_id: int) -> RunOut:
    row = dyno.run(session, run_id)
    runs = dyno.runs_of(session, [row.dyno_session_id])[row.dyno_session_id]
    return next(run_out(one) for one in runs if one.run.id == row.id)


@router.post("/dyno-sessions/{session_id:int}/attribution", status_code=status.HTTP_201_CREATED)
def attribute_session(session_id: int, body: AttributionIn, session: Write, person: Tuner, now: Now) -> SessionOut:
    """Say what was on a control unit in a dyno session; the earlier attribution stays in the history."""
    attribute(session, person=person, at=now, result=Result(dyno_session_id=session_id), **body.model_dump())
    return SessionOut(**session_out(session, dyno.dyno_session(session, session_id)))


@router.get("/dyno-sessions/{session_id:int}")
def show_session(session_id: int, session: Read, _person: Viewer) -> SessionDetail:
    """The session with its pulls, corrected mean curve, repeatability, and its channels against the car's limits."""
    row = dyno.dyno_session(session, session_id)
    runs = dyno.runs_of(session, [row.id])[row.id]
    return SessionDetail(
        **session_out(session, row), runs=[run_out(one) for one in runs], measured=measured_out(session, row)
    )
