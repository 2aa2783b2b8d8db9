"""What the before/after report for a customer shows: honest to an engineer, readable for a customer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from app.calc.dyno.correction import BOOST_CAUTION, standard_words
from app.calc.dyno.gain import ReadOff
from app.calc.dyno.peaks import CurvePeak
from app.calc.dyno.repeatability import repeatability
from app.calc.number_text import rpm
from app.errors import Conflict
from app.pages.dyno.session_limits import limits_view
from app.pages.gain.charts import gain_chart
from app.pages.gain.view import SideView, condition_row, session_names, side_view
from app.pages.gain.words import Quantity, average_of, judged, verdict_words
from app.record import dyno, gains, journal, report_evidence, vehicles
from app.record.car_state import pending_of
from app.record.gain_report import GainReport, report
from app.record.gains import Compared, Side
from app.record.report_evidence import Carried
from app.web.page import View, day, when, writing_as

CAUTIONS = (
    "Lean mixture, knock, exhaust temperature and boost beyond the hardware's limits destroy engines: keep to the fuel "
    "and the parts named here, and stop at the first sign.",
    "Changing emission-relevant calibration is prohibited on public roads in many places; local law and the terms of "
    "insurance decide.",
    "Restoring stock later does not restore warranty rights, and this record keeps the history.",
)
STATEMENTS = (
    "Every ± on this sheet is a 95 % statement: of the curve and the table it covers the whole curve at once, of an "
    "average that one average.",
    "Power is what the dyno measured where the table says; it is no certified engine power.",
    "What is listed as not verified was not seen; nothing is claimed about it.",
)


@dataclass(frozen=True, slots=True)
class SideFacts:
    """One session in the words of the report."""

    view: SideView
    repeats: str


@dataclass(frozen=True, slots=True)
class CalibrationFacts:
    """A revision measured after: (term, value) pairs, the digest apart because it is read letter by letter."""

    title: str
    facts: tuple[tuple[str, str | None], ...]
    digest: str | None


@dataclass(frozen=True, slots=True)
class ReportPage:
    """rows: engine speed, power before → after, its gain, torque before → after, its gain, verdict on the power.
    bands: band, power gain, torque gain, verdict. limit_rows: limit, what was found, nearest or furthest value."""

    from_id: int
    to_id: int
    standard_query: str
    printed: str
    lead: str
    summary: str
    sessions: str
    coding_pending: str
    car: tuple[tuple[str, str | None], ...]
    odometer_km: float | None
    place: str
    units: tuple[str, str]
    rows: tuple[tuple[str, ...], ...]
    bands: tuple[tuple[str, str, str, str], ...]
    shares: str
    chart: dict[str, Any]
    chart_summary: str
    sides: tuple[SideFacts, SideFacts]
    converted: str
    comparability: str
    conditions: tuple[tuple[str, str, str, str], ...]
    method: str
    warnings: tuple[str, ...]
    calibrations: tuple[CalibrationFacts, ...]
    verified: tuple[tuple[str, str], ...]
    not_verified: tuple[tuple[str, str], ...]
    limits: str
    limit_rows: tuple[tuple[str, str, str], ...]
    legal_basis: str
    cautions: tuple[str, ...]
    statements: tuple[str, ...]
    journal_head: str


def report_page(
    session: Session, before_id: int, after_id: int, view: View, *, standard: str | None, at: datetime
) -> ReportPage:
    """Conflict when the sessions give no gain."""
    found = gains.compared(session, before_id, after_id, standard=standard)
    if found.result is None:
        raise Conflict("These sessions give no gain as they stand: " + "; ".join(found.refusals) + ".")
    figures = report(session, found)
    power, torque = Quantity("power", "Power", view.units), Quantity("torque", "Torque", view.units)
    rows = dyno.sessions_of_vehicle(session, found.vehicle.id)
    named = session_names(session, rows, view)
    place = gains.place_words([found.before, found.after])
    checked = limits_view(session, found.vehicle.id, dyno.runs_of(session, [after_id])[after_id], view.units)
    told = report_evidence.statements(session, found.after.row)
    odometer = vehicles.odometer_km(session, found.vehicle.id)
    with writing_as(view):
        printed = when(at)
        sessions = f"Before {day(found.before.row.measured_at)}, after {day(found.after.row.measured_at)}"
    return ReportPage(
        from_id=before_id,
        to_id=after_id,
        standard_query=standard or "",
        printed=printed,
        sessions=sessions,
        lead=verdict_words(found.result, power),
        summary=_summary(figures, power, torque, place),
        car=_car(session, found, view),
        coding_pending=_coding_pending(session, found),
        odometer_km=None if odometer is None else odometer[0],
        place=place,
        units=(power.unit, torque.unit),
        rows=tuple(_row(one, power, torque) for one in figures.read_offs),
        bands=tuple(
            (
                f"{one.low_rpm:,.0f} to {rpm(one.high_rpm)}",
                power.difference(*average_of(one, "power")),
                torque.difference(*average_of(one, "torque")),
                judged(*average_of(one, "power"))[1],
            )
            for one in figures.bands
        ),
        shares=_shares(figures),
        chart=gain_chart(found, ("Before", "After"), [], power, place),
        chart_summary="Thin lines are single pulls. Below: the gain; the shaded band covers the whole curve at once.",
        sides=(_side(found.before, named, view), _side(found.after, named, view)),
        converted=""
        if not found.converted or found.standard is None
        else f"Both sessions are computed anew from their raw pulls, {standard_words(found.standard)}.",
        comparability=found.comparability.sentence,
        conditions=tuple(
            (row.name, row.before, row.after, row.verdict)
            for row in (condition_row(item, view) for item in found.comparability.items)
        ),
        method=found.result.method,
        warnings=_warnings(found),
        calibrations=_calibrations(session, found, view),
        verified=tuple((one.title, one.sentence) for one in told if one.verified),
        not_verified=tuple((one.title, one.sentence) for one in told if not one.verified),
        limits=checked.sentence,
        limit_rows=tuple(
            (f"{row.what}{row.region and f', {row.region}'}", row.word, row.worst) for row in checked.rows
        ),
        legal_basis=found.vehicle.legal_basis,
        cautions=tuple(_cautions(found)),
        statements=STATEMENTS,
        journal_head=journal.head(session).short,
    )


def _summary(figures: GainReport, power: Quantity, torque: Quantity, place: str) -> str:
    """The two peaks in the words of a customer."""
    parts = []
    for quantity, (before, after) in ((power, figures.power), (torque, figures.torque)):
        what = "highest" if before.at_end or after.at_end else "peak"
        parts.append(
            f"{what} {quantity.name} {place} went from {quantity.text(before.at.value, before.half)} at "
            f"{rpm(before.at.speed_rpm)} to {quantity.text(after.at.value, after.half)} at {rpm(after.at.speed_rpm)}"
        )
    text = "; ".join(parts)
    return text[:1].upper() + text[1:] + "." + _beyond(figures)


def _beyond(figures: GainReport) -> str:
    """The two peaks' difference is no gain where one of the sessions does not cover the other's peak."""
    names = [name for name, pair in (("power", figures.power), ("torque", figures.torque)) if not _all_shared(pair)]
    if not names:
        return ""
    which = f"highest {' and '.join(names)}"
    return f" The speed of one's {which} is not covered by the other session, so no gain can be told there."


def _all_shared(pair: tuple[CurvePeak, CurvePeak]) -> bool:
    return pair[0].shared and pair[1].shared


def _car(session: Session, found: Compared, view: View) -> tuple[tuple[str, str | None], ...]:
    car = found.vehicle
    customer = vehicles.customer(session, car.customer_id)
    year = "" if car.year is None else f", {car.year}"
    rated = None
    if car.rated_power_kw is not None:
        rated = view.units.text(car.rated_power_kw, "power") + (
            f" ({car.rated_standard})" if car.rated_standard else ""
        )
    found_on_record = (
        ("Vehicle", f"{car.make} {car.model}{year}"),
        ("Engine", car.engine),
        ("VIN", car.vin),
        ("Plate", car.plate),
        ("Customer", None if customer is None else customer.name),
        ("Rated power", rated),
    )
    return tuple((term, value) for term, value in found_on_record if value)


def _coding_pending(session: Session, found: Compared) -> str:
    """The car must not be started: said at the top of its own sheet, which prints no other car's warning."""
    if not pending_of(session, [found.vehicle]):
        return ""
    return "Do not start the engine: option coding has not been written back and verified since the last write."


