"""What a car's page shows, built from the record."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from app.actions.attach_file import KINDS
from app.calc.calibration.tree_layout import positions
from app.calc.vehicle.car_state import OnUnit
from app.pages.today import Waiting, waiting_of
from app.pages.vehicle.done import Done, done_of
from app.pages.vehicle.history import history
from app.record import (
    attention,
    car_state,
    customers,
    flashes,
    layouts,
    people,
    revisions,
    stocks,
    timeline,
    unit_gains,
    vehicles,
)
from app.record.tables import ControlUnit, Person, Revision, RevisionDecision, Stock, Vehicle
from app.web.page import difference, when
from app.web.units_view import units_of

# A larger picture is offered as a download: it would make the page wait on the workshop's network.
LARGEST_SHOWN = 12 << 20


@dataclass(frozen=True, slots=True)
class UnitView:
    """One control unit: numbers, what is on it, what can be done next."""

    id: int
    role: str
    hardware_number: str
    software_number: str
    calibration_ids: tuple[str, ...]
    cvns: tuple[str, ...]
    on_now: str
    state: str
    stock: str
    stock_digest: str | None
    layout: tuple[str, str] | None
    shares_stock_with: tuple[tuple[str, str], ...]
    tree: tuple[dict[str, Any], ...]
    revisions: int


@dataclass(frozen=True, slots=True)
class FileView:
    id: int
    name: str
    kind: str
    note: str
    at: datetime
    by: str
    size: int
    picture: bool
    digest: str


@dataclass(frozen=True, slots=True)
class FileBack:
    """A file that no longer counts for the car."""

    id: int
    name: str
    at: datetime
    reason: str


@dataclass(frozen=True, slots=True)
class FilesTyped:
    """The forms about files as typed. errors : sentences under the ids of their fields."""

    kind: str = ""
    note: str = ""
    reason: str = ""
    withdrawing: bool = False
    errors: dict[str, str] = field(default_factory=dict)
    sentence: str = ""


@dataclass(frozen=True, slots=True)
class VehiclePage:
    id: int
    label: str
    lead: str
    facts: tuple[tuple[str, str | None], ...]
    numbers: dict[str, float | None]
    pinned: bool
    in_shop: bool
    hybrid: bool
    may_tune: bool
    waiting: tuple[Waiting, ...]
    units: tuple[UnitView, ...]
    entries: tuple[dict[str, Any], ...]
    topics: tuple[tuple[str, str, bool], ...]
    more: str | None
    files: tuple[FileView, ...]
    files_typed: FilesTyped
    taken_back: tuple[FileBack, ...]
    recognised: tuple[FileView, ...]
    done: Done | None
    links: tuple[tuple[str, str], ...]
    visit: dict[str, str]
    visit_sentence: str


_NOTHING_TYPED = FilesTyped()


def vehicle_page(
    session: Session,
    vehicle_id: int,
    person: Person,
    *,
    topic: str | None = None,
    before: int | None = None,
    visit: dict[str, str] | None = None,
    visit_sentence: str = "",
    files_typed: FilesTyped = _NOTHING_TYPED,
    recognised: Collection[int] = (),
    done: str = "",
) -> VehiclePage:
    """Everything about one car; `visit` and its sentence show an arrival that was refused again, `recognised` the
    files that were sent although the car has them, `done` what was just done (see `done_of`)."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    units = vehicles.control_units(session, vehicle.id)
    states = car_state.on_units(session, [unit.id for unit in units])
    entries, below = history(session, vehicle.id, units_of(person), topic=topic, before=before)
    base = f"/vehicles/{vehicle.id}"
    more = None
    if below is not None:
        more = f"{base}?before={below}" + (f"&topic={topic}" if topic else "") + "#history"
    waiting = waiting_of(attention.of_vehicles(session, [vehicle]), person)
    topics = [("Everything", f"{base}#history", topic is None)]
    topics += [(name.capitalize(), f"{base}?topic={name}#history", topic == name) for name in timeline.TOPICS]
    owner = vehicles.customer(session, vehicle.customer_id)
    files = _files(session, vehicle.id)
    return VehiclePage(
        id=vehicle.id,
        label=car_state.vehicle_label(vehicle),
        lead=f"{_lead(units, states)} {_needs(session, states)}".strip(),
        facts=_facts(vehicle, customers.shown_name(owner)),
        numbers=_numbers(session, vehicle),
        pinned=vehicle.pinned,
        in_shop=vehicles.open_visit(session, vehicle.id) is not None,
        hybrid=vehicle.hybrid,
        may_tune=person.role != "front_desk",
        waiting=waiting,
        units=tuple(_unit(session, vehicle, unit, states[unit.id]) for unit in units),
        entries=entries,
        topics=tuple(topics),
        more=more,
        files=files,
        files_typed=files_typed,
        taken_back=tuple(
            FileBack(row.id, row.file_name, gone.at, gone.reason)
            for row, gone in vehicles.taken_back(session, vehicle.id)
        ),
        recognised=tuple(one for one in files if one.id in recognised),
        done=done_of(session, vehicle, done),
        links=(
            ("Coding", f"{base}/coding"),
            ("Faults", f"{base}/fault-scans"),
            ("Limits", f"{base}/limits"),
            ("Strip and economy", f"{base}/results"),
            ("Change details", f"{base}/edit"),
            ("Customer", f"{base}/customer"),
            ("Key tag label", f"{base}/label"),
            ("History", "#history"),
            ("Files", "#files"),
        ),
        visit=visit or {"reason": "", "odometer": ""},
        visit_sentence=visit_sentence,
    )


