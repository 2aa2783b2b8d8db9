"""One pull computed from roller speed, as the form asks for it."""

from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.dyno.roller_pull import Gearing, RollerPull, roller_pull
from app.calc.dyno.rollers import Rollers
from app.errors import BadInput
from app.pages.dyno.profile import profile_of
from app.pages.dyno.rollers_form import RollersForm, log_of, rollers_of
from app.readers.roller_recording import RollerRecording, read_roller_recording
from app.record import dyno
from app.record.rollers import gearing_of
from app.web.form import read_choice, read_number


@dataclass(frozen=True, slots=True, eq=False)
class Pull:
    """The log as it came, and what was computed from it."""

    data: bytes
    name: str
    computed: RollerPull


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
    gearing = _gearing(session, form) if read.engine_speed_rpm is None else None
    try:
        found = roller_pull(
            place,
            read.time_s,
            read.omega_rad_s,
            recorded_rpm=read.engine_speed_rpm,
            gearing=gearing,
            road_speed_measured=read.road_speed_measured,
            window_s=window,
        )
    except BadInput as error:
        error.field = "file"
        raise
    return Pull(data, name, found)


def _gearing(session: Session, form: RollersForm) -> Gearing | None:
    """The gearing as typed, else that of the chosen session's car and gear."""
    ratio = read_number(form.ratio, field="ratio", label="Ratio", lowest=0.1, highest=100)
    tyre = read_number(form.tyre, field="tyre", label="Tyre radius", lowest=0.05, highest=2, unit="m")
    if (ratio is None) != (tyre is None):
        raise BadInput("The ratio and the tyre's radius go together.", field="ratio" if ratio is None else "tyre")
    if ratio is not None and tyre is not None:
        return Gearing(ratio, tyre)
    if not form.session_id.strip().isdigit():
        return None
    return gearing_of(session, dyno.dyno_session(session, read_choice(form.session_id, field="session_id")))
