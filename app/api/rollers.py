"""A dyno that records roller speed alone, as JSON: its rollers, and the power of a log with its uncertainty."""

from typing import Annotated

from fastapi import APIRouter, Form, status
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy.orm import Session

from app.actions.add_runs import NewRuns, add_runs
from app.actions.describe_rollers import describe_rollers
from app.api.dyno import RunsOut, run_out
from app.api.dynos import RollersOut
from app.api.model import ApiIn, ApiOut
from app.calc.dyno.roller_pull import Gearing, RollerPull, roller_pull
from app.calc.dyno.rollers import Rollers
from app.errors import BadInput, Conflict
from app.readers.dyno_columns import ColumnProfile
from app.readers.roller_recording import read_roller_recording
from app.record import dyno
from app.record.dyno import RunRecord
from app.record.rollers import columns_of, gearing_of, rollers_of
from app.web.now import Now
from app.web.signed_in import Tuner
from app.web.transaction import Read, Write
from app.web.uploads import UPLOAD_LIMIT, Upload, read_upload

router = APIRouter(tags=["dyno"])


class RollersIn(ApiIn):
    """Inertia of all that the wheels turn, radius, the dyno's own drag A + B·v + C·v²; `…_u` standard uncertainties."""

    inertia_kgm2: float
    inertia_u: float = 0.0
    radius_m: float
    radius_u: float = 0.0
    a_n: float = 0.0
    a_u: float = 0.0
    b_n_per_ms: float = 0.0
    b_u: float = 0.0
    c_n_per_ms2: float = 0.0
    c_u: float = 0.0


class LogUpload(BaseModel):
    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    file: Upload = None
    window_s: float = Field(0.3, ge=0.02, le=5)


class RollerRunUpload(LogUpload):
    """`ratio` engine turns per wheel turn and `tyre_radius_m` go together; without them the log's own engine speed
    counts, else the gearing on record for the car in the session's gear."""

    ratio: float | None = Field(None, ge=0.1, le=100)
    tyre_radius_m: float | None = Field(None, ge=0.05, le=2)


class RollerPowerOut(ApiOut):
    """Power at the roller's surface, sample by sample, with its standard uncertainty; engine speed and torque are null
    where the log has no engine speed."""

    rollers: RollersOut
    time_s: list[float]
    road_speed_kmh: list[float]
    power_kw: list[float]
    power_u_kw: list[float]
    engine_speed_rpm: list[float] | None
    torque_nm: list[float | None] | None


@router.post("/dynos/{dyno_id:int}/rollers")
def keep_rollers(dyno_id: int, body: RollersIn, session: Write, person: Tuner, now: Now) -> RollersOut:
    """Keep the dyno's rollers; pulls recorded before stay as they were computed."""
    rollers = Rollers(**body.model_dump())
    describe_rollers(session, person=person, at=now, dyno_id=dyno_id, rollers=rollers)
    return RollersOut.model_validate(rollers)


@router.post("/dynos/{dyno_id:int}/roller-power", max_body_size=UPLOAD_LIMIT)
def roller_power(
    dyno_id: int, form: Annotated[LogUpload, Form(media_type="multipart/form-data")], session: Read, _person: Tuner
) -> RollerPowerOut:
    """Power of one log with the rollers kept for the dyno; nothing is recorded."""
    rollers = _rollers(session, dyno_id)
    data, _ = read_upload(form.file, field="file")
    pull = _pull(session, dyno_id, rollers, data, form.window_s, None)
    torque = pull.torque_nm
    return RollerPowerOut(
        rollers=RollersOut.model_validate(rollers),
        time_s=pull.power.time_s.tolist(),
        road_speed_kmh=(3.6 * pull.power.speed_ms).tolist(),
        power_kw=pull.power.power_kw.tolist(),
        power_u_kw=pull.power.power_u_kw.tolist(),
        engine_speed_rpm=None if pull.speed_rpm is None else pull.speed_rpm.tolist(),
        torque_nm=None if torque is None else [float(v) if v == v else None for v in torque],
    )


@router.post(
    "/dyno-sessions/{session_id:int}/roller-runs", status_code=status.HTTP_201_CREATED, max_body_size=UPLOAD_LIMIT
)
def record_roller_run(
    session_id: int,
    form: Annotated[RollerRunUpload, Form(media_type="multipart/form-data")],
    session: Write,
    person: Tuner,
    now: Now,
) -> RunsOut:
    """Add one log of roller speed to a session as a pull, with the rollers kept for its dyno; what was assumed stays
    with it as a finding."""
    data, label = read_upload(form.file, field="file")
    row = dyno.dyno_session(session, session_id)
    if (form.ratio is None) != (form.tyre_radius_m is None):
        raise BadInput(
            "The ratio and the tyre's radius go together.", field="ratio" if form.ratio is None else "tyre_radius_m"
        )
    typed = None if form.ratio is None or form.tyre_radius_m is None else Gearing(form.ratio, form.tyre_radius_m)
    rollers = _rollers(session, row.dyno_id)
    pull = _pull(session, row.dyno_id, rollers, data, form.window_s, typed or gearing_of(session, row))
    if pull.channels is None:
        raise BadInput(
            "A pull of a session needs engine speed: give ratio and tyre_radius_m, or record the car's gearing and the "
            "session's gear.",
            field="ratio",
        )
    runs = NewRuns.of_roller_speed(pull)
    added = add_runs(session, person=person, at=now, dyno_session_id=row.id, uploaded=data, file_name=label, runs=runs)
    return RunsOut(
        columns=runs.columns,
        findings=[str(text) for text in runs.findings],
        runs=[run_out(RunRecord(run, True, "")) for run in added],
    )


def _rollers(session: Session, dyno_id: int) -> Rollers:
    found = rollers_of(dyno.dyno(session, dyno_id))
    if found is None:
        raise Conflict(f"The rollers of this dyno are not known; post them to /dynos/{dyno_id}/rollers first.")
    return found


def _pull(
    session: Session, dyno_id: int, rollers: Rollers, data: bytes, window_s: float, gearing: Gearing | None
) -> RollerPull:
    columns = columns_of(dyno.dyno(session, dyno_id))
    profile = None if columns is None else ColumnProfile.from_json(columns)
    read = read_roller_recording(data, radius_m=rollers.radius_m, profile=profile)
    return roller_pull(
        rollers,
        read.time_s,
        read.omega_rad_s,
        recorded_rpm=read.engine_speed_rpm,
        gearing=gearing,
        road_speed_measured=read.road_speed_measured,
        window_s=window_s,
    )
