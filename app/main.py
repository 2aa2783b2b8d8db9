"""Puts the application together: pages, API, static files, error pages. Nothing else."""

import gc
import importlib
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from types import ModuleType

import anyio.to_thread
from fastapi import FastAPI
from sqlalchemy import Engine
from starlette.types import ASGIApp

import app.api.computed_run
import app.api.dyno
import app.api.dynos
import app.api.flashes
import app.api.fleet
import app.api.gains
import app.api.intake
import app.api.journal
import app.api.layouts
import app.api.packages
import app.api.restores
import app.api.results
import app.api.revisions
import app.api.rollers
import app.api.vehicles
import app.pages.coding
import app.pages.control_unit
import app.pages.customers
import app.pages.diff.naming
import app.pages.diff.routes
import app.pages.dyno.dynos
import app.pages.dyno.inbox
import app.pages.dyno.rollers
import app.pages.dyno.routes
import app.pages.flash
import app.pages.fleet
import app.pages.gain.report
import app.pages.gain.routes
import app.pages.gain.unit
import app.pages.intake
import app.pages.journal
import app.pages.layouts.checksum_search
import app.pages.layouts.growth
import app.pages.layouts.routes
import app.pages.limits
import app.pages.lists.as_json
import app.pages.lists.of_a_car
import app.pages.lists.of_control_units
import app.pages.lists.of_measurements
import app.pages.lists.of_people
import app.pages.lists.of_the_shop
import app.pages.packages.routes
import app.pages.people
import app.pages.record_check
import app.pages.restore.routes
import app.pages.results.computed
import app.pages.results.routes
import app.pages.revisions.blame
import app.pages.revisions.decision
import app.pages.revisions.deltas
import app.pages.revisions.new
import app.pages.revisions.port
import app.pages.settings
import app.pages.sign_in
import app.pages.today
import app.pages.vehicle.editing
import app.pages.vehicle.files
import app.pages.vehicle.importing
import app.pages.vehicle.label
import app.pages.vehicle.routes
import app.pages.vehicle.visits
import app.pages.warning_rules
import app.pages.work
from app.api import PREFIX, security
from app.record.engine import make_engine
from app.settings import Settings, from_environment
from app.web import assets, errors
from app.web.guard import Guard
from app.web.sign_in_first import SignInFirst
from app.web.uploads import BODY_LIMIT

# Each module has a `router`. One line per module.
PAGES: tuple[ModuleType, ...] = (
    app.pages.coding,
    app.pages.control_unit,
    app.pages.customers,
    app.pages.diff.naming,
    app.pages.diff.routes,
    app.pages.dyno.dynos,
    app.pages.dyno.inbox,
    app.pages.dyno.rollers,
    app.pages.dyno.routes,
    app.pages.flash,
    app.pages.fleet,
    app.pages.gain.report,
    app.pages.gain.routes,
    app.pages.gain.unit,
    app.pages.intake,
    app.pages.journal,
    app.pages.layouts.checksum_search,
    app.pages.layouts.growth,
    app.pages.layouts.routes,
    app.pages.limits,
    app.pages.lists.as_json,
    app.pages.lists.of_a_car,
    app.pages.lists.of_control_units,
    app.pages.lists.of_measurements,
    app.pages.lists.of_people,
    app.pages.lists.of_the_shop,
    app.pages.packages.routes,
    app.pages.people,
    app.pages.record_check,
    app.pages.restore.routes,
    app.pages.revisions.blame,
    app.pages.revisions.decision,
    app.pages.revisions.deltas,
    app.pages.revisions.new,
    app.pages.revisions.port,
    app.pages.results.computed,
    app.pages.results.routes,
    app.pages.settings,
    app.pages.sign_in,
    app.pages.today,
    app.pages.vehicle.editing,
    app.pages.vehicle.files,
    app.pages.vehicle.importing,
    app.pages.vehicle.label,
    app.pages.vehicle.routes,
    app.pages.vehicle.visits,
    app.pages.warning_rules,
    app.pages.work,
)
API: tuple[ModuleType, ...] = (
    app.api.computed_run,
    app.api.dyno,
    app.api.dynos,
    app.api.fleet,
    app.api.flashes,
    app.api.gains,
    app.api.intake,
    app.api.journal,
    app.api.layouts,
    app.api.restores,
    app.api.results,
    app.api.rollers,
    app.api.packages,
    app.api.revisions,
    app.api.vehicles,
)

# Threads take turns on the interpreter's lock: from 2 to 40 of them served eight clients equally fast. Few of them
# keep the database connections in use far below what the pool holds.
THREADS = 4


class Application(FastAPI):
    """FastAPI with our guard around everything that it answers itself, also its own refusals."""

    def build_middleware_stack(self) -> ASGIApp:
        settings: Settings = self.state.settings
        inner = errors.LastResort(SignInFirst(super().build_middleware_stack()))
        return Guard(inner, hosts=settings.hosts, secure=settings.secure)


@asynccontextmanager
async def _lifespan(_application: FastAPI) -> AsyncIterator[None]:
    anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
    threading.Thread(target=_warm_up, name="warm-up", daemon=True).start()
    yield


def _warm_up() -> None:
    """The statistics library takes a second to load: better now than under the first person's click."""
    importlib.import_module("scipy.stats")


def create_app(settings: Settings, engine: Engine | None = None) -> FastAPI:
    """The application on a database that has been migrated."""
    application = Application(
        title="Revledger",
        version="1",
        openapi_url=f"{PREFIX}/openapi.json",
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        lifespan=_lifespan,
        max_body_size=BODY_LIMIT,
        form_limits={"max_fields": 2000, "max_files": 60, "max_part_size": BODY_LIMIT},
        telemetry={
            "tracing": False,
            "metrics": False,
            "logs": False,
            "operation_spans": False,
            "auto_configure": False,
        },
    )
    application.state.settings = settings
    application.state.engine = make_engine(settings.database_url) if engine is None else engine
    errors.install(application)
    application.add_route("/static/{version}/{path:path}", assets.serve, include_in_schema=False)
    application.add_route("/favicon.ico", assets.favicon, include_in_schema=False)
    for module in PAGES:
        application.include_router(module.router, include_in_schema=False)
    for module in API:
        application.include_router(module.router, prefix=PREFIX, dependencies=[security])
    return application


def served_app() -> FastAPI:
    """The application of one server process, from the environment that `revledger serve` prepared."""
    application = create_app(from_environment())
    # What is loaded by now stays: the collector need not walk over it again.
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 20, 50)
    return application
