"""A car with two revisions and pulls on record, made through the acts that people do.

The pulls are drawn here: a torque curve of a boosted petrol engine at the wheels, with the level and shape scatter
that pulls of one session have.
"""

import datetime as dt
import random
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from asammdf import MDF, Signal
from numpy.typing import NDArray
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from app.actions.add_control_unit import add_control_unit
from app.actions.add_dyno import add_dyno
from app.actions.add_runs import NewRuns, add_runs
from app.actions.add_stock_read import add_stock_read
from app.actions.log_flash import NewFlash, log_flash
from app.actions.log_revision import NewRevision, log_revision
from app.actions.record_session import NewSession, record_session
from app.actions.register_vehicle import NewVehicle, register_vehicle
from app.readers.dyno_csv import read_dyno_csv
from app.readers.image import read_image
from app.record import people
from app.record.engine import transaction
from app.record.tables import Person

START = dt.datetime(2026, 3, 2, 8, 0, tzinfo=dt.UTC)
STOCK = random.Random(411).randbytes(4096)
SPEEDS = np.arange(1500.0, 6501.0, 50.0)


@dataclass(frozen=True, slots=True)
class Car:
    """The ids of what is on record."""

    vehicle_id: int
    unit_id: int
    revision_ids: tuple[int, int]
    dyno_id: int


def torque_nm(gain: float = 0.0) -> NDArray[np.float64]:
    """Wheel torque over `SPEEDS`; `gain` N·m more from 3,000 1/min up, ramping in over 500 1/min."""
    rise = 1 / (1 + np.exp(-(SPEEDS - 2300) / 250))
    fall = 1 - 0.22 * np.clip((SPEEDS - 4800) / 1700, 0, None) ** 2
    return 120 + 190 * rise * fall + gain * np.clip((SPEEDS - 3000) / 500, 0, 1)


def pull_csv(
    seed: int, gain: float = 0.0, *, channels: bool = True, level: float = 0.004, up_to: float = 6500.0
) -> bytes:
    """One pull as a text table: engine speed up to `up_to`, torque, lambda and exhaust temperature."""
    draw = np.random.default_rng(seed)
    knots = draw.normal(0, 0.002, 12)
    shape = np.interp(SPEEDS, np.linspace(SPEEDS[0], SPEEDS[-1], 12), knots)
    torque = torque_nm(gain) * (1 + draw.normal(0, level) + shape) + draw.normal(0, 0.3, SPEEDS.size)
    lambda_ = 0.92 - 0.06 * np.clip((SPEEDS - 3000) / 3000, 0, 1) + 0.0002 * gain
    exhaust = 620 + 0.045 * (SPEEDS - 1500) + gain
    rows = ["Engine speed [1/min];Torque [Nm]" + (";Lambda;Exhaust temperature [°C]" if channels else "")]
    for n, t, lam, egt in zip(SPEEDS, torque, lambda_, exhaust, strict=True):
        if n > up_to:
            break
        rows.append(f"{n:.0f};{t:.2f}" + (f";{lam:.4f};{egt:.1f}" if channels else ""))
    return "\n".join(rows).encode()


def pull_mdf4(folder: Path, seed: int, gain: float = 0.0) -> bytes:
    """The same pull as an MDF4 log, ten samples a second."""
    channels = read_dyno_csv(pull_csv(seed, gain)).channels
    time = np.arange(SPEEDS.size) * 0.1
    with MDF(version="4.10") as log:
        log.append(
            [
                Signal(channels["engine_speed_rpm"], time, name="Engine speed", unit="1/min"),
                Signal(channels["torque_nm"], time, name="Torque", unit="Nm"),
            ]
        )
        file = log.save(folder / f"{seed}.mf4", overwrite=True)
    return Path(file).read_bytes()


