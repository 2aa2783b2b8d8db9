"""A workshop that a test fills through the same acts as people do: one line per act, the clock moves by itself."""

import random
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.actions.add_control_unit import add_control_unit
from app.actions.add_dyno import add_dyno
from app.actions.add_layout import add_layout
from app.actions.add_read_back import add_read_back
from app.actions.add_runs import NewRuns, add_runs
from app.actions.add_stock_read import add_stock_read
from app.actions.check_identity import check_identity
from app.actions.keep_coding import keep_coding
from app.actions.log_flash import NewFlash, log_flash
from app.actions.log_revision import NewRevision, log_revision
from app.actions.record_session import NewSession, record_session
from app.actions.register_vehicle import NewVehicle, register_vehicle
from app.actions.write_coding_back import write_coding_back
from app.calc.vehicle.coding import CodingSnapshot as Coding
from app.calc.vehicle.identity import Identity
from app.readers.image import read_image
from app.readers.layout import read_layout
from app.record import people
from app.record.tables import (
    CodingSnapshot,
    CodingWriteBack,
    ControlUnit,
    Dyno,
    DynoSession,
    Flash,
    IdentityCheck,
    JournalEntry,
    Layout,
    Person,
    ReadBack,
    Revision,
    Run,
    Stock,
    StockRead,
    Vehicle,
)

CODING = {"Body": {"long coding": "0A 1F 22"}, "Gateway": {"installed": "01 02"}}
# One map of eight 16-bit values, one block checksum, one range that the control unit rewrites itself.
LAYOUT = b"""what,name,category,address,last address,columns,rows,data type,byte order,unit,factor,x axis values,y axis values,algorithm,stored at,description
map,boost target,boost,0x100,,4,2,uint16,big,bar,0.001,1000 2000 3000 4000,20 80,,,
checksum,block,,0x100,0x17F,,,,big,,,,,SUM-16/8-BIT,0x180,
volatile,,,0x190,0x19F,,,,,,,,,,,learned values
"""  # noqa: E501 - one line is one row of the table


def image_bytes(seed: int = 1, size: int = 4096) -> bytes:
    """An image of bytes that no test needs to understand; the same for the same seed."""
    return random.Random(seed).randbytes(size)


def changed(data: bytes, *offsets: int) -> bytes:
    """The same bytes with all bits turned over at the given offsets."""
    edited = bytearray(data)
    for offset in offsets:
        edited[offset] ^= 0xFF
    return bytes(edited)


def with_sum(data: bytes) -> bytes:
    """The same bytes with the block checksum of LAYOUT put right: the 16-bit sum of 0x100 to 0x17F, big-endian."""
    return data[:0x180] + (sum(data[0x100:0x180]) & 0xFFFF).to_bytes(2, "big") + data[0x182:]


def vin(number: int) -> str:
    """A well-formed VIN of a maker that does not exist (Europe, where no check digit is asked for)."""
    return f"U9ZSHP2A5K{number:07d}"


STOCK = image_bytes()


