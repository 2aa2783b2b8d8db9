"""A car's limits for logged channels: set, replaced, withdrawn."""

import datetime as dt
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.reinstate_limit import reinstate_limit
from app.actions.set_limit import NewLimit, ending, set_limit
from app.calc.dyno.channel_names import CHANNEL_NAMES, LIMITABLE, channel_label
from app.calc.dyno.limits import Limit
from app.errors import AppError, BadInput, NotFound
from app.record import flashes, limits, vehicles
from app.record.car_state import vehicle_label
from app.record.limits import LimitRecord
from app.record.tables import Person, VehicleLimit
from app.web.form import FormModel, OncePerForm, read_number, see_other, text_of
from app.web.now import Now
from app.web.page import render, view_of
from app.web.signed_in import Tuner, Viewer
from app.web.transaction import Read, Write
from app.web.units_view import UnitsView

router = APIRouter()

_FIELD_OF = {
    "speed_lo_rpm": "speed_lo",
    "speed_hi_rpm": "speed_hi",
    "load_lo_percent": "load_lo",
    "load_hi_percent": "load_hi",
}


@dataclass(frozen=True, slots=True)
class LimitRow:
    """One limit in words; `state` and `why` are those of its record."""

    id: int
    what: str
    region: str
    severity: str
    note: str
    by: str
    at: dt.datetime
    state: str
    why: str


@dataclass(frozen=True, slots=True)
class LimitsPage:
    vehicle_id: int
    vehicle: str
    may_tune: bool
    in_force: tuple[LimitRow, ...]
    ended: tuple[LimitRow, ...]
    channels: tuple[tuple[str, str], ...]
    replacing: LimitRow | None
    done: LimitRow | None
    values: dict[str, str]
    reason: str
    errors: dict[str, str]
    sentence: str


class LimitForm(FormModel):
    """A limit as typed; the value is in the unit that stands with the channel's name."""

    channel: str = ""
    bound: str = "max"
    value: str = ""
    severity: str = "stop"
    speed_lo: str = ""
    speed_hi: str = ""
    load_lo: str = ""
    load_hi: str = ""
    note: str = ""
    supersedes_id: int | None = None


class WithdrawForm(FormModel):
    reason: str = ""
    confirmed: str = ""


def limit_words(channel: str, bound: str, value: float, units: UnitsView) -> str:
    """ "Lambda at most 0.880 λ"."""
    return f"{channel_label(channel)} {bound_words(channel, bound, value, units)}"


def bound_words(channel: str, bound: str, value: float, units: UnitsView) -> str:
    """ "at most 0.880 λ"."""
    name = CHANNEL_NAMES.get(channel)
    shown = f"{value:g}" if name is None else units.text(value, name.quantity)
    return f"{'at most' if bound == 'max' else 'at least'} {shown}"


def region_words(row: VehicleLimit | Limit) -> str:
    """ "3,000 to 6,500 rpm", or "everywhere"."""
    parts = [_span(row.speed_lo_rpm, row.speed_hi_rpm, "rpm"), load_words(row)]
    return ", ".join(part for part in parts if part) or "everywhere"


def load_words(row: VehicleLimit | Limit) -> str:
    """ "from 60 % load"; empty for a limit at any load."""
    return _span(row.load_lo_percent, row.load_hi_percent, "% load")


def _span(low: float | None, high: float | None, unit: str) -> str:
    if low is not None and high is not None:
        return f"{low:,g} to {high:,g} {unit}"
    if low is not None:
        return f"from {low:,g} {unit}"
    return f"up to {high:,g} {unit}" if high is not None else ""


def _row(session: Session, one: LimitRecord, units: UnitsView) -> LimitRow:
    row = one.limit
    return LimitRow(
        row.id,
        limit_words(row.channel, row.bound, row.value, units),
        region_words(row),
        "stop the pull" if row.severity == "stop" else "watch",
        row.note,
        flashes.person_name(session, row.by_id),
        row.at,
        one.state,
        one.why,
    )


@dataclass(frozen=True, slots=True)
class _Reader:
    """Whose page it is: their units, and whether they may set limits."""

    units: UnitsView
    may_tune: bool


def _reader(request: Request, session: Session, person: Person) -> _Reader:
    return _Reader(view_of(request, session, person).units, person.role != "front_desk")


def _page(
    session: Session,
    vehicle_id: int,
    view: _Reader,
    form: LimitForm | None = None,
    error: AppError | None = None,
    replace: int | None = None,
    withdrawing: tuple[int, str] | None = None,
    done: int | None = None,
) -> LimitsPage:
    """The page; `withdrawing` is the limit whose withdrawal was refused, and the reason as typed; `done`
    the one that was just withdrawn or put back."""
    vehicle = vehicles.vehicle(session, vehicle_id)
    units = view.units
    rows = limits.history(session, vehicle.id)
    shown = [_row(session, one, units) for one in rows]
    chosen = next((one.limit for one in rows if one.limit.id == replace and one.state == "in force"), None)
    values = text_of(form or _filled(chosen, units))
    return LimitsPage(
        vehicle.id,
        vehicle_label(vehicle),
        view.may_tune,
        tuple(row for row in shown if row.state == "in force"),
        tuple(row for row in reversed(shown) if row.state != "in force"),
        tuple(
            (name, f"{channel_label(name)} [{units.symbol(CHANNEL_NAMES[name].quantity)}]")
            for name in sorted(LIMITABLE, key=channel_label)
        ),
        None if chosen is None else next(row for row in shown if row.id == chosen.id),
        next((row for row in shown if row.id == done and row.state in ("withdrawn", "in force")), None),
        values,
        "" if withdrawing is None else withdrawing[1],
        {} if error is None else _at_field(error, withdrawing),
        "" if error is None else error.sentence,
    )


