"""A strip run computed from a session's wheel power, and what a change brings there."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.calc.dyno.strip import FigureChange, StripResult
from app.errors import AppError, BadInput
from app.pages.gain.view import session_names
from app.pages.results.figures import LABELS, difference_text, figure_text
from app.record import dyno, gains, strip, vehicles
from app.record.car_state import vehicle_label
from app.record.strip import Assumptions
from app.web.form import read_choice, read_number
from app.web.page import View, render, view_of
from app.web.signed_in import Viewer
from app.web.transaction import Read
from app.web.units_view import UnitsView

router = APIRouter()

Text = Annotated[str, Query(max_length=20)]
_CHOOSE = "Choose a session of this car."


@dataclass(frozen=True, slots=True)
class FigureRow:
    """One figure of the run; without a second session `after` and `change` are empty."""

    name: str
    before: str
    after: str
    change: str
    state: str
    verdict: str


@dataclass(frozen=True, slots=True)
class ComputedPage:
    vehicle_id: int
    vehicle: str
    lead: str
    figures: tuple[FigureRow, ...]
    notes: tuple[str, ...]
    sessions: tuple[tuple[str, str], ...]
    values: dict[str, str]
    usual: dict[str, str]
    errors: dict[str, str]
    sentence: str


_USUAL = Assumptions()
_FIELDS = {
    "cda": ("Drag area", 0.1, 3.0, _USUAL.cda_m2),
    "crr": ("Rolling resistance", 0.0, 0.05, _USUAL.crr),
    "shift_time": ("Time for a gear change", 0.0, 3.0, _USUAL.shift_time_s),
    "friction": ("Tyre grip", 0.1, 3.0, _USUAL.friction),
    "share": ("Weight on the driven wheels", 10.0, 100.0, None),
    "shift_speed": ("Engine speed at the change", 500.0, 20000.0, None),
}


def _assumptions(values: dict[str, str]) -> Assumptions:
    found = {
        name: read_number(values[name], field=name, label=label, lowest=low, highest=high)
        for name, (label, low, high, _) in _FIELDS.items()
    }

    def given(name: str, usual: float) -> float:
        value = found[name]
        return usual if value is None else value

    share = found["share"]
    return Assumptions(
        cda_m2=given("cda", _USUAL.cda_m2),
        crr=given("crr", _USUAL.crr),
        shift_time_s=given("shift_time", _USUAL.shift_time_s),
        friction=given("friction", _USUAL.friction),
        driven_weight_share=None if share is None else share / 100,
        shift_speed_rpm=found["shift_speed"],
    )


def _page(session: Session, vehicle_id: int, values: dict[str, str], view: View) -> ComputedPage:
    vehicle = vehicles.vehicle(session, vehicle_id)
    rows = dyno.sessions_of_vehicle(session, vehicle.id)
    names = session_names(session, rows, view)
    figures: tuple[FigureRow, ...] = ()
    notes: tuple[str, ...] = ()
    lead, sentence = "Choose the session whose wheel power drives the run.", ""
    errors: dict[str, str] = {}
    try:
        chosen = _chosen(values, names)
        if chosen:
            car = strip.strip_car(vehicle, _assumptions(values))
            if len(chosen) == 2:
                found = gains.compared(session, chosen[0], chosen[1])
                figures = _changes(strip.computed_change(found, car), view.units)
                lead = f"{names[chosen[0]]} → {names[chosen[1]]}"
                notes = (
                    "Intervals carry the dyno's uncertainty alone: car, grip, driver and air, that of the session "
                    "before, are the same in both runs.",
                )
            else:
                figures = _run(strip.computed_run(session, dyno.dyno_session(session, chosen[0]), car), view.units)
                lead = names[chosen[0]]
                notes = (
                    "No interval: these figures hang on what is taken for granted below. Choose a session to compare "
                    "with for a change and its interval.",
                )
    except AppError as error:
        sentence = error.sentence
        field = "shift_speed" if error.field == "shift_speed_rpm" else error.field
        errors = {field: error.sentence} if field in values else {}
    return ComputedPage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        lead=lead,
        figures=figures,
        notes=notes,
        sessions=tuple((str(row.id), names[row.id]) for row in rows),
        values=values,
        usual={name: "" if usual is None else f"{usual:g}" for name, (_, _, _, usual) in _FIELDS.items()},
        errors=errors,
        sentence=sentence,
    )


def _chosen(values: dict[str, str], names: dict[int, str]) -> list[int]:
    """The sessions asked for, one or two, of this car."""
    found = []
    for name in ("session", "against"):
        if not values[name]:
            continue
        chosen = read_choice(values[name], field=name, sentence=_CHOOSE)
        if chosen not in names:
            raise BadInput(_CHOOSE, field=name)
        if chosen in found:
            raise BadInput("That session drives the run already; compare it with another one.", field=name)
        found.append(chosen)
    return found[::-1] if len(found) == 2 else found


def _run(result: StripResult, units: UnitsView) -> tuple[FigureRow, ...]:
    figures = result.figures()
    return tuple(
        FigureRow(label, figure_text(name, figures[name], units), "", "", "", "")
        for name, label in LABELS.items()
        if name in figures
    )


def _changes(found: dict[str, FigureChange], units: UnitsView) -> tuple[FigureRow, ...]:
    rows = []
    for name, label in LABELS.items():
        if name not in found:
            continue
        one = found[name]
        known = one.low is not None and one.high is not None
        half = (one.high - one.low) / 2 if one.low is not None and one.high is not None else None
        word = "not known" if not known else "changed" if one.resolved else "not resolved"
        rows.append(
            FigureRow(
                label,
                figure_text(name, one.before, units),
                figure_text(name, one.after, units),
                difference_text(name, one.change, half, units),
                "ok" if one.resolved else "unknown",
                word,
            )
        )
    return tuple(rows)


@router.get("/vehicles/{vehicle_id:int}/computed-run")
def show_computed_run(
    request: Request,
    vehicle_id: int,
    session: Read,
    person: Viewer,
    after: Annotated[str, Query(alias="session", max_length=20)] = "",
    against: Text = "",
    cda: Text = "",
    crr: Text = "",
    shift_time: Text = "",
    friction: Text = "",
    share: Text = "",
    shift_speed: Text = "",
) -> HTMLResponse:
    values = {
        "session": after,
        "against": against,
        "cda": cda,
        "crr": crr,
        "shift_time": shift_time,
        "friction": friction,
        "share": share,
        "shift_speed": shift_speed,
    }
    page = _page(session, vehicle_id, values, view_of(request, session, person))
    return render(
        request,
        "results/computed.html",
        page,
        session=session,
        person=person,
        title="Computed strip run",
        status=422 if page.sentence else 200,
    )