class Shop:
    """One tuner at work in an open session; every act happens a minute after the one before."""

    def __init__(self, session: Session, at: datetime = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)) -> None:
        self.session = session
        self.at = at
        self._cars = 0
        self.person: Person = people.add(session, name="Ada Renn", role="tuner", password_hash=None, at=at)

    def now(self, step: timedelta = timedelta(minutes=1)) -> datetime:
        self.at += step
        return self.at

    def car(self, **known: object) -> Vehicle:
        self._cars += 1
        fields: dict[str, object] = {
            "vin": vin(self._cars),
            "plate": f"SH {self._cars:03d}",
            "make": "Velmora",
            "model": "Sirrus",
            **known,
        }
        car = NewVehicle(**fields)  # type: ignore[arg-type]  # a test names the fields it cares about
        return register_vehicle(self.session, person=self.person, at=self.now(), car=car)

    def unit(self, vehicle: Vehicle | None = None, role: str = "engine", **known: object) -> ControlUnit:
        vehicle = vehicle or self.car()
        fields: dict[str, object] = {"hardware_number": f"HW-{role}", "software_number": f"SW-{role}-1", **known}
        return add_control_unit(
            self.session,
            person=self.person,
            at=self.now(),
            vehicle_id=vehicle.id,
            role=role,
            **fields,  # type: ignore[arg-type]  # as above
        )

    def read(self, unit: ControlUnit, data: bytes = STOCK, *, new_generation: bool = False) -> StockRead:
        return add_stock_read(
            self.session,
            person=self.person,
            at=self.now(),
            control_unit_id=unit.id,
            uploaded=data,
            file_name="read.bin",
            read=read_image(data, base_address=unit.base_address),
            new_generation=new_generation,
        ).read

    def stock(self, unit: ControlUnit, data: bytes = STOCK, *, new_generation: bool = False) -> Stock:
        """Two equal reads."""
        self.read(unit, data, new_generation=new_generation)
        self.read(unit, data, new_generation=new_generation)
        newest = select(Stock).where(Stock.control_unit_id == unit.id).order_by(Stock.id.desc()).limit(1)
        return self.session.scalars(newest).one()

    def revision(
        self, unit: ControlUnit, data: bytes, *, parent: Revision | None = None, title: str = "Stage one"
    ) -> Revision:
        return log_revision(
            self.session,
            person=self.person,
            at=self.now(),
            control_unit_id=unit.id,
            revision=NewRevision(title, "More torque in the middle.", None if parent is None else parent.id),
            uploaded=data,
            file_name="revision.bin",
            read=read_image(data, base_address=unit.base_address),
        )

    def flash(self, unit: ControlUnit, revision: Revision | None = None, outcome: str = "completed") -> Flash:
        """A write of the revision, or of stock."""
        new = NewFlash(None if revision is None else revision.id, outcome, 13.4, 13.1)
        return log_flash(self.session, person=self.person, at=self.now(), control_unit_id=unit.id, flash=new)

    def read_back(self, flash: Flash, data: bytes) -> ReadBack:
        unit = self.session.get_one(ControlUnit, flash.control_unit_id)
        return add_read_back(
            self.session,
            person=self.person,
            at=self.now(),
            flash_id=flash.id,
            uploaded=data,
            file_name="back.bin",
            read=read_image(data, base_address=unit.base_address),
        )

    def coding(self, vehicle: Vehicle, values: Mapping[str, Mapping[str, str]] = CODING) -> CodingSnapshot:
        return keep_coding(
            self.session,
            person=self.person,
            at=self.now(),
            vehicle_id=vehicle.id,
            coding=Coding.of(values),
            occasion="as found",
        )

    def write_back(self, flash: Flash, wanted: CodingSnapshot, read: CodingSnapshot) -> CodingWriteBack:
        return write_coding_back(
            self.session,
            person=self.person,
            at=self.now(),
            flash_id=flash.id,
            wanted_snapshot_id=wanted.id,
            read_snapshot_id=read.id,
        )

    def scan(self, unit: ControlUnit, **numbers: object) -> IdentityCheck:
        """A scan that reports the recorded hardware and software number unless told otherwise."""
        given = {"hardware_number": unit.hardware_number, "software_number": unit.software_number, **numbers}
        scanned = Identity(**given)  # type: ignore[arg-type]  # as above
        return check_identity(self.session, person=self.person, at=self.now(), control_unit_id=unit.id, scanned=scanned)

    def layout(self, data: bytes = LAYOUT, name: str = "Engine 1", software_number: str = "SW-engine-1") -> Layout:
        found = read_layout(data)
        return add_layout(
            self.session,
            person=self.person,
            at=self.now(),
            name=name,
            definitions=found.layout,
            source=found.source,
            software_number=software_number,
            uploaded=data,
            file_name="layout.csv",
        )

    def dyno(self, name: str = "Bay 1") -> Dyno:
        return add_dyno(self.session, person=self.person, at=self.now(), name=name)

    def dyno_session(self, vehicle: Vehicle, dyno: Dyno, purpose: str = "measurement") -> DynoSession:
        conditions = NewSession(dyno_id=dyno.id, purpose=purpose)
        return record_session(
            self.session, person=self.person, at=self.now(), vehicle_id=vehicle.id, conditions=conditions
        )

    def pull(self, session_row: DynoSession, data: bytes = b"speed,torque\n") -> Run:
        speed = np.linspace(2000.0, 6000.0, 41)
        pull = {"engine_speed_rpm": speed, "torque_nm": 300.0 - ((speed - 4000.0) / 200.0) ** 2}
        runs = NewRuns(pulls=[pull], columns=[], findings=[])
        return add_runs(
            self.session,
            person=self.person,
            at=self.now(),
            dyno_session_id=session_row.id,
            uploaded=data,
            file_name="pull.csv",
            runs=runs,
        )[0]

    def entries(self) -> list[JournalEntry]:
        return list(self.session.scalars(select(JournalEntry).order_by(JournalEntry.seq)))
