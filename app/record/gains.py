"""The gain between two sessions of the record: whether they compare, under which standard, with which history."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sqlalchemy.orm import Session

from app.calc.dyno.comparability import Circumstances, Comparability, compare_conditions
from app.calc.dyno.correction import STANDARDS, CorrectionFactor
from app.calc.dyno.curve import Pulls
from app.calc.dyno.gain import Gain, gain
from app.calc.dyno.history import History
from app.calc.number_text import plain
from app.errors import AppError, BadInput, Conflict
from app.record import dyno, dyno_curves, vehicles
from app.record.settings import shop
from app.record.tables import DynoSession, Vehicle


@dataclass(frozen=True, slots=True, eq=False)
class Side:
    """One session of a comparison: its pulls under the comparison's standard, or the sentence why there are none.

    by_dyno : the files say that the dyno had corrected these pulls. measured_at : "wheels", "engine", "mixed", or None
    where the files do not say.
    """

    row: DynoSession
    by_dyno: bool
    measured_at: str | None
    positions: tuple[int, ...]
    left_out: tuple[tuple[int, str], ...]
    factor: CorrectionFactor | None
    pulls: Pulls | None
    refusal: str


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """Two sessions side by side.

    standard : of both sides; None while their own ones differ and none was asked for. offered : standards that both
    could be computed under, in that case. converted : the standard is not both sessions' own. result : None when they
    cannot be compared; `refusals` says why.
    """

    vehicle: Vehicle
    before: Side
    after: Side
    standard: str | None
    offered: tuple[str, ...]
    converted: bool
    comparability: Comparability
    history: History | None
    result: Gain | None
    refusals: tuple[str, ...]


def compared(session: Session, before_id: int, after_id: int, *, standard: str | None = None) -> Compared:
    """Compare two sessions of one car, under their own standard or both under another from the raw pulls.

    The history is that of the dyno up to the later of the two. Raises BadInput for one session twice or an unknown
    standard, Conflict for sessions of two cars.
    """
    if before_id == after_id:
        raise BadInput("A gain needs two sessions; choose another one for after.", field="to")
    if standard is not None and standard not in STANDARDS:
        known = ", ".join(STANDARDS)
        raise BadInput(f"“{standard}” is no correction standard; choose one of {known}.", field="standard")
    rows = dyno.dyno_session(session, before_id), dyno.dyno_session(session, after_id)
    if rows[0].vehicle_id != rows[1].vehicle_id:
        raise Conflict("These sessions are of two cars; a gain is told of one car.", field="to")
    vehicle = vehicles.vehicle(session, rows[0].vehicle_id)
    own = {row.correction_standard for row in rows}
    used = standard or (own.pop() if len(own) == 1 else None)
    sides = side(session, rows[0], used), side(session, rows[1], used)
    comparability = compare_conditions(
        _circumstances(session, sides[0]),
        _circumstances(session, sides[1]),
        bounds=shop(session).alike,
        hybrid=vehicle.hybrid,
    )
    refusals = [*comparability.blocking, *(one.refusal for one in sides if one.refusal)]
    if "engine" in {one.measured_at for one in sides} and sides[0].measured_at != sides[1].measured_at:
        refusals.append("the power of one is told at the wheels and of the other at the engine")
    history, result = None, None
    if not refusals and sides[0].pulls is not None and sides[1].pulls is not None:
        last = max(row.measured_at for row in rows)
        history = dyno_curves.history(session, rows[0].dyno_id, leave_out=[row.id for row in rows], until=last)
        try:
            result = gain(sides[0].pulls, sides[1].pulls, history=history)
            result = replace(result, warnings=(*result.warnings, *_unknown_air(*sides)))
        except AppError as error:
            refusals.append(error.sentence)
    return Compared(
        vehicle=vehicle,
        before=sides[0],
        after=sides[1],
        standard=used,
        offered=_offered(session, rows) if used is None else (),
        converted=used is not None and any(row.correction_standard != used for row in rows),
        comparability=comparability,
        history=history,
        result=result,
        refusals=tuple(refusals),
    )


def _unknown_air(before: Side, after: Side) -> tuple[str, ...]:
    """What humidity that was not recorded leaves open: it moves whole curves and is no part of the band."""
    parts = [
        f"{name} by up to {plain(100 * (one.factor.high - one.factor.low) / (2 * one.factor.factor), 1)} %"
        for name, one in (("before", before), ("after", after))
        if one.factor is not None and one.factor.high > one.factor.low
    ]
    if not parts:
        return ()
    return (
        f"Humidity was not recorded: the correction may be wrong {' and '.join(parts)} of the power, up or down. The "
        "band and the verdict do not hold that; record the humidity, or compare uncorrected.",
    )


def side(session: Session, row: DynoSession, standard: str | None) -> Side:
    """The session's pulls under a standard (None: its own); what hinders it becomes the side's refusal."""
    pulls = dyno_curves.fitted(session, [row.id])[row.id]
    positions = tuple(one.key.position for one in pulls if one.counts)
    left_out = tuple((one.key.position, one.key.reason or one.refusal) for one in pulls if not one.counts)
    counted = [one.key for one in pulls if one.counts]
    by_dyno = bool(counted) and all(key.corrected for key in counted)
    places = {key.measured_at for key in counted} - {None}
    measured_at = None if not places else "mixed" if len(places) > 1 else places.pop()
    factor = None
    try:
        factor = dyno_curves.factor_for(session, row, [one.key for one in pulls], standard)
        curves = dyno_curves.joined(pulls, factor.factor)
    except AppError as error:
        sentence = f"session of {row.measured_at:%Y-%m-%d}: {error.sentence}"
        return Side(row, by_dyno, measured_at, positions, left_out, factor, None, sentence)
    return Side(row, by_dyno, measured_at, positions, left_out, factor, curves, "")


def place_words(sides: Sequence[Side]) -> str:
    """Where the power of these sessions is told: "at the wheels", unless the files say otherwise."""
    said = {one.measured_at for one in sides}
    if said <= {"wheels", None}:
        return "at the wheels"
    return "at the engine, as the dyno states it" if said == {"engine"} else "at the wheels and at the engine, mixed"


def _circumstances(session: Session, one: Side) -> Circumstances:
    row = one.row
    standard = row.correction_standard if one.factor is None else one.factor.standard
    words = f"corrected by the dyno, {STANDARDS[row.correction_standard]}" if one.by_dyno else STANDARDS[standard]
    return Circumstances(
        dyno=dyno.dyno(session, row.dyno_id).name,
        gear=row.gear,
        drive_mode=row.drive_mode,
        driven_axles=row.driven_axles,
        standard=words,
        tyre=row.tyre,
        fuel=row.fuel,
        tyre_pressure_bar=row.tyre_pressure_bar,
        pressure_hpa=row.pressure_hpa,
        temperature_c=row.temperature_c,
        relative_humidity_percent=row.relative_humidity_percent,
        start_intake_c=row.start_intake_c,
        start_coolant_c=row.start_coolant_c,
        battery_soc_percent=row.battery_soc_percent,
    )


def _offered(session: Session, rows: Sequence[DynoSession]) -> tuple[str, ...]:
    """Standards under which every one of the sessions can be computed from its raw pulls."""

    def works(standard: str) -> bool:
        try:
            return all(dyno_curves.factor(session, row, standard) is not None for row in rows)
        except AppError:
            return False

    return tuple(standard for standard in STANDARDS if works(standard))
