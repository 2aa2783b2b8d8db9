"""A strip run computed from a session's wheel power, and what a change brings there."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse
from sqlalchemy.orm import Session

from app.calc.dyno.strip import FigureChange, StripResult
from app.errors import AppError
from app.pages.gain.view import session_choices, session_names
from app.pages.results.figures import LABELS, difference_text, figure_text
from app.record import dyno, vehicles
from app.record.car_state import vehicle_label
from app.web.computed_run import USUAL, AskedRun, RunAsked, compute
from app.web.page import View, render, view_of
from app.web.signed_in import Viewer
from app.web.transaction import Read
from app.web.units_view import UnitsView

router = APIRouter()

_USUAL = {"cda": USUAL.cda_m2, "crr": USUAL.crr, "shift_time": USUAL.shift_time_s, "friction": USUAL.friction}


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


def _page(session: Session, vehicle_id: int, asked: RunAsked, view: View) -> ComputedPage:
    vehicle = vehicles.vehicle(session, vehicle_id)
    rows = dyno.sessions_of_vehicle(session, vehicle.id)
    names = session_names(session, rows, view)
    values = asked.values
    figures: tuple[FigureRow, ...] = ()
    notes: tuple[str, ...] = ()
    lead, sentence = "Choose the session whose wheel power drives the run.", ""
    errors: dict[str, str] = {}
    try:
        found = compute(session, vehicle, asked, names)
        if found is not None and found.changes is not None and found.against_id is not None:
            figures = _changes(found.changes, view.units)
            lead = f"{names[found.against_id]} → {names[found.session_id]}"
            notes = (
                "Intervals carry the dyno's uncertainty alone: car, grip, driver and air, that of the session "
                "before, are the same in both runs.",
            )
        elif found is not None and found.run is not None:
            figures = _run(found.run, view.units)
            lead = names[found.session_id]
            notes = (
                "No interval: these figures hang on what is taken for granted below. Choose a session to compare "
                "with for a change and its interval.",
            )
    except AppError as error:
        sentence = error.sentence
        errors = {error.field: error.sentence} if error.field in values else {}
    return ComputedPage(
        vehicle_id=vehicle.id,
        vehicle=vehicle_label(vehicle),
        lead=lead,
        figures=figures,
        notes=notes,
        sessions=session_choices(session, rows, view),
        values=values,
        usual={name: f"{usual:g}" for name, usual in _USUAL.items()},
        errors=errors,
        sentence=sentence,
    )


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
    asked: AskedRun,
) -> HTMLResponse:
    page = _page(session, vehicle_id, asked, view_of(request, session, person))
    return render(
        request,
        "results/computed.html",
        page,
        session=session,
        person=person,
        title="Computed strip run",
        status=422 if page.sentence else 200,
    )
