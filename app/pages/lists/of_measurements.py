"""What was measured, as files: dynos, sessions, the inbox, strip runs, economy trials."""

from collections.abc import Iterator, Sequence

from fastapi import APIRouter
from fastapi.responses import Response
from sqlalchemy.orm import Session

from app.actions.record_strip_run import FIELDS
from app.calc.csv_text import Cell
from app.pages.lists.out import Ending, list_file
from app.record import dyno, inbox, results, vehicles
from app.record.tables import DynoSession
from app.web.csv_out import csv_download
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()

SESSION_COLUMNS = (
    "id", "measured_at", "purpose", "correction_standard", "pressure_hpa", "temperature_c",
    "relative_humidity_percent", "gear", "drive_mode", "driven_axles", "tyre", "tyre_pressure_bar", "fuel",
    "start_coolant_c", "start_intake_c", "battery_soc_percent", "note", "on_car", "pulls", "pulls_included",
)  # fmt: skip


@router.get("/dynos.csv")
def dyno_list(session: Read, _person: Viewer) -> Response:
    """The dynos of the shop."""
    header = ("id", "name", "note", "sessions", "confirmed_columns", "added_at")
    rows = (
        (
            one.id,
            one.name,
            one.note,
            len(dyno.session_ids_of_dyno(session, one.id)),
            len(one.profile or {}),
            one.made_at,
        )
        for one in dyno.dynos(session)
    )
    return csv_download("dynos", header, rows)


@router.get("/dynos/{dyno_id:int}/dyno-sessions.{ending}")
def dyno_session_list(dyno_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """The sessions on one dyno with their conditions, newest first."""
    place = dyno.dyno(session, dyno_id)
    found = list(reversed(dyno.sessions_of_dyno(session, place.id)))
    cars = [vehicles.vehicle(session, row.vehicle_id).vin for row in found]
    rows = ((vin, *cells) for vin, cells in zip(cars, _sessions(session, found), strict=True))
    return list_file(ending, f"sessions-dyno-{place.id}", ("vin", *SESSION_COLUMNS), rows)


@router.get("/vehicles/{vehicle_id:int}/dyno-sessions.csv")
def session_list(vehicle_id: int, session: Read, _person: Viewer) -> Response:
    """A car's dyno sessions with their conditions."""
    car = vehicles.vehicle(session, vehicle_id)
    found = dyno.sessions_of_vehicle(session, car.id)
    return csv_download(f"dyno-sessions-{car.vin}", SESSION_COLUMNS, _sessions(session, found))


def _sessions(session: Session, found: Sequence[DynoSession]) -> Iterator[list[Cell]]:
    ids = [row.id for row in found]
    on_car, runs = dyno.on_car_words(session, ids), dyno.runs_of(session, ids)
    for row in found:
        pulls = runs[row.id]
        own = [getattr(row, name) for name in SESSION_COLUMNS[:-3]]
        yield [*own, on_car[row.id], len(pulls), sum(run.included for run in pulls)]


@router.get("/inbox.{ending}")
def inbox_list(ending: Ending, session: Read, _person: Viewer) -> Response:
    """Dyno files that belong to no session yet."""
    header = ("id", "file_name", "recorded_at", "added_at", "pulls", "channels", "findings", "sha256")
    rows = (
        (
            row.id,
            row.file_name,
            row.recorded_at,
            row.at,
            row.summary["pulls"],
            " ".join(row.summary["channels"]),
            " ".join(row.summary["findings"]),
            row.sha256,
        )
        for row in inbox.waiting(session)
    )
    return list_file(ending, "inbox", header, rows)


@router.get("/vehicles/{vehicle_id:int}/strip-runs.{ending}")
def strip_run_list(vehicle_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """A car's strip runs with the figures of their slips."""
    car = vehicles.vehicle(session, vehicle_id)
    found = results.strip_runs(session, car.id)
    on_car = dyno.attributed_words(session, results.strip_attributions(session, [row.id for row in found]))
    header = ("id", "run_at", "on_car", *FIELDS, "place", "measured_by", "note")
    rows = (
        (row.id, row.run_at, on_car[row.id], *(row.results.get(name) for name in FIELDS), row.place, row.how, row.note)
        for row in found
    )
    return list_file(ending, f"strip-runs-{car.vin}", header, rows)


@router.get("/vehicles/{vehicle_id:int}/economy-trials.{ending}")
def economy_trial_list(vehicle_id: int, ending: Ending, session: Read, _person: Viewer) -> Response:
    """A car's economy trials."""
    car = vehicles.vehicle(session, vehicle_id)
    found = results.economy_trials(session, car.id)
    on_car = dyno.attributed_words(session, results.economy_attributions(session, [row.id for row in found]))
    header = ("id", "driven_at", "on_car", "distance_km", "fuel_l", "consumption_l_per_100km", "conditions")
    rows = (
        (
            row.id,
            row.driven_at,
            on_car[row.id],
            row.distance_km,
            row.fuel_l,
            round(100 * row.fuel_l / row.distance_km, 4),
            row.conditions,
        )
        for row in found
    )
    return list_file(ending, f"economy-trials-{car.vin}", header, rows)