def _lead(units: Sequence[ControlUnit], states: dict[int, OnUnit]) -> str:
    if not units:
        return "No control unit on record yet: add the one you work on."
    return " ".join(f"{unit.role.capitalize()}: {states[unit.id].sentence}" for unit in units)


def _needs(session: Session, states: dict[int, OnUnit]) -> str:
    """What the revisions on the car ask for: said at the desk before the car is filled up or repaired."""
    on_car = (state.revision_id for state in states.values())
    rows = [revisions.revision(session, revision_id) for revision_id in on_car if revision_id is not None]
    asked = [*(row.fuel_requirement for row in rows), *(row.hardware_requirement for row in rows)]
    needs = list(dict.fromkeys(need for need in asked if need))
    return f"It needs: {'; '.join(needs)}." if needs else ""


def _facts(vehicle: Vehicle, owner: str | None) -> tuple[tuple[str, str | None], ...]:
    drive = "all wheels" if vehicle.driven_axles == "all" else vehicle.driven_axles
    traits = [vehicle.fuel] + (["boosted"] if vehicle.boosted else []) + (["hybrid"] if vehicle.hybrid else [])
    return (
        ("VIN", vehicle.vin),
        ("Plate", vehicle.plate or None),
        ("Customer", owner),
        ("Model year", None if vehicle.year is None else str(vehicle.year)),
        ("Engine", f"{vehicle.engine} ({', '.join(traits)})" if vehicle.engine else ", ".join(traits)),
        ("Driven", drive),
        ("Tyre", vehicle.tyre or None),
        ("Legal basis of use", vehicle.legal_basis or None),
        ("Loses coding when flashed", "yes" if vehicle.loses_coding else "no"),
    )


def _numbers(session: Session, vehicle: Vehicle) -> dict[str, float | None]:
    odometer = vehicles.odometer_km(session, vehicle.id)
    return {
        "power": vehicle.rated_power_kw,
        "torque": vehicle.rated_torque_nm,
        "mass": vehicle.test_mass_kg,
        "distance": None if odometer is None else odometer[0],
    }


def _files(session: Session, vehicle_id: int) -> tuple[FileView, ...]:
    names = people.names(session)
    return tuple(
        FileView(
            row.id,
            row.file_name,
            KINDS[row.kind],
            row.note,
            row.at,
            names.get(row.by_id, "the program"),
            row.size,
            row.picture is not None and row.size <= LARGEST_SHOWN,
            row.sha256,
        )
        for row in vehicles.attachments(session, vehicle_id)
    )


