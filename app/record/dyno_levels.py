"""A car measured again and again on one calibration: whether its power stays, or the dyno drifts."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from sqlalchemy.orm import Session

from app.calc.dyno.correction import STANDARDS
from app.calc.dyno.curve import Pulls
from app.errors import AppError
from app.record import dyno, dyno_curves
from app.record.results import build_of
from app.record.tables import DynoSession

LEAST = 3


@dataclass(frozen=True, slots=True)
class CarLevels:
    """Sessions of one car with the same on every control unit and in one gear, oldest first."""

    vehicle_id: int
    on_car: str
    sessions: tuple[DynoSession, ...]


@dataclass(frozen=True, slots=True)
class Levels:
    """Each session with the car's mean power over the engine speeds that all of them cover, in kW."""

    points: tuple[tuple[DynoSession, float], ...]
    note: str


def repeated_cars(session: Session, rows: Sequence[DynoSession]) -> list[CarLevels]:
    """Cars that a dyno has seen at least three times on one calibration in one gear; the most often seen first."""
    attributed = dyno.attributions(session, [row.id for row in rows])
    groups: dict[tuple[object, ...], list[DynoSession]] = defaultdict(list)
    for row in rows:
        groups[(row.vehicle_id, row.gear, build_of(attributed[row.id]))].append(row)
    best: dict[int, list[DynoSession]] = {}
    for (vehicle_id, *_), found in groups.items():
        assert isinstance(vehicle_id, int)
        if len(found) >= LEAST and len(found) > len(best.get(vehicle_id, ())):
            best[vehicle_id] = found
    on_car = dyno.on_car_words(session, [found[0].id for found in best.values()])
    cars = [CarLevels(vehicle_id, on_car[found[0].id], tuple(found)) for vehicle_id, found in best.items()]
    return sorted(cars, key=lambda car: -len(car.sessions))


def levels(session: Session, car: CarLevels) -> Levels:
    """Mean power per session, corrected where every session's air is known; sessions without a curve are left out."""
    standard = "sae_j1349"
    pulls = _pulls(session, car, standard)
    if len(pulls) < len(car.sessions):
        standard, pulls = "none", _pulls(session, car, "none")
    if not pulls:
        return Levels((), "No session of this car has a pull that counts.")
    low = max(float(one.speed_rpm[0]) for _, one in pulls)
    high = min(float(one.speed_rpm[-1]) for _, one in pulls)
    points = []
    for row, one in pulls:
        cut = one.within(low, high)
        if cut.speed_rpm.size:
            points.append((row, float(np.mean(cut.power_kw))))
    words = "uncorrected: the air of the day moves it too" if standard == "none" else f"under {STANDARDS[standard]}"
    return Levels(tuple(points), f"Mean power from {low:,.0f} to {high:,.0f} rpm, {words}.")


def _pulls(session: Session, car: CarLevels, standard: str) -> list[tuple[DynoSession, Pulls]]:
    found = []
    for row in car.sessions:
        try:
            found.append((row, dyno_curves.pulls_of(session, row, standard)))
        except AppError:
            continue
    return found
