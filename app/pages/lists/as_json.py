"""The same thing as JSON: `.json` behind a page's address leads to the API's answer about it.

A browser that is signed in may read the API; programs use a token there and need no address of these.
"""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from app.web.signed_in import Viewer

router = APIRouter()

_API = "/api/v1"
# Addresses that a page and the API have in common.
SHARED = (
    "/vehicles",
    "/vehicles/{vehicle_id:int}",
    "/vehicles/{vehicle_id:int}/computed-run",
    "/vehicles/{vehicle_id:int}/dyno-sessions",
    "/vehicles/{vehicle_id:int}/limits",
    "/dynos",
    "/dyno-sessions/{session_id:int}",
    "/flashes/{flash_id:int}",
    "/fleet",
    "/fleet/changes/{revision_id:int}",
    "/identity-checks/{check_id:int}",
    "/journal",
    "/journal/{seq:int}",
    "/coding-snapshots/{first_id:int}/compare/{second_id:int}",
    "/control-units/{unit_id:int}/gains",
    "/dynos/{dyno_id:int}",
    "/gains",
    "/layouts",
    "/layouts/{layout_id:int}",
    "/release-packages/{package_id:int}",
    "/restores/{restore_id:int}",
    "/restores/{restore_id:int}/certificate",
    "/revisions/{revision_id:int}",
)


def as_json(request: Request, _person: Viewer) -> Response:
    """To the API's answer, with the query as it is."""
    query = f"?{request.url.query}" if request.url.query else ""
    return RedirectResponse(_API + request.url.path.removesuffix(".json") + query, status_code=307)


for address in SHARED:
    router.add_api_route(address + ".json", as_json, methods=["GET"])