def _unit(session: Session, vehicle: Vehicle, unit: ControlUnit, state: OnUnit) -> UnitView:
    stock = stocks.current(session, unit.id)
    suggestion = layouts.matching(
        session, software_number=unit.software_number, sha256=None if stock is None else stock.sha256
    )
    shared = () if stock is None or stock.sha256 is None else stocks.sharing(session, stock.sha256)
    rows = revisions.of_unit(session, unit.id)
    return UnitView(
        id=unit.id,
        role=unit.role,
        hardware_number=unit.hardware_number,
        software_number=unit.software_number,
        calibration_ids=tuple(unit.calibration_ids),
        cvns=tuple(unit.cvns),
        on_now=state.sentence,
        state=_look(state),
        stock=_stock_sentence(stock),
        stock_digest=None if stock is None else stock.sha256,
        layout=(f"{suggestion[0].name} v{suggestion[0].version}", f"/layouts/{suggestion[0].id}")
        if suggestion
        else None,
        shares_stock_with=tuple(
            (car_state.vehicle_label(other), f"/vehicles/{other.id}") for other, _ in shared if other.id != vehicle.id
        ),
        tree=tree_nodes(session, unit, stock, rows, state),
        revisions=len(rows),
    )


def _look(state: OnUnit) -> str:
    if state.checksum_broken:
        return "danger"
    if state.kind == "unknown":
        return "unknown"
    return "info" if state.certainty == "from the flash log" else "ok"


_SUB_FITS = 24


def _stock_sentence(stock: Stock | None) -> str:
    if stock is None or stock.crc32 is None:
        return "not confirmed"
    again = "" if stock.generation == 1 else f", generation {stock.generation}"
    return f"confirmed {when(stock.at)}{again}, CRC-32 {stock.crc32:08X}"


def tree_nodes(
    session: Session, unit: ControlUnit, stock: Stock | None, rows: Sequence[Revision], state: OnUnit
) -> tuple[dict[str, Any], ...]:
    """Nodes of the revision tree for the tree component."""
    if stock is None and not rows:
        return ()
    decisions = revisions.decisions(session, [row.id for row in rows])
    flashed = {r.flash.revision_id for r in flashes.of_units(session, [unit.id]) if r.flash.outcome == "completed"}
    measured = unit_gains.glances(session, unit.id)
    places = positions({row.id: row.parent_id for row in rows}, [row.id for row in rows])
    nodes: list[dict[str, Any]] = [
        {
            "key": "stock",
            "x": 0,
            "y": 0,
            "label": "Stock",
            "sub": "confirmed" if stock is not None else "not confirmed",
            "href": f"/control-units/{unit.id}",
            "state": "ok" if stock is not None else "unknown",
            "state_text": "on the car now" if state.kind == "stock" else "stock",
            "parent": None,
            "current": state.kind == "stock",
        }
    ]
    for row in rows:
        word, look = _decided(decisions.get(row.id), row.id in flashed)
        computed = row.kind == "ported"
        nodes.append(
            {
                "key": row.id,
                "x": places[row.id][0],
                "y": places[row.id][1],
                "label": f"{row.number} {row.title}",
                "sub": "computed, not validated" if computed else _sub(word, measured.get(row.id)),
                "href": f"/revisions/{row.id}",
                "state": "attention" if computed else look,
                "state_text": f"{word}; computed, not validated on a vehicle" if computed else word,
                "parent": row.parent_id or "stock",
                "current": state.revision_id == row.id,
            }
        )
    return tuple(nodes)


def _sub(word: str, measured: unit_gains.Glance | None) -> str:
    """The second line of a node: what was decided and the gain over stock, as far as both fit."""
    if measured is None:
        return word
    gain = difference(measured.gain_kw, "power", measured.half_kw)
    return f"{word}, {gain}" if len(word) + len(gain) < _SUB_FITS else gain


def _decided(decision: RevisionDecision | None, flashed: bool) -> tuple[str, str]:
    if decision is not None:
        looks = {"released": "ok", "kept": "info", "withdrawn": "unknown"}
        return decision.decision, looks[decision.decision]
    return ("flashed, not decided", "info") if flashed else ("draft", "unknown")