def car_on_record(session: Session, person: Person, *, vin: str = "30KLN3C67NB004711", dyno: str = "Bay 1") -> Car:
    """A registered car with confirmed stock, two revisions (the second made from the first), none flashed yet."""
    vehicle = register_vehicle(
        session,
        person=person,
        at=START,
        car=NewVehicle(
            vin,
            "DY 70 CAR",
            "Tarkess",
            "Lanner 2.0",
            boosted=True,
            driven_axles="rear",
            rated_power_kw=180.0,
            rated_torque_nm=370.0,
            rated_standard="UN R85",
            test_mass_kg=1520.0,
            gear_ratios=(4.1, 2.4, 1.6, 1.2, 1.0, 0.85),
            final_drive=3.2,
            tyre="225/45 R17",
            tyre_radius_m=0.31,
            legal_basis="Closed course only",
        ),
    )
    unit = add_control_unit(
        session,
        person=person,
        at=START,
        vehicle_id=vehicle.id,
        role="engine",
        hardware_number=f"HW-{vin[-4:]}",
        software_number="SW-9",
        calibration_ids=[],
        cvns=[],
        base_address=0,
    )
    for name in ("one.bin", "two.bin"):
        add_stock_read(
            session,
            person=person,
            at=START,
            control_unit_id=unit.id,
            uploaded=STOCK,
            file_name=name,
            read=read_image(STOCK, base_address=0),
        )
    first = _revision(session, person, unit.id, "Boost up", None, 0x21)
    second = _revision(session, person, unit.id, "Ignition too", first, 0x42)
    place = add_dyno(session, person=person, at=START, name=dyno)
    return Car(vehicle.id, unit.id, (first, second), place.id)


def _revision(session: Session, person: Person, unit_id: int, title: str, parent_id: int | None, mask: int) -> int:
    data = STOCK[:64] + bytes(byte ^ mask for byte in STOCK[64:96]) + STOCK[96:]
    return log_revision(
        session,
        person=person,
        at=START,
        control_unit_id=unit_id,
        revision=NewRevision(title, "More from 3,000 1/min up", parent_id=parent_id),
        uploaded=data,
        file_name=f"{mask}.bin",
        read=read_image(data, base_address=0),
    ).id


def flashed(session: Session, person: Person, car: Car, revision_id: int, day: float) -> None:
    """The revision is written on the given day."""
    at = START + dt.timedelta(days=day)
    log_flash(
        session,
        person=person,
        at=at,
        control_unit_id=car.unit_id,
        flash=NewFlash(revision_id, "completed", 13.5, 13.2, flashed_at=at),
    )


def session_of(
    session: Session,
    person: Person,
    car: Car,
    day: float,
    *,
    gain: float = 0.0,
    seeds: Sequence[int] = (1, 2, 3),
    channels: bool = True,
    level: float = 0.004,
    up_to: float = 6500.0,
    **conditions: object,
) -> int:
    """A session with one pull per seed up to an engine speed on the given day, whole pulls scattering by `level`;
    returns its id."""
    at = START + dt.timedelta(days=day)
    fields: dict[str, object] = {
        "pressure_hpa": 1004.0,
        "temperature_c": 19.0,
        "relative_humidity_percent": 45.0,
        "gear": "4",
        "drive_mode": "normal",
        "tyre": "225/45 R17",
        "tyre_pressure_bar": 2.4,
        "fuel": "98 RON",
        "start_coolant_c": 88.0,
        "start_intake_c": 24.0,
        "measured_at": at,
    }
    wanted = NewSession(car.dyno_id, **(fields | conditions))  # type: ignore[arg-type]  # values of mixed types
    row = record_session(session, person=person, at=at, vehicle_id=car.vehicle_id, conditions=wanted)
    for position, seed in enumerate(seeds, start=1):
        data = pull_csv(1000 * row.id + seed, gain, channels=channels, level=level, up_to=up_to)
        add_runs(
            session,
            person=person,
            at=at,
            dyno_session_id=row.id,
            uploaded=data,
            file_name=f"pull-{position}.csv",
            runs=NewRuns.of_file(read_dyno_csv(data)),
        )
    return row.id


def _tuner(session: Session) -> Person:
    found = people.by_name(session, "tuner")
    assert found is not None
    return found


class MeasuredCar:
    """A car with a baseline and a session on revision 1 that gives 30 N·m more above 3,500 1/min."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        with transaction(engine) as session:
            person = _tuner(session)
            self.car = car_on_record(session, person)
            self.before = session_of(session, person, self.car, 0.5, purpose="baseline")
            flashed(session, person, self.car, self.car.revision_ids[0], day=1)
            self.after = session_of(session, person, self.car, 1.5, gain=30.0)

    def further(self, day: float, **more: object) -> int:
        with transaction(self.engine) as session:
            return session_of(session, _tuner(session), self.car, day, **more)  # type: ignore[arg-type]  # conditions of mixed types
