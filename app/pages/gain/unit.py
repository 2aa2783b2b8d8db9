"""Which step brought what: every revision of a control unit against its parent and against stock."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.calc.number_text import counted, rpm
from app.pages.gain.words import Quantity, judged, verdict_words
from app.record import unit_gains, vehicles
from app.record.car_state import vehicle_label
from app.record.tables import Revision
from app.record.unit_gains import Glance, Step, glance_of
from app.web.page import View, day, render, view_of, writing_as
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()


@dataclass(frozen=True, slots=True)
class StepRow:
    """One revision against its parent, and the way to the whole gain."""

    revision: str
    href: str
    base: str
    gain: str
    state: str
    verdict: str
    sentence: str
    gain_href: str | None
    measured: str
    note: str
    stock: str
    stock_href: str | None


@dataclass(frozen=True, slots=True)
class UnitGainsPage:
    unit_id: int
    role: str
    vehicle_id: int
    vehicle: str
    lead: str
    chart: dict[str, Any] | None
    chart_summary: str
    rows: tuple[StepRow, ...]


def _page(session: Session, unit_id: int, view: View) -> UnitGainsPage:
    unit = vehicles.control_unit(session, unit_id)
    vehicle = vehicles.vehicle(session, unit.vehicle_id)
    steps, whole = unit_gains.steps(session, unit.id), unit_gains.against_stock(session, unit.id)
    quantity = Quantity("power", "Power", view.units)
    measured = [one for one in steps if glance_of(one.found) is not None]
    with writing_as(view):
        rows = tuple(_row(one, other, quantity) for one, other in zip(steps, whole, strict=True))
    return UnitGainsPage(
        unit_id=unit.id,
        role=unit.role,
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        lead=_lead(steps, measured),
        chart=_chart(measured, quantity),
        chart_summary=_summary(measured, quantity),
        rows=rows,
    )


def _lead(steps: Sequence[Step], measured: Sequence[Step]) -> str:
    if not steps:
        return "No revision is logged for this control unit yet."
    parent = "what it was" if len(steps) == 1 else "what they were"
    made = f"{len(measured)} of {counted(len(steps), 'revision')} measured against {parent}"
    proven = sum(judged(one.gain_kw, one.half_kw)[0] in ("ok", "attention") for one in map(_seen, measured))
    if len(measured) == 1:
        told = "it differs" if proven else "it does not differ"
    else:
        told = f"{proven} of them {'differs' if proven == 1 else 'differ'}" if proven else "none of them differs"
    return f"{made} made from, on one dyno in one gear; {told} at the power peak by more than pulls repeat."


def _seen(step: Step) -> Glance:
    glance = glance_of(step.found)
    assert glance is not None
    return glance


def _name(row: Revision) -> str:
    return f"Revision {row.number} “{row.title}”"


def _row(one: Step, whole: Step, quantity: Quantity) -> StepRow:
    glance, over_stock = glance_of(one.found), glance_of(whole.found)
    result = None if one.found is None else one.found.result
    state, verdict = ("unknown", "not known") if glance is None else judged(glance.gain_kw, glance.half_kw)
    return StepRow(
        revision=_name(one.revision),
        href=f"/revisions/{one.revision.id}",
        base="stock" if one.base is None else f"revision {one.base.number}",
        gain="–"
        if glance is None
        else f"{quantity.difference(glance.gain_kw, glance.half_kw)} at {rpm(glance.speed_rpm)}{_beyond(glance)}",
        state=state,
        verdict=verdict,
        sentence=f"{one.refusal[:1].upper()}{one.refusal[1:].rstrip('.')}."
        if result is None
        else verdict_words(result, quantity),
        gain_href=_address(one),
        measured="" if one.pair is None else f"{day(one.pair[0].measured_at)} and {day(one.pair[1].measured_at)}",
        note=""
        if one.alone
        else "Another control unit was changed as well between these sessions: the gain is that of both.",
        stock="–" if over_stock is None else quantity.difference(over_stock.gain_kw, over_stock.half_kw),
        stock_href=_address(whole),
    )


def _beyond(glance: Glance) -> str:
    if glance.peak_rpm == glance.speed_rpm:
        return ""
    return f", an end of what both cover; no gain can be told at the peak, {rpm(glance.peak_rpm)}"


def _address(one: Step) -> str | None:
    if one.pair is None:
        return None
    standard = "" if one.found is None or not one.found.converted else f"&standard={one.found.standard}"
    return f"/gains?from={one.pair[0].id}&to={one.pair[1].id}{standard}"


def _chart(measured: Sequence[Step], quantity: Quantity) -> dict[str, Any] | None:
    """The gain of each step where its curve peaks, with its band as an error bar."""
    if not measured:
        return None
    names, values, lows, highs = [], [], [], []
    for one in measured:
        glance = _seen(one)
        half = glance.half_kw or 0.0
        unknown = "" if glance.half_kw is not None else ", band not known"
        names.append(f"{one.revision.number} over {'stock' if one.base is None else one.base.number}{unknown}")
        values.append(glance.gain_kw)
        lows.append(glance.gain_kw - half)
        highs.append(glance.gain_kw + half)
    factor = quantity.units.show(1.0, "power")

    def shown(numbers: Sequence[float]) -> list[float]:
        return [round(number * factor, 3) for number in numbers]

    series = {"name": "Gain", "x": names, "y": shown(values), "low": shown(lows), "high": shown(highs)}
    return {
        "kind": "bars",
        "x": {"label": "Revision over what it was made from", "unit": ""},
        "y": {"label": "Gain at the power peak", "unit": quantity.unit},
        "series": [series],
    }


def _summary(measured: Sequence[Step], quantity: Quantity) -> str:
    best: tuple[float, Step] | None = None
    for one in measured:
        glance = glance_of(one.found)
        if glance is not None and (best is None or glance.gain_kw > best[0]):
            best = (glance.gain_kw, one)
    if best is None:
        return "No step was measured before and after yet."
    step = best[1]
    read = _seen(step)
    over = "stock" if step.base is None else f"revision {step.base.number}"
    return (
        f"The largest step is {_name(step.revision)} over {over}: {quantity.difference(read.gain_kw, read.half_kw)} at "
        f"{rpm(read.speed_rpm)}. Upright lines: the band that covers the whole curve."
    )


@router.get("/control-units/{unit_id:int}/gains")
def show_unit_gains(request: Request, unit_id: int, session: Read, person: Viewer) -> HTMLResponse:
    page = _page(session, unit_id, view_of(request, session, person))
    return render(request, "gain/unit.html", page, session=session, person=person, title="Gains by revision")
