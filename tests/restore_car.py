"""A tuned car on record, made through the acts that people do, with everything a restore to stock compares with."""

import datetime as dt
import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.actions.add_control_unit import add_control_unit
from app.actions.add_dyno import add_dyno
from app.actions.add_read_back import add_read_back
from app.actions.add_runs import NewRuns, add_runs
from app.actions.add_stock_read import add_stock_read
from app.actions.close_restore_step import close_restore_step
from app.actions.keep_coding import keep_coding
from app.actions.log_flash import NewFlash, log_flash
from app.actions.log_revision import NewRevision, log_revision
from app.actions.open_restore import NewRestore, open_restore
from app.actions.override_restore_step import override_restore_step
from app.actions.record_session import NewSession, record_session
from app.actions.register_vehicle import NewVehicle, register_vehicle
from app.actions.scan_faults import scan_faults
from app.actions.write_coding_back import write_coding_back
from app.calc.restore.verdicts import Part
from app.calc.vehicle.identity import Identity
from app.readers.coding import read_coding
from app.readers.dyno_csv import read_dyno_csv
from app.readers.fault_list import read_fault_list
from app.readers.image import read_image
from app.record import people, restores
from app.record.engine import transaction
from app.record.passwords import hash_password
from app.record.restore_evidence import (
    CodingRead,
    CodingStated,
    Evidence,
    FaultsRead,
    FlashDone,
    IdentityScanned,
    PartsSeen,
    ReadBackFile,
    ReadinessRead,
    StockHashed,
    SupplyMeasured,
)
from app.record.tables import JournalEntry, Person, RestoreStep

START = dt.datetime(2026, 3, 2, 8, 0, tzinfo=dt.UTC)
OPENED = dt.datetime(2026, 9, 7, 9, 0, tzinfo=dt.UTC)
STOCK = random.Random(20260302).randbytes(8192)
TUNED = STOCK[:0x400] + bytes(byte ^ 0x11 for byte in STOCK[0x400:0x440]) + STOCK[0x440:]
CODING = b"module;key;value\nBody;long coding;0A 1F 22\nBody;market;EU\nGauges;variant;03\n"
OTHER_CODING = CODING.replace(b"0A 1F 22", b"0A 1E 22")
FOUND = "P0171 System too lean bank 1 confirmed\n"
NO_FAULTS = "No faults stored.\n"
PARTS = "Air filter, panel type; exhaust"
READY = "0007E500"
IDENTITY = Identity("HW-2204", "SW-77A", ("TK36N5507C",), ())
PASSWORD = "quiet copper river"


@dataclass(frozen=True, slots=True)
class Car:
    """The ids of what is on record."""

    vehicle_id: int
    unit_id: int
    stock_id: int
    revision_id: int
    coding_id: int
    baseline_id: int
    dyno_id: int


def tuned_car(session: Session, person: Person, *, vin: str = "30KLN3C62NB004518", stock: bytes = STOCK) -> Car:
    """Intake, stock, coding, baseline, one revision written with its coding put back."""
    at = START
    vehicle = register_vehicle(
        session,
        person=person,
        at=at,
        car=NewVehicle(vin, "EB 18 LNR", "Tarkess", "Lanner 3.6", customer_name="B. Croy", odometer_km=41960.0),
    )
    unit = add_control_unit(
        session,
        person=person,
        at=at,
        vehicle_id=vehicle.id,
        role="engine",
        hardware_number="HW-2204",
        software_number="SW-77A",
        calibration_ids=["TK36N5507C"],
        cvns=["0A94D17E"],
        base_address=0x8000,
    )
    found = read_fault_list(FOUND)
    scan_faults(session, person=person, at=at, vehicle_id=vehicle.id, faults=found, text=FOUND, occasion="as found")
    taken = None
    for name in ("read-1.bin", "read-2.bin"):
        read = read_image(stock, base_address=0x8000)
        taken = add_stock_read(
            session, person=person, at=at, control_unit_id=unit.id, uploaded=stock, file_name=name, read=read
        )
    assert taken is not None
    assert taken.stock is not None
    coding = keep_coding(
        session, person=person, at=at, vehicle_id=vehicle.id, coding=read_coding(CODING), occasion="as found"
    )
    dyno = add_dyno(session, person=person, at=at, name=f"Bay {vin[-4:]}")
    baseline = record_session(
        session, person=person, at=at, vehicle_id=vehicle.id, conditions=NewSession(dyno.id, purpose="baseline")
    )
    measured(session, person, baseline.id, at, levels=(1.0, 1.004, 0.997))
    revision_id = _tuned(session, person, unit.id, stock, coding.id, vehicle.id)
    return Car(vehicle.id, unit.id, taken.stock.id, revision_id, coding.id, baseline.id, dyno.id)


def car_to_restore(engine: Engine) -> Car:
    """The same on record, where the tuner and the manager of the application have `PASSWORD`."""
    with transaction(engine) as session:
        staff = [person for person in people.everyone(session) if person.name in ("tuner", "manager")]
        hashed = hash_password(PASSWORD)
        for person in staff:
            person.password_hash = hashed
        return tuned_car(session, next(person for person in staff if person.name == "tuner"))


