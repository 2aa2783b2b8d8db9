"""The form that opens a dyno session: what was typed, and its values in SI."""

from dataclasses import dataclass
from typing import Any

from app.actions.record_session import NewSession
from app.web.form import FormModel, read_choice, read_number
from app.web.units_view import UnitsView

PURPOSES = (
    ("baseline", "Baseline: the car as found"),
    ("measurement", "Measurement: after a change"),
    ("verification", "Verification: after a restore to stock"),
)


class SessionForm(FormModel):
    """Conditions of a session, as typed; `unit_<id>` fields are taken from the request by the route."""

    dyno_id: str = ""
    purpose: str = "measurement"
    correction_standard: str = "none"
    pressure: str = ""
    temperature: str = ""
    relative_humidity: str = ""
    gear: str = ""
    drive_mode: str = ""
    driven_axles: str = ""
    tyre: str = ""
    tyre_pressure: str = ""
    fuel: str = ""
    start_coolant: str = ""
    start_intake: str = ""
    battery_soc: str = ""
    note: str = ""
    attributed: str = ""


@dataclass(frozen=True, slots=True)
class _Number:
    field: str
    label: str
    quantity: str | None


_NUMBERS = {
    "pressure_hpa": _Number("pressure", "Ambient pressure", "pressure"),
    "temperature_c": _Number("temperature", "Ambient temperature", "temperature"),
    "relative_humidity_percent": _Number("relative_humidity", "Relative humidity", None),
    "tyre_pressure_bar": _Number("tyre_pressure", "Tyre pressure", "tyre pressure"),
    "start_coolant_c": _Number("start_coolant", "Coolant at start", "temperature"),
    "start_intake_c": _Number("start_intake", "Intake air at start", "temperature"),
    "battery_soc_percent": _Number("battery_soc", "State of charge", None),
}
# The form's field of each value that an act may refuse.
FIELD_OF = {key: number.field for key, number in _NUMBERS.items()}


def new_session(form: SessionForm, units: UnitsView) -> NewSession:
    """The session as the form tells it, in SI."""
    dyno_id = read_choice(
        form.dyno_id, field="dyno_id", sentence="Choose the dyno; add it first on the Dynos page if it is new."
    )
    values: dict[str, Any] = {}
    for key, spec in _NUMBERS.items():
        typed = read_number(getattr(form, spec.field), field=spec.field, label=spec.label)
        values[key] = typed if typed is None or spec.quantity is None else units.read(typed, spec.quantity)
    return NewSession(
        dyno_id=dyno_id,
        purpose=form.purpose,
        correction_standard=form.correction_standard,
        gear=form.gear,
        drive_mode=form.drive_mode,
        driven_axles=form.driven_axles,
        tyre=form.tyre,
        fuel=form.fuel,
        note=form.note,
        **values,
    )
