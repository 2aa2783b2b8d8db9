"""Pages from templates: one environment, the frame that every page shares, and how values are written."""

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, fields, replace
from datetime import UTC, datetime
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from sqlalchemy.orm import Session

from app.calc.number_text import NARROW_SPACE, counted, plain
from app.record import journal
from app.record.car_state import pending_everywhere
from app.record.settings import Shop
from app.record.settings import shop as shop_settings
from app.record.tables import Person
from app.resources import resource_dir
from app.settings import Settings
from app.web.assets import load_assets
from app.web.form import AlreadyTaken, taken_meanwhile
from app.web.json_beside import json_beside
from app.web.signed_in import ROLE_NAMES
from app.web.units_view import CHOICES, UnitsView, units_of

_NAV = (
    ("Today", "/"),
    ("Vehicles", "/vehicles"),
    ("Inbox", "/inbox"),
    ("Dynos", "/dynos"),
    ("Layouts", "/layouts"),
    ("Journal", "/journal"),
    ("People", "/people"),
    ("Settings", "/settings"),
)
# Pages about a part of a car's record, whose addresses do not begin with the car.
_OF_A_CAR = frozenset(
    {
        "/control-units", "/revisions", "/flashes", "/dyno-sessions", "/gains", "/compare", "/restores", "/customers",
        "/coding-snapshots", "/fault-scans", "/identity-checks", "/release-packages", "/fleet",
    }
)  # fmt: skip
_FOR_MANAGERS = frozenset({"/people"})


@dataclass(frozen=True, slots=True)
class Chrome:
    """What the frame of every page shows."""

    title: str
    person: tuple[str, str] | None
    theme: str
    units: str
    nav: tuple[tuple[str, str, bool], ...]
    notices: tuple[str, ...]
    coding_pending: tuple[tuple[str, str, str], ...]
    shop_name: str
    form_key: str
    demo: bool
    journal_head: str
    json: str | None = None


@dataclass(frozen=True, slots=True)
class View:
    """How values are written on the page being rendered: the person's units, the workshop's time zone."""

    units: UnitsView = field(default_factory=UnitsView)
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))


_DEFAULT_VIEW = View()
_VIEW: ContextVar[View] = ContextVar("view")


def _view() -> View:
    return _VIEW.get(_DEFAULT_VIEW)


@contextmanager
def writing_as(view: View) -> Iterator[None]:
    """Filters read the view from here: a context variable also reaches imported macros, template variables do not."""
    token = _VIEW.set(view)
    try:
        yield
    finally:
        _VIEW.reset(token)


def when(at: datetime | None) -> str:
    """A moment in the workshop's time zone: "25 Nov 2026, 14:03"."""
    if at is None:
        return "not recorded"
    local = at.astimezone(_view().zone)
    return f"{local.day} {local:%b %Y, %H:%M}"


def day(at: datetime | None) -> str:
    if at is None:
        return "not recorded"
    local = at.astimezone(_view().zone)
    return f"{local.day} {local:%b %Y}"