def _row(one: ReadOff, power: Quantity, torque: Quantity) -> tuple[str, ...]:
    def number(quantity: Quantity, value: float) -> str:
        return quantity.text(value).removesuffix(quantity.unit).rstrip()

    def gain(quantity: Quantity, value: float, half: float | None) -> str:
        return quantity.difference(value, half).removesuffix(quantity.unit).rstrip()

    _, verdict = judged(one.gain_kw, one.half_kw)
    return (
        f"{one.speed_rpm:,.0f}",
        f"{number(power, one.before_kw)} → {number(power, one.after_kw)}",
        gain(power, one.gain_kw, one.half_kw),
        f"{number(torque, one.before_nm)} → {number(torque, one.after_nm)}",
        gain(torque, one.gain_nm, one.half_nm),
        verdict,
    )


def _shares(figures: GainReport) -> str:
    if figures.shares is None:
        return "How sure the gain is, is not known: there is nothing to tell how well these pulls repeat."
    return (
        f"Of the speeds that both sessions cover, {100 * figures.shares.better:.0f} % are proven to give more, "
        f"{100 * figures.shares.within:.0f} % do not differ by more than pulls repeat, "
        f"{100 * figures.shares.worse:.0f} % are proven to give less."
    )


def _side(side: Side, named: dict[int, str], view: View) -> SideFacts:
    repeats = ""
    if side.pulls is not None:
        found = repeatability(side.pulls)
        repeats = (
            "One pull alone does not tell how well it repeats."
            if found.r_kw is None
            else f"Two such pulls differ at the peak by less than {view.units.text(found.r_kw, 'power')} in 95 of 100 "
            "cases (repeatability limit r, ISO 5725)."
        )
    return SideFacts(side_view(side, named), repeats)


