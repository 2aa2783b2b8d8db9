"""A person's own units and colours, and the workshop's settings."""

from dataclasses import dataclass, replace
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, Response
from sqlalchemy.orm import Session

from app.actions.change_preferences import THEMES, change_preferences
from app.actions.change_settings import change_settings
from app.errors import AppError, BadInput
from app.record.settings import Shop
from app.record.settings import shop as shop_settings
from app.record.tables import Person
from app.web.came_from import came_from
from app.web.form import FormModel, OncePerForm, lead_to, read_number, see_other, text_of
from app.web.now import Now
from app.web.page import render
from app.web.signed_in import Manager, Viewer
from app.web.transaction import Read, Write
from app.web.units_view import CHOICES, UnitsView, units_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class UnitChoice:
    field: str
    label: str
    options: tuple[tuple[str, str], ...]
    chosen: str


@dataclass(frozen=True, slots=True)
class SettingsPage:
    units: tuple[UnitChoice, ...]
    themes: tuple[tuple[str, str], ...]
    theme: str
    shop: dict[str, str] | None
    alike: tuple[tuple[str, str, str], ...]
    errors: dict[str, str]
    sentence: str


class PreferencesForm(FormModel):
    theme: str = "system"
    power: str = ""
    torque: str = ""
    temperature: str = ""
    pressure: str = ""
    vehicle_speed: str = ""
    distance: str = ""
    mass: str = ""
    fuel_consumption: str = ""


class ThemeForm(FormModel):
    theme: str


class ShopForm(FormModel):
    name: str = ""
    time_zone: str = ""
    supply_minimum_v: str = ""
    supply_maximum_v: str = ""
    equivalence_margin_percent: str = ""
    alike_tyre_pressure_bar: str = ""
    alike_pressure_hpa: str = ""
    alike_temperature_c: str = ""
    alike_relative_humidity_percent: str = ""
    alike_start_intake_c: str = ""
    alike_start_coolant_c: str = ""
    alike_battery_soc_percent: str = ""


_FIGURES = ("supply_minimum_v", "supply_maximum_v", "equivalence_margin_percent")
# How far two dyno sessions may differ in a condition: field, name, quantity or None for percent.
ALIKE = (
    ("alike_tyre_pressure_bar", "Tyre pressure", "tyre pressure"),
    ("alike_pressure_hpa", "Ambient pressure", "pressure"),
    ("alike_temperature_c", "Ambient temperature", "temperature"),
    ("alike_relative_humidity_percent", "Relative humidity", None),
    ("alike_start_intake_c", "Intake air at start", "temperature"),
    ("alike_start_coolant_c", "Coolant at start", "temperature"),
    ("alike_battery_soc_percent", "State of charge", None),
)


def _tolerance(shop: Shop, units: UnitsView, field: str, label: str, quantity: str | None) -> tuple[str, str, str, str]:
    """(field, name, value as shown, unit) of one condition."""
    value: float = getattr(shop, field)
    if quantity is None:
        return field, label, f"{value:g}", "%"
    return field, label, f"{units.show_difference(value, quantity):.4g}", units.symbol(quantity)


def _named(shop: Shop, units: UnitsView, field: str, label: str, quantity: str | None) -> tuple[str, str, str]:
    """(field, name, unit) of one condition."""
    return field, label, _tolerance(shop, units, field, label, quantity)[3]


def _as_shown(shop: Shop, units: UnitsView) -> dict[str, str]:
    """The fields of the workshop's form, filled from the record."""
    figures = {name: f"{getattr(shop, name):g}" for name in _FIGURES}
    alike = {one[0]: _tolerance(shop, units, *one)[2] for one in ALIKE}
    return {"name": shop.name, "time_zone": shop.time_zone, **figures, **alike}


