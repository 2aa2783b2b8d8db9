"""The printable before/after report for a customer."""

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse

from app.pages.gain.report_view import report_page
from app.web.now import Now
from app.web.page import render, view_of
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()


@router.get("/gains/report")
def show_report(
    request: Request,
    session: Read,
    person: Viewer,
    now: Now,
    before_id: Annotated[int, Query(alias="from", ge=1)],
    after_id: Annotated[int, Query(alias="to", ge=1)],
    standard: Annotated[str, Query(max_length=24)] = "",
) -> HTMLResponse:
    view = view_of(request, session, person)
    page = report_page(session, before_id, after_id, view, standard=standard or None, at=now)
    return render(request, "gain/report.html", page, session=session, person=person, title="Before and after")
