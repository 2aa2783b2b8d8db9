"""What the list of a car's restores shows, and the form for a new one."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from app.calc.number_text import counted
from app.errors import AppError
from app.pages.restore.forms import OpenForm
from app.pages.restore.words import name_of, session_words
from app.record import car_state, flashes, restore_pulls, restores, vehicles
from app.record.car_state import vehicle_label
from app.record.restore_defaults import proposed
from app.record.restores import Case
from app.record.tables import Person
from app.web.form import text_of
from app.web.page import when

REASONS = (
    "Warranty visit",
    "Sale of the car",
    "End of a test",
    "Return of a lease",
    "Inspection",
    "The customer's wish",
)
Choice = tuple[str, str]


@dataclass(frozen=True, slots=True)
class CaseRow:
    number: int
    href: str
    reason: str
    opened_at: datetime
    opened_by: str
    state: str
    state_text: str
    sentence: str


@dataclass(frozen=True, slots=True)
class UnitChoice:
    id: int
    label: str
    on_now: str
    chosen: bool


@dataclass(frozen=True, slots=True)
class RestoreListPage:
    vehicle_id: int
    vehicle: str
    cases: tuple[CaseRow, ...]
    open_number: int | None
    may_open: bool
    units: tuple[UnitChoice, ...]
    snapshots: tuple[Choice, ...]
    baselines: tuple[Choice, ...]
    reasons: tuple[str, ...]
    values: dict[str, str]
    errors: dict[str, str]
    sentence: str


def list_page(
    session: Session, vehicle_id: int, person: Person, form: OpenForm | None = None, error: AppError | None = None
) -> RestoreListPage:
    """The cases of a car and the form for a new one, filled with what the record proposes."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    defaults = proposed(session, vehicle_id)
    if form is None:
        form = OpenForm(
            unit_ids=list(defaults.unit_ids),
            coding_snapshot_id="" if defaults.coding_snapshot_id is None else str(defaults.coding_snapshot_id),
            baseline_session_id="" if defaults.baseline_session_id is None else str(defaults.baseline_session_id),
            margin_percent=f"{defaults.margin_percent:g}",
        )
    cases = restores.of_vehicle(session, vehicle_id)
    return RestoreListPage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        cases=tuple(_case_row(session, case) for case in cases),
        open_number=next((c.restore.number for c in cases if c.is_open), None),
        may_open=person.role in ("tuner", "manager"),
        units=_unit_choices(session, vehicle_id, form.unit_ids),
        snapshots=tuple(
            (str(row.id), f"{when(row.at)}, {row.occasion}, {counted(row.keys, 'value')}")
            for row in reversed(flashes.coding_snapshots(session, vehicle_id))
        ),
        baselines=tuple(
            (str(row.id), session_words(session, row)) for row in restore_pulls.baselines(session, vehicle_id)
        ),
        reasons=REASONS,
        values=text_of(form),
        errors={} if error is None else {"units" if error.field == "unit_ids" else error.field or "": error.sentence},
        sentence="" if error is None else error.sentence,
    )


def _unit_choices(session: Session, vehicle_id: int, chosen: Collection[int]) -> tuple[UnitChoice, ...]:
    units = vehicles.control_units(session, vehicle_id)
    states = car_state.on_units(session, [unit.id for unit in units])
    return tuple(
        UnitChoice(
            unit.id,
            f"{unit.role.capitalize()} ({unit.hardware_number})",
            states[unit.id].sentence,
            unit.id in chosen,
        )
        for unit in units
    )


def _case_row(session: Session, case: Case) -> CaseRow:
    restore = case.restore
    state, sentence = "attention", case.progress.sentence
    if case.certificate is not None:
        state, sentence = "ok", str(case.certificate.body["headline"])
    elif case.abandonment is not None:
        state, sentence = "unknown", case.abandonment.reason
    elif case.replaced_by is not None:
        state = "unknown"
    return CaseRow(
        restore.number,
        f"/restores/{restore.id}",
        restore.reason,
        restore.at,
        name_of(session, restore.by_id),
        state,
        case.standing,
        sentence,
    )
