"""A car with stock, a layout and revisions for tests of the diff view, of revisions and of layouts that grow.

The bytes are chosen so that every figure a test expects can be worked out by hand: the map "boost target" of
tests/shop.py lies at 0x100 as eight big-endian 16-bit numbers of 0.001 bar.
"""

import struct
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from app.actions.add_dyno import add_dyno
from app.actions.add_runs import NewRuns, add_runs
from app.actions.record_session import NewSession, record_session
from app.actions.set_limit import NewLimit, set_limit
from app.record.engine import transaction
from app.record.tables import Dyno, Person
from tests.shop import STOCK, Shop, with_sum

BOOST = (1000, 1200, 1400, 1500, 1100, 1400, 1700, 1800)
RAISED = (1000, 1200, 1500, 1650, 1100, 1400, 1870, 1980)
# Another car with the same software, whose stock differs in the last number.
OTHER = (*BOOST[:7], 1790)
# Six numbers that no definition explains, and what a revision makes of them.
HIDDEN_AT = 0x400
HIDDEN = (6000, 6500, 7000, 7400, 7700, 8000)
HIDDEN_RAISED = (9000, 9500, 10000, 10400, 10700, 11000)


def image_of(boost: tuple[int, ...] = BOOST, hidden: tuple[int, ...] = HIDDEN, *, whole: bytes = STOCK) -> bytes:
    """An image with these numbers in it, its block checksum put right."""
    data = bytearray(whole)
    struct.pack_into(">8H", data, 0x100, *boost)
    struct.pack_into(">6H", data, HIDDEN_AT, *hidden)
    return with_sum(bytes(data))


@dataclass(frozen=True, slots=True)
class CalibrationCar:
    """Ids: revision 1 raises boost, 2 (from 1) changes the hidden numbers too, 3 (from stock) breaks the checksum.

    `other_stock_id` and `other_unit_id` are those of another car with the same software.
    """

    vehicle_id: int
    unit_id: int
    stock_id: int
    layout_id: int
    first: int
    second: int
    third: int
    other_unit_id: int
    other_stock_id: int


def calibration_car(engine: Engine) -> CalibrationCar:
    """The car in a database, filled through the same acts as people do."""
    with transaction(engine) as session:
        shop = Shop(session)
        layout = shop.layout()
        unit = shop.unit()
        stock = shop.stock(unit, image_of())
        first = shop.revision(unit, image_of(RAISED), title="More boost")
        second = shop.revision(unit, image_of(RAISED, HIDDEN_RAISED), parent=first, title="And further")
        broken = bytearray(image_of(RAISED))
        broken[0x181] ^= 0xFF
        third = shop.revision(unit, bytes(broken), title="Broken block")
        other = shop.unit()
        other_stock = shop.stock(other, image_of(OTHER))
        return CalibrationCar(
            unit.vehicle_id,
            unit.id,
            stock.id,
            layout.id,
            first.id,
            second.id,
            third.id,
            other.id,
            other_stock.id,
        )


def limit_torque(engine: Engine, car: CalibrationCar, most_nm: float) -> None:
    """A bound on torque, set by the tuner of the car."""
    with transaction(engine) as session:
        limit = NewLimit("torque_nm", "max", most_nm)
        set_limit(session, person=_tuner(session), at=_AT, vehicle_id=car.vehicle_id, limit=limit)


def measured(engine: Engine, car: CalibrationCar, revision_id: int | None, *, days: int, gear: str = "") -> int:
    """A session with one pull that reaches 300 N·m, with the revision (None: stock) on the car; its id."""
    with transaction(engine) as session:
        person, at = _tuner(session), _AT + timedelta(days=days)
        known = session.scalars(select(Dyno)).first()
        dyno = known or add_dyno(session, person=person, at=at, name="Bay 1")
        purpose = "baseline" if revision_id is None else "measurement"
        row = record_session(
            session,
            person=person,
            at=at,
            vehicle_id=car.vehicle_id,
            conditions=NewSession(dyno_id=dyno.id, purpose=purpose, gear=gear, measured_at=at),
            attributed={car.unit_id: revision_id},
        )
        speed = np.linspace(2000.0, 6000.0, 81)
        pull = {"engine_speed_rpm": speed, "torque_nm": 300.0 - ((speed - 4000.0) / 200.0) ** 2}
        add_runs(
            session,
            person=person,
            at=at,
            dyno_session_id=row.id,
            uploaded=f"pull of session {row.id}\n".encode(),
            file_name="pull.csv",
            runs=NewRuns(pulls=[pull], columns=[], findings=[]),
        )
        return row.id


_AT = datetime(2026, 4, 1, 8, 0, tzinfo=UTC)


def _tuner(session: Session) -> Person:
    return session.scalars(select(Person).where(Person.name == "Ada Renn")).one()
