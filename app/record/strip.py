"""A computed strip run of a car from a session's wheel power, and what a change of power does to it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from app.calc.dyno.atmosphere import Conditions, moist_air_density_kg_m3
from app.calc.dyno.strip import FigureChange, StripCar, StripResult, simulate_strip, strip_change
from app.calc.dyno.strip_samples import gain_samples_kw
from app.calc.number_text import rpm
from app.errors import AppError, BadInput, Conflict
from app.record import dyno, dyno_curves
from app.record.gains import Compared
from app.record.results import build_of
from app.record.tables import Attribution, DynoSession, Vehicle

Values = NDArray[np.float64]
# ISO 2533 standard atmosphere at sea level, kg/m³.
STANDARD_DENSITY = 1.225


@dataclass(frozen=True, slots=True)
class Assumptions:
    """What a computed run takes for granted. The defaults are common practice for a road car, no source."""

    cda_m2: float = 0.70
    crr: float = 0.012
    shift_time_s: float = 0.3
    friction: float = 1.0
    driven_weight_share: float | None = None
    shift_speed_rpm: float | None = None


def strip_car(vehicle: Vehicle, assumed: Assumptions) -> StripCar:
    """The car as the computation takes it; Conflict that names what is not on record."""
    needed = {
        "test mass": vehicle.test_mass_kg,
        "gear ratios": vehicle.gear_ratios or None,
        "final drive": vehicle.final_drive,
        "tyre radius": vehicle.tyre_radius_m,
    }
    missing = [name for name, value in needed.items() if value is None]
    if missing or vehicle.test_mass_kg is None or vehicle.final_drive is None or vehicle.tyre_radius_m is None:
        raise Conflict(f"A computed run needs what is not on record for this car: {', '.join(missing)}.")
    usual = {"all": 1.0, "front": 0.6, "rear": 0.55}[vehicle.driven_axles]
    return StripCar(
        mass_kg=vehicle.test_mass_kg,
        cda_m2=assumed.cda_m2,
        crr=assumed.crr,
        gear_ratios=tuple(float(ratio) for ratio in vehicle.gear_ratios),
        final_drive=vehicle.final_drive,
        tyre_radius_m=vehicle.tyre_radius_m,
        shift_time_s=assumed.shift_time_s,
        shift_speed_rpm=assumed.shift_speed_rpm,
        friction=assumed.friction,
        driven_weight_share=usual if assumed.driven_weight_share is None else assumed.driven_weight_share,
    )


def air_density(row: DynoSession) -> float:
    """Density of the air that the pulls were made in; that of the standard atmosphere where it was not recorded."""
    if row.pressure_hpa is None or row.temperature_c is None:
        return STANDARD_DENSITY
    try:
        found = moist_air_density_kg_m3(Conditions(row.pressure_hpa, row.temperature_c, row.relative_humidity_percent))
    except BadInput:
        return STANDARD_DENSITY
    return STANDARD_DENSITY if found is None else found


def wheel_power(session: Session, row: DynoSession) -> tuple[Values, Values]:
    """(engine speed, mean wheel power) of a session, as little corrected as the record allows."""
    try:
        pulls = dyno_curves.pulls_of(session, row, "none")
    except AppError:
        pulls = dyno_curves.pulls_of(session, row)
    mean = pulls.mean
    return mean.speed_rpm, mean.power_kw


def computed_run(session: Session, row: DynoSession, car: StripCar) -> StripResult:
    """The run that the session's wheel power gives in its own air."""
    speed, power = wheel_power(session, row)
    _change_within(car, speed)
    return simulate_strip(car, speed, power, air_density_kgm3=air_density(row))


def computed_change(found: Compared, car: StripCar) -> dict[str, FigureChange]:
    """What a gain changes about the run, with the interval that follows from the dyno's uncertainty."""
    result = found.result
    if result is None:
        raise Conflict("These sessions give no gain: " + "; ".join(found.refusals) + ".")
    _change_within(car, result.speed_rpm)
    changes = strip_change(
        car,
        result.speed_rpm,
        result.before.power_kw,
        result.gain_kw,
        air_density_kgm3=air_density(found.before.row),
        gain_samples_kw=gain_samples_kw(result),
    )
    return {name: change for name, change in changes.items() if name != "rollout_s"}


def _change_within(car: StripCar, speed_rpm: Values) -> None:
    """Nothing is known of the power beyond the curve, so a gear change there would quietly become one at its end."""
    low, high = float(speed_rpm[0]), float(speed_rpm[-1])
    if car.shift_speed_rpm is not None and not low < car.shift_speed_rpm <= high:
        raise BadInput(
            f"The wheel power is known from {rpm(low)} to {rpm(high)}; change gear within that.",
            field="shift_speed_rpm",
        )


def session_with(session: Session, vehicle_id: int, attributed: dict[int, Attribution]) -> DynoSession | None:
    """The newest session with pulls that count and the same on every control unit."""
    rows = dyno.sessions_of_vehicle(session, vehicle_id)
    builds = dyno.attributions(session, [row.id for row in rows])
    wanted = build_of(attributed)
    fitted = dyno_curves.fitted(session, [row.id for row in rows if build_of(builds[row.id]) == wanted])
    return next((row for row in rows if any(one.counts for one in fitted.get(row.id, ()))), None)