def _warnings(found: Compared) -> tuple[str, ...]:
    result = found.result
    assert result is not None
    told = list(result.warnings)
    for name, side in zip(("Before", "After"), (found.before, found.after), strict=True):
        told += [
            f"{name}: {flag}" for flag in (() if side.factor is None else side.factor.flags) if flag != BOOST_CAUTION
        ]
    if found.vehicle.boosted and found.standard not in (None, "none"):
        told.append(BOOST_CAUTION)
    return tuple(dict.fromkeys(told))


def _calibrations(session: Session, found: Compared, view: View) -> tuple[CalibrationFacts, ...]:
    return tuple(
        _calibration(one, view) for one in report_evidence.carried(session, found.after.row) if one.revision is not None
    )


def _calibration(one: Carried, view: View) -> CalibrationFacts:
    revision = one.revision
    assert revision is not None
    with writing_as(view):
        written = None if one.write is None else day(one.write.flash.flashed_at)
    return CalibrationFacts(
        title=f"{one.unit.role.capitalize()} control unit: revision {revision.number} “{revision.title}”",
        facts=(
            ("Purpose", revision.purpose),
            ("Needs fuel", revision.fuel_requirement or None),
            ("Needs hardware", revision.hardware_requirement or None),
            (
                "Control unit",
                f"hardware {one.unit.hardware_number}, software {one.unit.software_number or 'not recorded'}",
            ),
            ("Written", written),
        ),
        digest=one.digest,
    )


def _cautions(found: Compared) -> Sequence[str]:
    if not found.vehicle.hybrid:
        return CAUTIONS
    return (
        *CAUTIONS,
        "High-voltage work only by people licensed for it, isolated per the manufacturer's procedure; local rules "
        "apply.",
    )
