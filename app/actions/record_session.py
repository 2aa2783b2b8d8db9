"""Open a dyno session: pulls of one car under one set of conditions."""

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict, dataclass

from sqlalchemy.orm import Session

from app.calc.dyno.correction import STANDARDS
from app.errors import BadInput, Conflict
from app.record import attributions, dyno, journal, revisions, vehicles
from app.record.tables import Attribution, DynoSession, Person

PURPOSES = ("baseline", "measurement", "verification")
_RANGES = {
    "pressure_hpa": (300.0, 1200.0, "hPa"),
    "temperature_c": (-60.0, 70.0, "°C"),
    "relative_humidity_percent": (0.0, 100.0, "%"),
    "battery_soc_percent": (0.0, 100.0, "%"),
    "tyre_pressure_bar": (0.5, 6.0, "bar"),
}


@dataclass(frozen=True, slots=True)
class NewSession:
    """The conditions; None and empty text mean not recorded."""

    dyno_id: int
    purpose: str = "measurement"
    correction_standard: str = "none"
    pressure_hpa: float | None = None
    temperature_c: float | None = None
    relative_humidity_percent: float | None = None
    gear: str = ""
    drive_mode: str = ""
    driven_axles: str = ""
    tyre: str = ""
    tyre_pressure_bar: float | None = None
    fuel: str = ""
    start_coolant_c: float | None = None
    start_intake_c: float | None = None
    battery_soc_percent: float | None = None
    note: str = ""
    measured_at: dt.datetime | None = None


def record_session(
    session: Session,
    *,
    person: Person,
    at: dt.datetime,
    vehicle_id: int,
    conditions: NewSession,
    attributed: Mapping[int, int | None] | None = None,
) -> DynoSession:
    """Record the session and what was on each control unit.

    `attributed` maps control unit id → revision id (None: stock); without it the flash log's suggestion is taken.
    """
    vehicle = vehicles.vehicle(session, vehicle_id)
    place = dyno.dyno(session, conditions.dyno_id).name
    _check(conditions)
    fields = asdict(conditions)
    fields["measured_at"] = conditions.measured_at or at
    fields["driven_axles"] = conditions.driven_axles or vehicle.driven_axles
    row = DynoSession(vehicle_id=vehicle.id, at=at, by_id=person.id, **fields)
    session.add(row)
    session.flush()
    suggestion = attributions.suggested(session, vehicle.id, row.measured_at)
    chosen = {**suggestion, **(attributed or {})}
    if set(chosen) != set(suggestion):
        raise Conflict("A control unit that the session is attributed to belongs to another car.", field="attributed")
    for unit_id, revision_id in chosen.items():
        if revision_id is not None:
            revisions.require_same_unit(revisions.revision(session, revision_id), unit_id)
        confirmed = (
            "confirmed when the session was recorded" if attributed is not None else "from the flash log by time"
        )
        session.add(
            Attribution(
                dyno_session_id=row.id,
                control_unit_id=unit_id,
                revision_id=revision_id,
                reason=confirmed,
                at=at,
                by_id=person.id,
            )
        )
    journal.append(
        session,
        at=at,
        person=person,
        action="record dyno session",
        sentence=f"Dyno session opened on {place}: {row.purpose}, {_corrected(row.correction_standard)}.",
        vehicle_id=vehicle.id,
        subject=("dyno_session", row.id),
        facts={
            "attributed": {str(unit): revision for unit, revision in chosen.items()},
            "suggested_agrees": chosen == suggestion,
        },
    )
    return row


def _corrected(standard: str) -> str:
    return "not corrected" if standard == "none" else f"corrected to {STANDARDS[standard]}"


def _check(conditions: NewSession) -> None:
    if conditions.purpose not in PURPOSES:
        raise BadInput(f"The purpose is one of {', '.join(PURPOSES)}.", field="purpose")
    if conditions.correction_standard not in STANDARDS:
        raise BadInput(
            f"“{conditions.correction_standard}” is no correction standard; choose one of {', '.join(STANDARDS)}.",
            field="correction_standard",
        )
    for field, (low, high, unit) in _RANGES.items():
        value = getattr(conditions, field)
        if value is not None and not low <= value <= high:
            raise BadInput(
                f"{value:g} {unit} lies outside {low:g} to {high:g} {unit}; check the value and its unit.", field=field
            )
    needs_air = conditions.correction_standard != "none"
    if needs_air and (conditions.pressure_hpa is None or conditions.temperature_c is None):
        raise BadInput(
            "This correction standard needs ambient pressure and temperature; type both, or choose no correction.",
            field="pressure_hpa" if conditions.pressure_hpa is None else "temperature_c",
        )
