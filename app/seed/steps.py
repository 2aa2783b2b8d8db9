"""One function per kind of step in the demo's story; each calls the action of the same name."""

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import fields
from typing import Any

from sqlalchemy.orm import Session

from app.actions.add_control_unit import add_control_unit
from app.actions.add_dyno import add_dyno
from app.actions.add_inbox_item import add_inbox_item
from app.actions.add_layout import add_layout
from app.actions.add_person import add_person
from app.actions.add_read_back import add_read_back
from app.actions.add_runs import NewRuns, add_runs
from app.actions.add_stock_read import add_stock_read
from app.actions.attach_file import attach_file
from app.actions.begin_visit import begin_visit
from app.actions.change_settings import change_settings
from app.actions.check_identity import check_identity
from app.actions.decide_revision import decide_revision
from app.actions.decide_run import decide_run
from app.actions.end_visit import end_visit
from app.actions.keep_coding import keep_coding
from app.actions.log_flash import NewFlash, log_flash
from app.actions.log_revision import NewRevision, log_revision
from app.actions.record_economy_trial import record_economy_trial
from app.actions.record_first_start import record_first_start
from app.actions.record_session import NewSession, record_session
from app.actions.record_strip_run import record_strip_run
from app.actions.register_vehicle import NewVehicle, register_vehicle
from app.actions.scan_faults import scan_faults
from app.actions.set_limit import NewLimit, set_limit
from app.actions.waive_coding import waive_coding
from app.actions.write_coding_back import write_coding_back
from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.layout import VolatileRange
from app.calc.calibration.layout_edit import with_checksum, with_volatile
from app.calc.vehicle.identity import Identity
from app.readers.coding import read_coding
from app.readers.dyno_csv import read_dyno_csv
from app.readers.fault_list import read_fault_list
from app.readers.image import read_image
from app.readers.layout import read_layout
from app.record import flashes, layouts, vehicles
from app.record.settings import Shop
from app.record.tables import Person
from app.seed.restore_steps import RESTORE_STEPS
from app.seed.story import Story

Step = Mapping[str, Any]
Handler = Callable[[Session, Story, Any, dt.datetime, Step], None]


def _given(kind: type[Any], step: Step) -> dict[str, Any]:
    """The fields of a step that the dataclass `kind` has."""
    names = {one.name for one in fields(kind)}
    return {name: tuple(value) if isinstance(value, list) else value for name, value in step.items() if name in names}


def _set_up_workshop(session: Session, story: Story, person: Person | None, at: dt.datetime, step: Step) -> None:
    """The shop's name and zone; a first manager is needed to sign for it, so that person comes in here."""
    manager = add_person(session, person=None, at=at, name="Mira Talvik", role="manager", password=None)
    story.name("person", step["by"], manager.id)
    wanted = Shop(name=step["name"], time_zone=step["time_zone"])
    change_settings(session, person=manager, at=at, wanted=wanted)


def _add_person(session: Session, story: Story, person: Person | None, at: dt.datetime, step: Step) -> None:
    if ("person", step["label"]) in story.ids:
        return
    added = add_person(session, person=person, at=at, name=step["name"], role=step["role"], password=None)
    story.name("person", step["label"], added.id)


