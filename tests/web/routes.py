"""Who may do what: every address of the program, by the lowest right it needs. A new route needs a line here."""

# PUBLIC    anybody, signed in or not
# VIEWER    anybody who is signed in (Viewer, FrontDesk)
# TUNER     tuners and managers
# MANAGER   managers
PUBLIC: frozenset[str | None] = frozenset({None, "front_desk", "tuner", "manager"})
VIEWER: frozenset[str | None] = frozenset({"front_desk", "tuner", "manager"})
TUNER: frozenset[str | None] = frozenset({"tuner", "manager"})
MANAGER: frozenset[str | None] = frozenset({"manager"})

RIGHTS: dict[str, frozenset[str | None]] = {
    # static files, sign-in
    "GET /static/{version}/{path:path}": PUBLIC,
    "GET /favicon.ico": PUBLIC,
    "GET /sign-in": PUBLIC,
    "POST /sign-in": PUBLIC,
    "POST /sign-out": PUBLIC,
    "GET /sign-in/link/{key}": PUBLIC,
    "POST /sign-in/link/{key}": PUBLIC,
    "GET /first-run": PUBLIC,
    "POST /first-run": PUBLIC,
    # people, settings, journal
    "GET /people": MANAGER,
    "POST /people": MANAGER,
    "POST /people/{person_id:int}": MANAGER,
    "POST /people/tokens": MANAGER,
    "POST /people/tokens/{token_id:int}/revoke": MANAGER,
    "GET /settings": VIEWER,
    "POST /settings/preferences": VIEWER,
    "POST /settings/shop": MANAGER,
    "POST /theme": VIEWER,
    "GET /journal": VIEWER,
    "GET /journal/verify": MANAGER,
    "GET /journal/{seq:int}": VIEWER,
    # today, vehicles
    "GET /": VIEWER,
    "GET /search": VIEWER,
    "GET /vehicles": VIEWER,
    "GET /vehicles/new": VIEWER,
    "POST /vehicles": VIEWER,
    "GET /vehicles/by-vin/{vin}": VIEWER,
    "GET /vehicles/{vehicle_id:int}": VIEWER,
    "GET /vehicles/{vehicle_id:int}/control-units/new": TUNER,
    "POST /vehicles/{vehicle_id:int}/control-units": TUNER,
    "POST /vehicles/{vehicle_id:int}/visits": VIEWER,
    "POST /vehicles/{vehicle_id:int}/leave": VIEWER,
    "POST /vehicles/{vehicle_id:int}/pin": VIEWER,
    "POST /vehicles/{vehicle_id:int}/files": VIEWER,
    "GET /attachments/{attachment_id:int}": VIEWER,
    # intake, coding, flashes, layouts
    "GET /vehicles/{vehicle_id:int}/intake": VIEWER,
    "GET /control-units/{unit_id:int}": VIEWER,
    "GET /control-units/{unit_id:int}/identity-checks/new": VIEWER,
    "POST /control-units/{unit_id:int}/identity-checks": VIEWER,
    "GET /identity-checks/{check_id:int}": VIEWER,
    "POST /identity-checks/{check_id:int}/accept": TUNER,
    "GET /vehicles/{vehicle_id:int}/fault-scans": VIEWER,
    "POST /vehicles/{vehicle_id:int}/fault-scans": VIEWER,
    "GET /fault-scans/{scan_id:int}": VIEWER,
    "GET /vehicles/{vehicle_id:int}/coding": VIEWER,
    "POST /vehicles/{vehicle_id:int}/coding": TUNER,
    "GET /coding-snapshots/{snapshot_id:int}": VIEWER,
    "GET /coding-snapshots/{first_id:int}/compare/{second_id:int}": VIEWER,
    "POST /control-units/{unit_id:int}/stock-reads": TUNER,
    "GET /stocks/{stock_id:int}/image": TUNER,
    "GET /control-units/{unit_id:int}/flashes/new": TUNER,
    "POST /control-units/{unit_id:int}/flashes": TUNER,
    "GET /flashes/{flash_id:int}": VIEWER,
    "POST /flashes/{flash_id:int}/read-back": TUNER,
    "POST /flashes/{flash_id:int}/coding-write-back": TUNER,
    "POST /flashes/{flash_id:int}/waive-coding": TUNER,
    "POST /flashes/{flash_id:int}/first-start": TUNER,
    "GET /layouts": VIEWER,
    "POST /layouts": TUNER,
    "GET /layouts/template.csv": VIEWER,
    "GET /layouts/{layout_id:int}": VIEWER,
    # API
    "GET /api/v1/vehicles": VIEWER,
    "POST /api/v1/vehicles": VIEWER,
    "GET /api/v1/vehicles/{vehicle_id:int}": VIEWER,
    "POST /api/v1/vehicles/{vehicle_id:int}/control-units": TUNER,
    "POST /api/v1/vehicles/{vehicle_id:int}/coding-snapshots": TUNER,
    "GET /api/v1/coding-snapshots/{first_id:int}/compare/{second_id:int}": VIEWER,
    "POST /api/v1/vehicles/{vehicle_id:int}/fault-scans": VIEWER,
    "POST /api/v1/control-units/{unit_id:int}/identity-checks": VIEWER,
    "POST /api/v1/control-units/{unit_id:int}/stock-reads": TUNER,
    "POST /api/v1/control-units/{unit_id:int}/flashes": TUNER,
    "POST /api/v1/flashes/{flash_id:int}/read-back": TUNER,
    "POST /api/v1/flashes/{flash_id:int}/coding-write-back": TUNER,
    "POST /api/v1/flashes/{flash_id:int}/first-start": TUNER,
    "GET /api/v1/openapi.json": PUBLIC,
    "GET /api/v1/journal": VIEWER,
    "GET /api/v1/journal/verify": MANAGER,
}

# What stands in an address; everything else is 1.
SAMPLES = {"version": "none", "path": "css/base.css", "key": "x" * 43}
