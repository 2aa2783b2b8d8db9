"""Open a back-to-stock case for a car."""

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.restore.plan import Plan, RestoreUnit, build_plan
from app.errors import BadInput, Conflict
from app.record import flashes, journal, restore_pulls, restores, stocks, vehicles
from app.record.tables import ControlUnit, Person, Restore, Vehicle

MARGIN_PERCENT = (0.1, 20.0)


@dataclass(frozen=True, slots=True)
class NewRestore:
    """Why, which control units, and what the steps compare with; None where the record holds nothing to compare."""

    reason: str
    unit_ids: tuple[int, ...]
    coding_snapshot_id: int | None
    baseline_session_id: int | None
    margin_percent: float
    two_sign_offs: bool = False


def open_restore(session: Session, *, person: Person, at: dt.datetime, vehicle_id: int, wanted: NewRestore) -> Restore:
    """Keep the case with its plan; it takes the place of an earlier case of the car that has no certificate."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    reason = " ".join(wanted.reason.split())
    if not reason:
        raise BadInput("Write why the car goes back to stock, for example “warranty visit”.", field="reason")
    low, high = MARGIN_PERCENT
    if not low <= wanted.margin_percent <= high:
        raise BadInput(f"The margin must be from {low:g} to {high:g} %.", field="margin_percent")
    _check_comparisons(session, vehicle, wanted)
    plan = _plan(session, vehicle, wanted)
    row = Restore(
        vehicle_id=vehicle.id,
        number=restores.next_number(session, vehicle.id),
        reason=reason,
        two_sign_offs=wanted.two_sign_offs,
        margin_percent=wanted.margin_percent,
        coding_snapshot_id=wanted.coding_snapshot_id,
        baseline_session_id=wanted.baseline_session_id,
        steps=plan.to_json(),
        at=at,
        by_id=person.id,
    )
    session.add(row)
    session.flush()
    journal.append(
        session,
        at=at,
        person=person,
        action="open restore",
        sentence=f"Restore {row.number} opened: {reason}",
        vehicle_id=vehicle.id,
        subject=("restore", row.id),
        facts={"control_unit_ids": list(wanted.unit_ids), "margin_percent": wanted.margin_percent},
    )
    return row


def _check_comparisons(session: Session, vehicle: Vehicle, wanted: NewRestore) -> None:
    if wanted.coding_snapshot_id is not None:
        snapshot = flashes.coding_snapshot(session, wanted.coding_snapshot_id)
        if snapshot.vehicle_id != vehicle.id:
            raise Conflict("That coding snapshot is of another car.", field="coding_snapshot_id")
    if wanted.baseline_session_id is not None:
        known = {row.id for row in restore_pulls.baselines(session, vehicle.id)}
        if wanted.baseline_session_id not in known:
            raise Conflict(
                "The baseline must be a session of this car that was measured on stock; choose another.",
                field="baseline_session_id",
            )


def _plan(session: Session, vehicle: Vehicle, wanted: NewRestore) -> Plan:
    own = {unit.id: unit for unit in vehicles.control_units(session, vehicle.id)}
    for unit_id in wanted.unit_ids:
        if unit_id not in own:
            raise Conflict("That control unit belongs to another car.", field="unit_ids")
    chosen = [own[unit_id] for unit_id in wanted.unit_ids]
    confirmed = stocks.current_of(session, wanted.unit_ids)
    names = _names(chosen)
    return build_plan(
        [RestoreUnit(unit.id, names[unit.id], unit.id in confirmed) for unit in chosen],
        coding_snapshot=wanted.coding_snapshot_id is not None,
        baseline=wanted.baseline_session_id is not None,
        high_voltage=vehicle.hybrid or vehicle.fuel == "electric",
        two_sign_offs=wanted.two_sign_offs,
    )


def _names(units: Sequence[ControlUnit]) -> dict[int, str]:
    """The role, with the hardware number where two units share it."""
    count = Counter(unit.role for unit in units)
    return {u.id: u.role if count[u.role] == 1 else f"{u.role} ({u.hardware_number})" for u in units}
