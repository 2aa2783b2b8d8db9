"""The diff view: any two of stock and revisions side by side."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from app.calc.calibration.delta_export import comparison_csv, comparison_json
from app.errors import Conflict
from app.pages.diff.address import Address
from app.pages.diff.views import compare_page, panel_page
from app.record import nodes, noted, revisions, vehicles
from app.record.car_state import on_units
from app.web.download import attachment
from app.web.page import render, render_fragment
from app.web.signed_in import Viewer
from app.web.transaction import Read

router = APIRouter()

From = Annotated[str, Query(alias="from")]
LayoutId = Annotated[str, Query(pattern=r"^\d{0,9}$")]


@router.get("/compare")
def show(
    request: Request,
    session: Read,
    person: Viewer,
    before: From,
    to: str,
    layout: LayoutId = "",
    map: str = "",
    show: str = "",
    category: str = "",
    q: str = "",
    sort: str = "",
    ranges: Annotated[int, Query(ge=0, le=10**9)] = 0,
    cell: str = "",
) -> HTMLResponse:
    """The whole page; htmx asks for the panel of one map alone."""
    address = Address(before, to, int(layout) if layout else None, map, show, category, q, sort, ranges, cell)
    compared = noted.of_any_nodes(session, before, to, layout_id=address.layout)
    if request.headers.get("hx-target") == "map-panel" and "hx-history-restore-request" not in request.headers:
        panel = panel_page(compared, address)
        return render_fragment(request, "diff/_panel_alone.html", panel, session=session, person=person)
    page = compare_page(session, compared, address, person)
    title = f"{page.before.label} to {page.after.label}"
    return render(request, "diff/page.html", page, session=session, person=person, title=title)


@router.get("/compare/deltas.{ending}")
def download(
    ending: Literal["csv", "json"], session: Read, _person: Viewer, before: From, to: str, layout: LayoutId = ""
) -> Response:
    """Everything that changed, for another program."""
    compared = noted.of_any_nodes(session, before, to, layout_id=int(layout) if layout else None)
    name = f"{before}-to-{to}.{ending}"
    if ending == "csv":
        # A byte order mark, or spreadsheets take the text for their country's old code page.
        return attachment(comparison_csv(compared.comparison).encode("utf-8-sig"), name, "text/csv; charset=utf-8")
    return attachment(comparison_json(compared.comparison).encode(), name, "application/json")


@router.get("/control-units/{unit_id:int}/compare")
def choose(unit_id: int, session: Read, _person: Viewer) -> Response:
    """Stock against what is on the car, else against the newest revision, before all one with an image."""
    unit = vehicles.control_unit(session, unit_id)
    stock = [key for key, _ in nodes.of_unit(session, unit.id) if key.startswith("stock-")]
    known = revisions.of_unit(session, unit.id)
    with_image = [row for row in known if row.sha256 is not None]
    by_hand = [row for row in known if row.sha256 is None and row.stock_id is not None]
    if not stock or not (with_image or by_hand):
        raise Conflict("There is nothing to compare yet: confirm stock with two equal reads and log a revision.")
    on_now = on_units(session, [unit.id])[unit.id].revision_id
    after = next((row for row in (*with_image, *by_hand) if row.id == on_now), (with_image or by_hand)[-1])
    # What was noted is known only since the stock that it descends from.
    before = stock[-1] if after.sha256 is not None else f"stock-{after.stock_id}"
    return RedirectResponse(f"/compare?from={before}&to=r{after.id}", status_code=303)
