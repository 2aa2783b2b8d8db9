"""A dyno that records roller speed alone, as JSON: its rollers, and the power of a log with its uncertainty."""

from math import pi
from typing import Annotated

import numpy as np
from fastapi import APIRouter, Form
from pydantic import BaseModel, ConfigDict, Field

from app.actions.describe_rollers import describe_rollers
from app.api.dynos import RollersOut
from app.api.model import ApiIn, ApiOut
from app.calc.dyno.rollers import Rollers, power_on
from app.errors import Conflict
from app.readers.dyno_columns import ColumnProfile
from app.readers.roller_recording import read_roller_recording
from app.record import dyno
from app.record.rollers import columns_of, rollers_of
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
    place = dyno.dyno(session, dyno_id)
    rollers = rollers_of(place)
    if rollers is None:
        raise Conflict("The rollers of this dyno are not known; post them to /dynos/{id}/rollers first.")
    columns = columns_of(place)
    profile = None if columns is None else ColumnProfile.from_json(columns)
    data, _ = read_upload(form.file, field="file")
    read = read_roller_recording(data, radius_m=rollers.radius_m, profile=profile)
    found = power_on(
        rollers,
        read.time_s,
        read.omega_rad_s,
        road_speed_measured=read.road_speed_measured,
        window_s=form.window_s,
    )
    torque = None
    if read.engine_speed_rpm is not None:
        turning = np.where(read.engine_speed_rpm > 0, read.engine_speed_rpm, np.nan)
        torque = [float(v) if v == v else None for v in found.power_kw * 30_000.0 / (pi * turning)]
    return RollerPowerOut(
        rollers=RollersOut.model_validate(rollers),
        time_s=found.time_s.tolist(),
        road_speed_kmh=(3.6 * found.speed_ms).tolist(),
        power_kw=found.power_kw.tolist(),
        power_u_kw=found.power_u_kw.tolist(),
        engine_speed_rpm=None if read.engine_speed_rpm is None else read.engine_speed_rpm.tolist(),
        torque_nm=torque,
    )