def _page(
    session: Session, person: Person, typed: dict[str, str] | None = None, error: AppError | None = None
) -> SettingsPage:
    """The page; with what was typed into the workshop's form when that was refused."""
    units = units_of(person)
    shop = shop_settings(session) if person.role == "manager" else None
    return SettingsPage(
        units=tuple(
            UnitChoice(
                quantity.replace(" ", "_"),
                quantity.capitalize(),
                tuple((symbol, symbol) for symbol in symbols),
                units.symbol(quantity),
            )
            for quantity, symbols in CHOICES.items()
        ),
        themes=tuple((theme, theme.capitalize()) for theme in THEMES),
        theme=str(person.preferences.get("theme", "system")),
        shop=None if shop is None else _as_shown(shop, units) | (typed or {}),
        alike=() if shop is None else tuple(_named(shop, units, *one) for one in ALIKE),
        errors={} if error is None or error.field is None else {error.field: error.sentence},
        sentence="" if error is None else error.sentence,
    )


@router.get("/settings")
def show(request: Request, session: Read, person: Viewer) -> HTMLResponse:
    return render(
        request, "settings/page.html", _page(session, person), session=session, person=person, title="Settings"
    )


@router.post("/settings/preferences")
def take_preferences(
    request: Request,
    form: Annotated[PreferencesForm, Form()],
    once: OncePerForm,
    session: Write,
    person: Viewer,
    now: Now,
) -> Response:
    change_preferences(session, person=person, at=now, theme=form.theme, units=_units(form))
    return see_other(request, session, "/settings", once)


def _units(form: PreferencesForm) -> dict[str, str]:
    wanted: dict[str, str] = {}
    for quantity, symbols in CHOICES.items():
        field = quantity.replace(" ", "_")
        symbol: str = getattr(form, field)
        if symbol and symbol not in symbols:
            raise BadInput(f"“{symbol}” is no choice for {quantity}; choose one of {', '.join(symbols)}.", field=field)
        if symbol:
            wanted[quantity] = symbol
    return wanted


@router.post("/settings/shop")
def take_shop(
    request: Request, form: Annotated[ShopForm, Form()], once: OncePerForm, session: Write, person: Manager, now: Now
) -> Response:
    try:
        with session.begin_nested():
            wanted = _wanted(form, shop_settings(session), units_of(person))
            change_settings(session, person=person, at=now, wanted=wanted)
    except AppError as error:
        page = _page(session, person, text_of(form), error)
        return render(
            request, "settings/page.html", page, session=session, person=person, title="Settings", status=error.status
        )
    return see_other(request, session, "/settings", once)


def _wanted(form: ShopForm, known: Shop, units: UnitsView) -> Shop:
    return replace(
        known,
        name=form.name,
        time_zone=form.time_zone,
        supply_minimum_v=_needed(form.supply_minimum_v, "supply_minimum_v", "Lowest supply voltage"),
        supply_maximum_v=_needed(form.supply_maximum_v, "supply_maximum_v", "Highest supply voltage"),
        equivalence_margin_percent=_needed(
            form.equivalence_margin_percent, "equivalence_margin_percent", "Margin of equivalence"
        ),
        **_alike(form, known, units),
    )


def _alike(form: ShopForm, known: Shop, units: UnitsView) -> dict[str, float]:
    """The tolerances as typed, in the record's units; what was left as it was shown stays as it is on record."""
    found: dict[str, float] = {}
    for field, label, quantity in ALIKE:
        text = getattr(form, field)
        typed = read_number(text, field=field, label=label)
        unchanged = text == _tolerance(known, units, field, label, quantity)[2]
        if typed is not None and not unchanged:
            found[field] = typed if quantity is None else units.read_difference(typed, quantity)
    return found


def _needed(text: str, field: str, label: str) -> float:
    value = read_number(text, field=field, label=label)
    if value is None:
        raise BadInput(f"{label} is missing.", field=field)
    return value


@router.post("/theme")
def take_theme(
    request: Request, form: Annotated[ThemeForm, Form()], session: Write, person: Viewer, now: Now
) -> Response:
    """From the foot of every page; leads back to where the person was."""
    change_preferences(session, person=person, at=now, theme=form.theme)
    return lead_to(request, came_from(request) or "/")
