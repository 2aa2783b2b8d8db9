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
) -> HTMLResponse:
    """The whole page; htmx asks for the panel of one map alone."""
    address = Address(before, to, int(layout) if layout else None, map, show, category, q, sort, ranges)
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
    """Stock against what is on the car, else against the newest revision with an image."""
    unit = vehicles.control_unit(session, unit_id)
    known = nodes.of_unit(session, unit.id)
    stock = [key for key, _ in known if key.startswith("stock-")]
    newest = [key for key, _ in known if key.startswith("r")]
    if not stock or not newest:
        raise Conflict(
            "There is nothing to compare yet: confirm stock with two equal reads and log a revision with its image."
        )
    on_now = on_units(session, [unit.id])[unit.id].revision_id
    after = newest[-1]
    if on_now is not None and revisions.revision(session, on_now).sha256 is not None:
        after = f"r{on_now}"
    return RedirectResponse(f"/compare?from={stock[-1]}&to={after}", status_code=303)
