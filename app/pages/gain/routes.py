"""Routes of the gain between sessions."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response

from app.errors import BadInput, Conflict
from app.pages.gain.export import gain_table
from app.pages.gain.view import GainQuery, gain_page
from app.record import gains
from app.web.csv_out import csv_download
from app.web.form import read_choice
from app.web.page import render, view_of
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()

SessionId = Annotated[int, Query(ge=1)]
Text = Annotated[str, Query(max_length=400)]


def _ids(given: list[str]) -> tuple[int, ...]:
    """Session ids of one or several `with` parameters, "3,4" as well as 3 and 4."""
    parts = [part.strip() for text in given for part in text.split(",") if part.strip()]
    sentence = "A further session is named by its number."
    return tuple(dict.fromkeys(read_choice(part, field="with", sentence=sentence) for part in parts))


@router.get("/gains")
def show_gain(
    request: Request,
    session: Read,
    person: Viewer,
    before_id: Annotated[SessionId, Query(alias="from")],
    after_id: Annotated[SessionId, Query(alias="to")],
    others: Annotated[list[str] | None, Query(alias="with", max_length=20)] = None,
    at_rpm: Text = "",
    band: Text = "",
    standard: Text = "",
    quantity: Text = "power",
) -> HTMLResponse:
    view = view_of(request, session, person)
    query = GainQuery(
        before_id,
        after_id,
        _ids(others or []),
        at_rpm.strip(),
        band.strip(),
        standard or None,
        "torque" if quantity == "torque" else "power",
    )
    try:
        page = gain_page(session, query, view)
        status = 200
    except BadInput as error:
        if error.field not in ("at_rpm", "band"):
            raise
        plain = GainQuery(before_id, after_id, query.others, "", "", query.standard, query.quantity)
        page = gain_page(session, plain, view, error.sentence)
        page.query.update(at_rpm=query.at_rpm, band=query.band)
        status = error.status
    return render(request, "gain/page.html", page, session=session, person=person, title="Gain", status=status)


@router.get("/gains/curves.csv")
def download_curves(
    session: Read,
    _person: Viewer,
    before_id: Annotated[SessionId, Query(alias="from")],
    after_id: Annotated[SessionId, Query(alias="to")],
    standard: Text = "",
) -> Response:
    found = gains.compared(session, before_id, after_id, standard=standard or None)
    if found.result is None:
        raise Conflict("These sessions cannot be compared: " + "; ".join(found.refusals) + ".")
    heading, rows = gain_table(found, found.result)
    return csv_download(f"gain-{before_id}-{after_id}", heading, rows)