def _add_dyno(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    row = add_dyno(session, person=person, at=at, name=step["name"], note=step["note"])
    story.name("dyno", step["label"], row.id)


def _register_vehicle(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    row = register_vehicle(session, person=person, at=at, car=NewVehicle(**_given(NewVehicle, step)))
    story.name("vehicle", step["label"], row.id)


def _add_control_unit(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    unit = add_control_unit(
        session,
        person=person,
        at=at,
        vehicle_id=story.id("vehicle", step["vehicle"]),
        role=step["role"],
        hardware_number=step["hardware_number"],
        software_number=step["software_number"],
        calibration_ids=step["calibration_ids"],
        cvns=step["cvns"],
        base_address=step["base_address"],
    )
    story.name("unit", step["label"], unit.id)


def _check_identity(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    scanned = Identity(
        step["hardware_number"], step["software_number"], tuple(step["calibration_ids"]), tuple(step["cvns"])
    )
    unit_id = story.id("unit", step["control_unit"])
    row = check_identity(session, person=person, at=at, control_unit_id=unit_id, scanned=scanned)
    story.name("identity_check", step["control_unit"], row.id)


def _attach_file(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    data, name = story.bytes_of(step["file"])
    attach_file(
        session,
        person=person,
        at=at,
        vehicle_id=story.id("vehicle", step["vehicle"]),
        uploaded=data,
        file_name=name,
        kind=step["kind"],
        note=step["note"],
    )


def _scan_faults(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    text = story.bytes_of(step["file"])[0].decode()
    scan_faults(
        session,
        person=person,
        at=at,
        vehicle_id=story.id("vehicle", step["vehicle"]),
        faults=read_fault_list(text),
        text=text,
        occasion=step["occasion"],
    )


def _add_layout(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    """The file, and what a description file does not say, typed beside it."""
    data, name = story.bytes_of(step["file"])
    found = read_layout(data)
    definitions = found.layout
    for one in step["checksums"]:
        ranges = tuple((start, end) for start, end in one["ranges"])
        checksum = ChecksumDefinition(one["name"], one["algorithm"], ranges, one["stored_at"], one["byte_order"])
        definitions = with_checksum(definitions, checksum)
    for one in step["volatile"]:
        definitions = with_volatile(definitions, VolatileRange(one["start"], one["end"], one["reason"]))
    add_layout(
        session,
        person=person,
        at=at,
        name=step["name"],
        definitions=definitions,
        source=found.source,
        software_number=step["software_number"],
        uploaded=data,
        file_name=name,
        findings=found.findings,
    )


def _add_stock_read(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    data, name = story.bytes_of(step["file"])
    unit = vehicles.control_unit(session, story.id("unit", step["control_unit"]))
    add_stock_read(
        session,
        person=person,
        at=at,
        control_unit_id=unit.id,
        uploaded=data,
        file_name=name,
        read=read_image(data, base_address=unit.base_address),
    )


def _keep_coding(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    data, name = story.bytes_of(step["file"])
    row = keep_coding(
        session,
        person=person,
        at=at,
        vehicle_id=story.id("vehicle", step["vehicle"]),
        coding=read_coding(data),
        occasion=step["occasion"],
        uploaded=data,
        file_name=name,
    )
    story.name("coding", step["label"], row.id)


def _log_revision(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    data, name = story.bytes_of(step["file"])
    unit = vehicles.control_unit(session, story.id("unit", step["control_unit"]))
    matching = layouts.matching(session, software_number=unit.software_number)
    row = log_revision(
        session,
        person=person,
        at=at,
        control_unit_id=unit.id,
        revision=NewRevision(
            title=step["title"],
            purpose=step["purpose"],
            parent_id=story.maybe("revision", step["parent"]),
            layout_id=matching[0].id if matching else None,
            fuel_requirement=step["fuel_requirement"],
            hardware_requirement=step["hardware_requirement"],
        ),
        uploaded=data,
        file_name=name,
        read=read_image(data, base_address=unit.base_address),
    )
    story.name("revision", step["label"], row.id)


def _log_flash(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    row = log_flash(
        session,
        person=person,
        at=at,
        control_unit_id=story.id("unit", step["control_unit"]),
        flash=NewFlash(
            revision_id=story.maybe("revision", step["revision"]),
            outcome=step["outcome"],
            supply_before_v=step["supply_before_v"],
            supply_lowest_v=step["supply_lowest_v"],
            note=step["note"],
            flashed_at=at,
        ),
    )
    story.name("flash", step["label"], row.id)


def _add_read_back(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    data, name = story.bytes_of(step["file"])
    flash_id = story.id("flash", step["flash"])
    unit = vehicles.control_unit(session, flashes.flash(session, flash_id).control_unit_id)
    add_read_back(
        session,
        person=person,
        at=at,
        flash_id=flash_id,
        uploaded=data,
        file_name=name,
        read=read_image(data, base_address=unit.base_address),
    )


def _write_coding_back(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    write_coding_back(
        session,
        person=person,
        at=at,
        flash_id=story.id("flash", step["flash"]),
        wanted_snapshot_id=story.id("coding", step["wanted_snapshot"]),
        read_snapshot_id=story.id("coding", step["read_snapshot"]),
    )


def _waive_coding(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    waive_coding(session, person=person, at=at, flash_id=story.id("flash", step["flash"]), reason=step["reason"])


def _record_first_start(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    record_first_start(session, person=person, at=at, flash_id=story.id("flash", step["flash"]), note=step["note"])


def _record_session(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    given = _given(NewSession, step)
    given |= {"dyno_id": story.id("dyno", step["dyno"]), "measured_at": at}
    row = record_session(
        session,
        person=person,
        at=at,
        vehicle_id=story.id("vehicle", step["vehicle"]),
        conditions=NewSession(**given),
    )
    story.name("session", step["label"], row.id)


def _add_runs(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    data, name = story.bytes_of(step["file"])
    runs = NewRuns.of_file(
        read_dyno_csv(data),
        start_coolant_c=step["start_coolant_c"],
        start_intake_c=step["start_intake_c"],
        battery_soc_percent=step["battery_soc_percent"],
    )
    session_id = story.id("session", step["session"])
    added = add_runs(
        session, person=person, at=at, dyno_session_id=session_id, uploaded=data, file_name=name, runs=runs
    )
    story.name("run", step["label"], added[0].id)


def _decide_run(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    run_id = story.id("run", step["run"])
    decide_run(session, person=person, at=at, run_id=run_id, included=step["included"], reason=step["reason"])


def _decide_revision(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    decide_revision(
        session,
        person=person,
        at=at,
        revision_id=story.id("revision", step["revision"]),
        decision=step["decision"],
        reason=step.get("reason", ""),
        legal_basis=step.get("legal_basis", ""),
    )


def _set_limit(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    limit = NewLimit(**_given(NewLimit, step))
    set_limit(session, person=person, at=at, vehicle_id=story.id("vehicle", step["vehicle"]), limit=limit)


def _record_strip_run(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    record_strip_run(
        session,
        person=person,
        at=at,
        vehicle_id=story.id("vehicle", step["vehicle"]),
        results=step["results"],
        place=step["place"],
        how=step["how"],
        note=step["note"],
    )


def _record_economy_trial(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    record_economy_trial(
        session,
        person=person,
        at=at,
        vehicle_id=story.id("vehicle", step["vehicle"]),
        distance_km=step["distance_km"],
        fuel_l=step["fuel_l"],
        conditions=step["conditions"],
    )


def _begin_visit(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    vehicle_id = story.id("vehicle", step["vehicle"])
    begin_visit(
        session, person=person, at=at, vehicle_id=vehicle_id, reason=step["reason"], odometer_km=step["odometer_km"]
    )


def _end_visit(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    end_visit(session, person=person, at=at, vehicle_id=story.id("vehicle", step["vehicle"]))


def _import_runs(session: Session, story: Story, person: Person, at: dt.datetime, step: Step) -> None:
    for file in step["files"]:
        data, name = story.bytes_of(file)
        found = read_dyno_csv(data)
        add_inbox_item(session, person=person, at=at, uploaded=data, file_name=name, found=found, recorded_at=at)


STEPS: dict[str, Handler] = {
    "set_up_workshop": _set_up_workshop,
    "add_person": _add_person,
    "add_dyno": _add_dyno,
    "register_vehicle": _register_vehicle,
    "add_control_unit": _add_control_unit,
    "check_identity": _check_identity,
    "attach_file": _attach_file,
    "scan_faults": _scan_faults,
    "add_layout": _add_layout,
    "add_stock_read": _add_stock_read,
    "keep_coding": _keep_coding,
    "log_revision": _log_revision,
    "log_flash": _log_flash,
    "add_read_back": _add_read_back,
    "write_coding_back": _write_coding_back,
    "waive_coding": _waive_coding,
    "record_first_start": _record_first_start,
    "record_session": _record_session,
    "add_runs": _add_runs,
    "decide_run": _decide_run,
    "decide_revision": _decide_revision,
    "set_limit": _set_limit,
    "record_strip_run": _record_strip_run,
    "record_economy_trial": _record_economy_trial,
    "begin_visit": _begin_visit,
    "end_visit": _end_visit,
    "import_runs": _import_runs,
    **RESTORE_STEPS,
}
