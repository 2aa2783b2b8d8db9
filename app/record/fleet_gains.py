"""What the same change gained on each car that got it, as far as it was measured."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from app.calc.dyno.gain import BandAverage, band_average
from app.calc.dyno.prediction import FEWEST, Prediction, next_car
from app.errors import AppError
from app.record import gains, measured, vehicles
from app.record.fleet import SharedChange
from app.record.gains import Compared
from app.record.tables import DynoSession, Revision, Vehicle

_LEAST_RPM = 500.0


@dataclass(frozen=True, slots=True, eq=False)
class CarGain:
    """One car: the sessions compared and the average gain over the common band, or why nothing is told."""

    vehicle: Vehicle
    revision: Revision
    before: DynoSession | None
    after: DynoSession | None
    average: BandAverage | None
    refusal: str


@dataclass(frozen=True, slots=True, eq=False)
class FleetGain:
    """All cars of a change over the band that all measured ones cover; `prediction` None for the `reason` given."""

    cars: tuple[CarGain, ...]
    band: tuple[float, float] | None
    standard: str | None
    prediction: Prediction | None
    reason: str


def of_change(session: Session, change: SharedChange) -> FleetGain:
    """Compare, car by car, the newest session with the change on the car with the newest one before it without."""
    found: dict[int, tuple[Vehicle, Revision, Compared | None, str]] = {}
    for row in change.revisions:
        vehicle = vehicles.vehicle(session, vehicles.control_unit(session, row.control_unit_id).vehicle_id)
        compared, refusal = _compared(session, row, change.ported)
        # A car that got the change twice counts once: its measured revision, the newest of them.
        if vehicle.id not in found or compared is not None:
            found[vehicle.id] = (vehicle, row, compared, refusal)
    measured_ones = [one[2] for one in found.values() if one[2] is not None]
    band = _common_band(measured_ones)
    cars = tuple(_car(vehicle, row, one, refusal, band) for vehicle, row, one, refusal in found.values())
    values = [one.average.gain_kw for one in cars if one.average is not None]
    standards = {one.standard for one in measured_ones}
    if len(standards) > 1:
        reason = "The cars were measured under different correction standards; no prediction is made from them."
        return FleetGain(cars, band, None, None, reason)
    standard = standards.pop() if standards else None
    if len(values) < FEWEST:
        count = "one car was" if values else "no car was"
        reason = f"Too few to say: {count} measured before and after; a prediction needs at least {FEWEST} cars."
        return FleetGain(cars, band, standard, None, reason)
    return FleetGain(cars, band, standard, next_car(values), "")


def _compared(session: Session, row: Revision, ported: bool) -> tuple[Compared | None, str]:
    base_id = row.parent_id if ported else None
    without = measured.sessions_with(session, row.control_unit_id, base_id)
    for after in measured.sessions_with(session, row.control_unit_id, row.id):
        before = _before(after, without)
        if before is None:
            continue
        try:
            compared = gains.compared(session, before.id, after.id)
        except AppError as error:
            return None, error.sentence
        return (compared, "") if compared.result is not None else (None, _joined(compared.refusals))
    return None, "Not measured: no pulls before and after on one dyno are attributed to it."


def _joined(refusals: Sequence[str]) -> str:
    text = "; ".join(one.rstrip(".") for one in refusals)
    return f"{text[:1].upper()}{text[1:]}."


def _before(after: DynoSession, without: Sequence[DynoSession]) -> DynoSession | None:
    """The newest session on the same dyno that was measured before, else the one measured next."""
    same = [one for one in without if one.dyno_id == after.dyno_id]
    return next((one for one in same if one.measured_at <= after.measured_at), same[-1] if same else None)


def _common_band(compared: Sequence[Compared]) -> tuple[float, float] | None:
    grids = [one.result.speed_rpm for one in compared if one.result is not None]
    if not grids:
        return None
    low, high = max(float(g[0]) for g in grids), min(float(g[-1]) for g in grids)
    return (low, high) if high - low >= _LEAST_RPM else None


def _car(
    vehicle: Vehicle, row: Revision, compared: Compared | None, refusal: str, band: tuple[float, float] | None
) -> CarGain:
    if compared is None or compared.result is None:
        return CarGain(vehicle, row, None, None, None, refusal)
    before, after = compared.before.row, compared.after.row
    if band is None:
        return CarGain(vehicle, row, before, after, None, "Shares no band of engine speeds with the other cars.")
    return CarGain(vehicle, row, before, after, band_average(compared.result, *band), "")
