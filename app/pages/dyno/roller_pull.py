"""One pull computed from roller speed, with what was assumed for it."""

from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from app.calc.dyno.inertia import RollerPower, engine_speed_rpm
from app.calc.dyno.rollers import Rollers, power_on
from app.calc.number_text import plain
from app.errors import BadInput
from app.pages.dyno.profile import profile_of
from app.pages.dyno.rollers_form import RollersForm, log_of, rollers_of
from app.readers.roller_recording import RollerRecording, read_roller_recording
from app.record import dyno, vehicles
from app.web.form import read_choice, read_number

Values = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Pull:
    """One pull with what was assumed for it; engine speed and torque where the file or the gearing gives them."""

    data: bytes
    name: str
    rollers: Rollers
    recording: RollerRecording
    power: RollerPower
    speed_rpm: Values | None
    assumed: str

    @property
    def torque_nm(self) -> Values | None:
        """P/ω at the engine's speed; none where the engine stands."""
        if self.speed_rpm is None:
            return None
        turning = np.where(self.speed_rpm > 0, self.speed_rpm, np.nan)
        return np.asarray(self.power.power_kw * 30_000.0 / (pi * turning), np.float64)


def read_log(session: Session, dyno_id: int, data: bytes, place: Rollers, field: str) -> RollerRecording:
    try:
        return read_roller_recording(data, radius_m=place.radius_m, profile=profile_of(session, dyno_id))
    except BadInput as error:
        error.field = field
        raise


def pull_of(session: Session, dyno_id: int, form: RollersForm) -> Pull:
    place = rollers_of(form)
    window = read_number(form.window, field="window", label="Time window", lowest=0.02, highest=5, unit="s") or 0.3
    data, name = log_of(form)
    read = read_log(session, dyno_id, data, place, "file")
    try:
        found = power_on(
            place,
            read.time_s,
            read.omega_rad_s,
            road_speed_measured=read.road_speed_measured,
            window_s=window,
        )
    except BadInput as error:
        error.field = "file"
        raise
    speed, geared = _engine_speed(session, form, read, found)
    assumed = f"Power computed from {'road' if read.road_speed_measured else 'roller'} speed with {place.text}; "
    assumed += f"differentiated over {plain(window, 2)} s{geared}."
    return Pull(data, name, place, read, found, speed, assumed)


def _engine_speed(
    session: Session, form: RollersForm, read: RollerRecording, found: RollerPower
) -> tuple[Values | None, str]:
    """Engine speed as recorded, else by the gearing as typed, else by that of the chosen session's car and gear."""
    if read.engine_speed_rpm is not None:
        return read.engine_speed_rpm, ""
    ratio = read_number(form.ratio, field="ratio", label="Ratio", lowest=0.1, highest=100)
    tyre = read_number(form.tyre, field="tyre", label="Tyre radius", lowest=0.05, highest=2, unit="m")
    if (ratio is None) != (tyre is None):
        raise BadInput("The ratio and the tyre's radius go together.", field="ratio" if ratio is None else "tyre")
    if ratio is None or tyre is None:
        known = _gearing(session, form.session_id)
        if known is None:
            return None, ""
        ratio, tyre = known
    speed = np.array([engine_speed_rpm(float(v), ratio, tyre) for v in found.speed_ms])
    return speed, f"; engine speed from {plain(ratio, 3)} engine turns per wheel turn and {plain(tyre, 3)} m, no slip"


def _gearing(session: Session, session_id: str) -> tuple[float, float] | None:
    if not session_id.strip().isdigit():
        return None
    row = dyno.dyno_session(session, read_choice(session_id, field="session_id"))
    car = vehicles.vehicle(session, row.vehicle_id)
    ratios, gear = car.gear_ratios or [], row.gear.strip()
    if not gear.isdigit() or not 1 <= int(gear) <= len(ratios) or not car.final_drive or not car.tyre_radius_m:
        return None
    return float(ratios[int(gear) - 1]) * car.final_drive, car.tyre_radius_m