def _tuned(session: Session, person: Person, unit_id: int, stock: bytes, coding_id: int, vehicle_id: int) -> int:
    at = START + dt.timedelta(days=1)
    tuned = stock[:0x400] + bytes(byte ^ 0x11 for byte in stock[0x400:0x440]) + stock[0x440:]
    read = read_image(tuned, base_address=0x8000)
    revision = log_revision(
        session,
        person=person,
        at=at,
        control_unit_id=unit_id,
        revision=NewRevision("Upper range", "More from 3,500 1/min up", hardware_requirement=PARTS),
        uploaded=tuned,
        file_name="r1.bin",
        read=read,
    )
    flash = log_flash(
        session,
        person=person,
        at=at,
        control_unit_id=unit_id,
        flash=NewFlash(revision.id, "completed", 13.6, 13.4),
    )
    add_read_back(session, person=person, at=at, flash_id=flash.id, uploaded=tuned, file_name="back.bin", read=read)
    again = keep_coding(
        session, person=person, at=at, vehicle_id=vehicle_id, coding=read_coding(CODING), occasion="after write-back"
    )
    write_coding_back(
        session, person=person, at=at, flash_id=flash.id, wanted_snapshot_id=coding_id, read_snapshot_id=again.id
    )
    return revision.id


def pull_file(level: float) -> bytes:
    """One pull as a dyno writes it; torque in N·m at `level` times the car's curve."""
    rows = ["Engine speed (rpm),Torque (Nm)"]
    for speed in range(2000, 6800, 20):
        torque = level * (250 + 90 * math.sin((speed - 2000) / 1700) + 0.4 * math.sin(speed / 37))
        rows.append(f"{speed},{torque:.2f}")
    return "\n".join(rows).encode()


def measured(session: Session, person: Person, session_id: int, at: dt.datetime, *, levels: Sequence[float]) -> None:
    """Pulls of one session, each from its own file."""
    for number, level in enumerate(levels, start=1):
        data = pull_file(level)
        add_runs(
            session,
            person=person,
            at=at,
            dyno_session_id=session_id,
            uploaded=data,
            file_name=f"pull-{number}.csv",
            runs=NewRuns.of_file(read_dyno_csv(data)),
        )


def verification(
    session: Session, person: Person, car: Car, at: dt.datetime, *, levels: Sequence[float], **told: dt.datetime
) -> int:
    """A session of verification pulls; returns its id."""
    conditions = NewSession(car.dyno_id, purpose="verification", **told)
    row = record_session(session, person=person, at=at, vehicle_id=car.vehicle_id, conditions=conditions)
    measured(session, person, row.id, at, levels=levels)
    return row.id


def opened(session: Session, person: Person, car: Car, **changed: object) -> int:
    """A restore of the car's engine unit; returns its id."""
    fields: dict[str, object] = {
        "reason": "The owner sells the car",
        "unit_ids": (car.unit_id,),
        "coding_snapshot_id": car.coding_id,
        "baseline_session_id": car.baseline_id,
        "margin_percent": 3.0,
        "two_sign_offs": False,
    }
    wanted = NewRestore(**(fields | changed))  # type: ignore[arg-type]  # values of mixed types
    return open_restore(session, person=person, at=OPENED, vehicle_id=car.vehicle_id, wanted=wanted).id


def good_evidence(car: Car) -> dict[str, Evidence]:
    """Step key → evidence that closes it, in the plan's order, without the dyno session."""
    unit = car.unit_id
    return {
        f"identify.{unit}": IdentityScanned(IDENTITY),
        f"secure_stock.{unit}": StockHashed(),
        "supply": SupplyMeasured(13.2, 13.8),
        f"flash.{unit}": FlashDone(NewFlash(None, "completed", 13.6, 13.4)),
        f"read_back.{unit}": read_back_of(STOCK),
        "write_coding": CodingStated(True, "All modules"),
        "compare_coding": coding_of(CODING),
        "parts": PartsSeen((Part("Air filter", True, "Paper element"),)),
        "faults": faults_of(NO_FAULTS),
        "readiness": ReadinessRead((("engine", READY),)),
    }


def read_back_of(data: bytes) -> ReadBackFile:
    read = read_image(data, base_address=0x8000)
    return ReadBackFile(read.image, read.format, data, "read-back.bin")


def coding_of(data: bytes) -> CodingRead:
    return CodingRead(read_coding(data), data, "coding.csv")


def faults_of(text: str) -> FaultsRead:
    return FaultsRead(read_fault_list(text), text)


class Work:
    """Closes steps of one case, each a minute after the one before."""

    def __init__(self, session: Session, person: Person, car: Car, restore_id: int) -> None:
        self.session, self.person, self.car, self.restore_id = session, person, car, restore_id
        self.at = OPENED

    def later(self) -> dt.datetime:
        self.at += dt.timedelta(minutes=1)
        return self.at

    def close(self, key: str, evidence: Evidence) -> RestoreStep:
        return close_restore_step(
            self.session,
            person=self.person,
            at=self.later(),
            restore_id=self.restore_id,
            key=key,
            evidence=evidence,
        )

    def through(self, last: str) -> None:
        """All steps up to and with `last` (a key without the control unit), by good evidence."""
        for key, evidence in good_evidence(self.car).items():
            assert self.close(key, evidence).outcome == "verified", key
            if key.split(".")[0] == last:
                return


def state_of(work: Work, key: str) -> str:
    return restores.case(work.session, work.restore_id).state(key).state


def actions_of(session: Session) -> list[str]:
    """What the journal holds, in its order."""
    return list(session.scalars(select(JournalEntry.action).order_by(JournalEntry.seq)))


def overridden(work: Work, person: Person, key: str, reason: str, fits: bool = True) -> int:
    return override_restore_step(
        work.session,
        person=person,
        at=work.later(),
        restore_id=work.restore_id,
        key=key,
        reason=reason,
        password_fits=fits,
    ).id