def rfc3339(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")


def file_size(size: int | None) -> str:
    """A number of bytes with a binary prefix: "4.0 MiB"."""
    if size is None:
        return "not recorded"
    for factor, prefix in ((1 << 20, "MiB"), (1 << 10, "KiB")):
        if size >= factor:
            return f"{size / factor:.1f}{NARROW_SPACE}{prefix}"
    return f"{size}{NARROW_SPACE}{'byte' if size == 1 else 'bytes'}"


def hexadecimal(value: int | None, digits: int = 1) -> str:
    """An address, CRC or raw value: "0x8000"."""
    return "not recorded" if value is None else f"0x{value:0{digits}X}"


def short_digest(digest: str | None) -> str:
    """The first 16 hex digits of a SHA-256; the whole one is shown where it is evidence."""
    return "none" if digest is None else digest[:16]


def _quantity(name: str) -> Any:
    def write(value: float | None, spread: float | None = None, decimals: int | None = None) -> str:
        return _view().units.text(value, name, spread, decimals)

    return write


def difference(value: float | None, quantity: str, spread: float | None = None, decimals: int | None = None) -> str:
    """A gain in the units of the page being written: "+14.2 ± 2.1 kW"."""
    return _view().units.difference_text(value, quantity, spread, decimals)


def _typed(value: float | None, quantity: str) -> str:
    """A stored value as it stands in a form field: in the person's unit, without the unit."""
    units = _view().units
    return "" if value is None else f"{units.show(value, quantity):.6g}"


@cache
def environment() -> Environment:
    env = Environment(
        loader=FileSystemLoader(resource_dir("templates")),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    assets = load_assets()
    env.globals |= {
        "asset": assets.url,
        "htmx_url": assets.url("htmx.js"),
        "plotly_url": assets.url("plotly.js"),
        "unit_of": lambda quantity: _view().units.symbol(quantity),
        "new_form_key": new_form_key,
    }
    env.filters |= {name.replace(" ", "_"): _quantity(name) for name in (*CHOICES, "engine speed", "voltage")}
    env.filters |= {
        "quantity": lambda value, name, *rest: _view().units.text(value, name, *rest),
        "difference": difference,
        "typed": _typed,
        "number": plain,
        "counted": counted,
        "when": when,
        "day": day,
        "rfc3339": rfc3339,
        "file_size": file_size,
        "hexadecimal": hexadecimal,
        "short_digest": short_digest,
    }
    return env


def new_form_key() -> str:
    return secrets.token_urlsafe(18)


def view_of(request: Request, session: Session, person: Person | None) -> View:
    """How values are written for this person, also for figures that a page computes itself."""
    return _view_in(request, shop_settings(session), person)


def _view_in(request: Request, shop: Shop, person: Person | None) -> View:
    settings: Settings = request.app.state.settings
    return View(units_of(person), ZoneInfo(shop.time_zone or settings.time_zone))


def _bare_chrome(request: Request, title: str, person: Person | None) -> Chrome:
    settings: Settings = request.app.state.settings
    return Chrome(
        title=title,
        person=None if person is None else (person.name, ROLE_NAMES[person.role]),
        theme="system" if person is None else str(person.preferences.get("theme", "system")),
        units="" if person is None else units_of(person).summary,
        nav=(),
        notices=(),
        coding_pending=(),
        shop_name="",
        form_key=new_form_key(),
        demo=settings.demo,
        journal_head="",
    )


def _nav(path: str, person: Person | None) -> tuple[tuple[str, str, bool], ...]:
    if person is None:
        return ()
    shown = [(label, href) for label, href in _NAV if href not in _FOR_MANAGERS or person.role == "manager"]
    own = next((href for _, href in _NAV if href != "/" and f"{path}/".startswith(f"{href}/")), None)
    place = own or ("/" if path == "/" else "/vehicles" if f"/{path.split('/')[1]}" in _OF_A_CAR else None)
    return tuple((label, href, href == place) for label, href in shown)


def _chrome(
    request: Request,
    session: Session,
    shop: Shop,
    person: Person | None,
    title: str,
    notices: tuple[str, ...],
    *,
    whole: bool,
) -> Chrome:
    """`whole`: the page shows what its address asks for, so that its JSON would too."""
    pending = () if person is None else pending_everywhere(session)
    return replace(
        _bare_chrome(request, title, person),
        nav=_nav(request.url.path, person),
        notices=notices,
        coding_pending=tuple((p.vehicle, f"/vehicles/{p.vehicle_id}", p.sentence) for p in pending),
        shop_name=shop.name,
        journal_head="" if person is None else journal.head(session).short,
        json=None if person is None or not whole else json_beside(request),
    )


def _write(template: str, context: Any, frame: Chrome, view: View) -> str:
    values = {one.name: getattr(context, one.name) for one in fields(context)}
    with writing_as(view):
        return environment().get_template(template).render(values, chrome=frame)


def render(
    request: Request,
    template: str,
    context: Any,
    *,
    session: Session,
    person: Person | None,
    title: str,
    status: int = 200,
    notices: tuple[str, ...] = (),
) -> HTMLResponse:
    """A whole page. `context` is a dataclass whose fields are the template's variables, beside `chrome`.

    A form that comes back refused may have found its own work done, by the same form sent at the same moment: that is
    answered as the faster sending was, and whatever this one wrote is undone.
    """
    if status in (409, 422) and (taken := taken_meanwhile(request)) is not None:
        raise AlreadyTaken(taken)
    shop = shop_settings(session)
    frame = _chrome(request, session, shop, person, title, notices, whole=status == 200)
    return HTMLResponse(_write(template, context, frame, _view_in(request, shop, person)), status)


def render_fragment(
    request: Request, template: str, context: Any, *, session: Session, person: Person | None, status: int = 200
) -> HTMLResponse:
    """A part of a page for htmx. Of `chrome` it has what costs nothing: person, theme, units and a form key."""
    frame = _bare_chrome(request, "", person)
    return HTMLResponse(_write(template, context, frame, view_of(request, session, person)), status)


def render_plain(request: Request, template: str, context: Any, *, title: str, status: int) -> HTMLResponse:
    """A page that needs no database, for when it does not answer."""
    return HTMLResponse(_write(template, context, _bare_chrome(request, title, None), View()), status)
