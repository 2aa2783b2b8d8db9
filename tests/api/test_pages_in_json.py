"""Every page that shows what is on record can be had as JSON.

`.json` behind the page's address, or an answer named here; a page with neither stands below with its reason.
"""

from tests.web.routes import RIGHTS

# Page → the answers that together hold what it shows, where `.json` behind its address is no route.
HELD_BY = {
    "/": ("/in-shop.{ending}", "/api/v1/vehicles"),
    "/compare": ("/compare/deltas.{ending}",),
    "/control-units/{unit_id:int}": (
        "/api/v1/vehicles/{vehicle_id:int}",
        "/control-units/{unit_id:int}/stock-reads.{ending}",
        "/control-units/{unit_id:int}/revisions.{ending}",
    ),
    "/customers/{customer_id:int}": ("/customers.{ending}",),
    "/dynos/{dyno_id:int}/rollers": ("/api/v1/dynos/{dyno_id:int}",),
    "/gains/report": ("/api/v1/gains",),
    "/journal/verify": ("/api/v1/journal/verify",),
    "/journal/verify/{token}": ("/api/v1/journal/verify",),
    "/revisions/{revision_id:int}/maps/{name:path}": ("/api/v1/revisions/{revision_id:int}/deltas",),
    "/search": ("/api/v1/vehicles",),
    "/vehicles/{vehicle_id:int}/label": ("/api/v1/vehicles/{vehicle_id:int}",),
    "/vehicles/{vehicle_id:int}/results": (
        "/api/v1/vehicles/{vehicle_id:int}/strip-runs",
        "/api/v1/vehicles/{vehicle_id:int}/economy-trials",
    ),
}

_FORM = "a form; what is on record stands on the page it leads to"
_FILE = "a file as it was handed in or out, or as it is written for a tool"
_ON_THE_WAY = "leads to another page"
_DOOR = "sign-in, before anything of the record may be seen"
_OWN = "settings and preferences, no record of a car"
_PROGRESS = "how far a piece of work has come; it ends with the process"
NO_RECORD = {
    "/static/{version}/{path:path}": "part of the program",
    "/favicon.ico": "part of the program",
    "/sign-in": _DOOR,
    "/sign-in/link/{key}": _DOOR,
    "/first-run": _DOOR,
    "/settings": _OWN,
    "/settings/warnings": _OWN,
    "/vehicles/by-vin/{vin}": _ON_THE_WAY,
    "/control-units/{unit_id:int}/compare": _ON_THE_WAY,
    "/revisions/{revision_id:int}/package": _ON_THE_WAY,
    "/vehicles/new": _FORM,
    "/vehicles/import": _FORM,
    "/vehicles/{vehicle_id:int}/edit": _FORM,
    "/vehicles/{vehicle_id:int}/customer": _FORM,
    "/vehicles/{vehicle_id:int}/control-units/new": _FORM,
    "/vehicles/{vehicle_id:int}/dyno-sessions/new": _FORM,
    "/vehicles/{vehicle_id:int}/intake": _FORM,
    "/control-units/{unit_id:int}/identity-checks/new": _FORM,
    "/control-units/{unit_id:int}/flashes/new": _FORM,
    "/control-units/{unit_id:int}/revisions/new": _FORM,
    "/revisions/{revision_id:int}/port": _FORM,
    "/revisions/{revision_id:int}/deltas/new": _FORM,
    "/compare/name": _FORM,
    "/compare/name/preview": _FORM,
    "/layouts/{layout_id:int}/recompute": _FORM,
    "/layouts/{layout_id:int}/checksum-search": _FORM,
    "/layouts/{layout_id:int}/checksum-search/candidates": _FORM,
    "/attachments/{attachment_id:int}": _FILE,
    "/attachments/{attachment_id:int}/picture": _FILE,
    "/release-packages/{package_id:int}/file": _FILE,
    "/stocks/{stock_id:int}/image": _FILE,
    "/revisions/{revision_id:int}/image": _FILE,
    "/runs/{run_id:int}/file": _FILE,
    "/work/{key}": _PROGRESS,
    "/work/{key}/events": _PROGRESS,
}

_ADDRESSES = {route.removeprefix("GET ") for route in RIGHTS if route.startswith("GET ")}
_PAGES = {one for one in _ADDRESSES if not one.startswith("/api/") and not one.endswith((".csv", ".json", ".{ending}"))}


def _has_json(page: str) -> bool:
    return bool({page + ".json", page + ".{ending}"} & _ADDRESSES)


def test_every_page_is_had_as_json_or_says_why_not() -> None:
    assert {"/vehicles/{vehicle_id:int}", "/flashes/{flash_id:int}", "/search"} <= _PAGES
    neither = {page for page in _PAGES if not _has_json(page)} - set(HELD_BY) - set(NO_RECORD)
    assert sorted(neither) == [], "give these an answer in app/api and a line in app/pages/lists/as_json.py"


def test_what_is_named_here_exists_and_is_named_once() -> None:
    named = [*HELD_BY, *NO_RECORD]
    assert sorted(set(named) - _PAGES) == [], "these pages are gone"
    assert len(set(named)) == len(named), "a page is either held by other answers or shows no record"
    assert [page for page in named if _has_json(page)] == [], "these have an answer of their own now"
    answers = {one for held in HELD_BY.values() for one in held}
    assert sorted(answers - _ADDRESSES) == [], "these answers are gone"