def _at_field(error: AppError, withdrawing: tuple[int, str] | None) -> dict[str, str]:
    """The sentence under the id of the field that it is about; under none for a limit that has ended already."""
    if withdrawing is not None:
        return {f"reason-{withdrawing[0]}": error.sentence} if error.field else {}
    return {_FIELD_OF.get(error.field or "", error.field or "channel"): error.sentence}


def _filled(row: VehicleLimit | None, units: UnitsView) -> LimitForm:
    """The form with the figures of the limit to be replaced."""
    if row is None:
        return LimitForm()
    name = CHANNEL_NAMES.get(row.channel)
    value = row.value if name is None else units.show(row.value, name.quantity)

    def typed(number: float | None) -> str:
        return "" if number is None else f"{number:g}"

    return LimitForm(
        channel=row.channel,
        bound=row.bound,
        value=f"{value:.6g}",
        severity=row.severity,
        speed_lo=typed(row.speed_lo_rpm),
        speed_hi=typed(row.speed_hi_rpm),
        load_lo=typed(row.load_lo_percent),
        load_hi=typed(row.load_hi_percent),
        note=row.note,
    )


def _new_limit(form: LimitForm, units: UnitsView) -> NewLimit:
    name = CHANNEL_NAMES.get(form.channel)
    if name is None:
        raise BadInput("Choose the channel that the limit is for.", field="channel")
    value = read_number(form.value, field="value", label="Limit")
    if value is None:
        raise BadInput("Write the limit's value.", field="value")
    return NewLimit(
        channel=form.channel,
        bound=form.bound,
        value=units.read(value, name.quantity),
        severity=form.severity,
        speed_lo_rpm=read_number(form.speed_lo, field="speed_lo", label="Engine speed from", lowest=0, unit="rpm"),
        speed_hi_rpm=read_number(form.speed_hi, field="speed_hi", label="Engine speed to", lowest=0, unit="rpm"),
        load_lo_percent=read_number(form.load_lo, field="load_lo", label="Load from", lowest=0, highest=400, unit="%"),
        load_hi_percent=read_number(form.load_hi, field="load_hi", label="Load to", lowest=0, highest=400, unit="%"),
        note=form.note,
    )


@router.get("/vehicles/{vehicle_id:int}/limits")
def show_limits(
    request: Request,
    vehicle_id: int,
    session: Read,
    person: Viewer,
    replace: int | None = None,
    done: int | None = None,
) -> HTMLResponse:
    page = _page(session, vehicle_id, _reader(request, session, person), replace=replace, done=done)
    return render(request, "limits/page.html", page, session=session, person=person, title="Limits")


@router.post("/vehicles/{vehicle_id:int}/limits")
def take_limit(
    request: Request,
    vehicle_id: int,
    form: Annotated[LimitForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    reader = _reader(request, session, person)
    try:
        limit = _new_limit(form, reader.units)
        with session.begin_nested():
            set_limit(
                session,
                person=person,
                at=now,
                vehicle_id=vehicle_id,
                limit=limit,
                supersedes_id=form.supersedes_id,
            )
    except NotFound:
        raise
    except AppError as error:
        page = _page(session, vehicle_id, reader, form, error, form.supersedes_id)
        return render(
            request, "limits/page.html", page, session=session, person=person, title="Limits", status=error.status
        )
    return see_other(request, session, f"/vehicles/{vehicle_id}/limits", once)


@router.post("/limits/{limit_id:int}/withdraw")
def withdraw(
    request: Request,
    limit_id: int,
    form: Annotated[WithdrawForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    old = limits.limit(session, limit_id)
    try:
        with session.begin_nested():
            set_limit(
                session,
                person=person,
                at=now,
                vehicle_id=old.vehicle_id,
                limit=ending(old, form.reason),
                supersedes_id=old.id,
                withdrawn=True,
            )
    except AppError as error:
        reader = _reader(request, session, person)
        page = _page(session, old.vehicle_id, reader, error=error, withdrawing=(old.id, form.reason))
        return render(
            request, "limits/page.html", page, session=session, person=person, title="Limits", status=error.status
        )
    return see_other(request, session, f"/vehicles/{old.vehicle_id}/limits?done={old.id}", once)


@router.post("/limits/{limit_id:int}/reinstate")
def reinstate(
    request: Request,
    limit_id: int,
    _form: Annotated[FormModel, Form()],
    once: OncePerForm,
    session: Write,
    person: Tuner,
    now: Now,
) -> Response:
    """Puts a limit back in force that was withdrawn by mistake."""
    row = reinstate_limit(session, person=person, at=now, limit_id=limit_id)
    return see_other(request, session, f"/vehicles/{row.vehicle_id}/limits?done={row.id}", once)
