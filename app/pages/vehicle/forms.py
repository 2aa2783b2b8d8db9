"""Registration form of a car: what was typed, and its values in SI."""

from dataclasses import dataclass

from app.actions.register_vehicle import NewVehicle
from app.errors import BadInput
from app.web.form import FormModel, read_number
from app.web.units_view import UnitsView

FUELS = (
    ("petrol", "Petrol"),
    ("diesel", "Diesel"),
    ("ethanol", "Ethanol"),
    ("gas", "Gas"),
    ("electric", "Electric"),
    ("other", "Other"),
)
AXLES = (("front", "Front"), ("rear", "Rear"), ("all", "All wheels"))
YES_NO = (("yes", "Yes"), ("no", "No"))


class VehicleForm(FormModel):
    """Registration, as typed."""

    vin: str = ""
    plate: str = ""
    make: str = ""
    model: str = ""
    year: str = ""
    customer_name: str = ""
    customer_contact: str = ""
    engine: str = ""
    fuel: str = "petrol"
    boosted: str = ""
    hybrid: str = ""
    driven_axles: str = "rear"
    rated_power: str = ""
    rated_torque: str = ""
    rated_standard: str = ""
    test_mass: str = ""
    gear_ratios: str = ""
    final_drive: str = ""
    tyre: str = ""
    tyre_radius: str = ""
    legal_basis: str = ""
    loses_coding: str = "yes"
    odometer: str = ""
    visit_reason: str = ""


@dataclass(frozen=True, slots=True)
class Number:
    """One number of the form: field, label, quantity (None: plain) and allowed range in SI."""

    field: str
    label: str
    quantity: str | None
    lowest: float
    highest: float


_NUMBERS = {
    "rated_power_kw": Number("rated_power", "Rated power", "power", 1, 3000),
    "rated_torque_nm": Number("rated_torque", "Rated torque", "torque", 1, 10000),
    "test_mass_kg": Number("test_mass", "Test mass", "mass", 100, 40000),
    "final_drive": Number("final_drive", "Final drive", None, 0.5, 20),
    "tyre_radius_m": Number("tyre_radius", "Tyre radius", "length", 0.1, 1),
    "odometer_km": Number("odometer", "Odometer", "distance", 0, 5_000_000),
}


def in_si(text: str, spec: Number, units: UnitsView) -> float | None:
    """A typed number in the record's unit; BadInput names the field and the range in the person's unit."""
    value = read_number(text, field=spec.field, label=spec.label)
    if value is None:
        return None
    stored = value if spec.quantity is None else units.read(value, spec.quantity)
    if not spec.lowest <= stored <= spec.highest:
        unit = "" if spec.quantity is None else " " + units.symbol(spec.quantity)
        low = spec.lowest if spec.quantity is None else units.show(spec.lowest, spec.quantity)
        high = spec.highest if spec.quantity is None else units.show(spec.highest, spec.quantity)
        raise BadInput(
            f"{spec.label}: {text.strip()}{unit} lies outside {low:,.4g} to {high:,.4g}{unit}; "
            "check the number and its unit.",
            field=spec.field,
        )
    return stored


def new_vehicle(form: VehicleForm, units: UnitsView) -> NewVehicle:
    """The car as the form tells it, in SI; BadInput names the first field that cannot be used."""
    numbers = {key: in_si(getattr(form, spec.field), spec, units) for key, spec in _NUMBERS.items()}
    year = read_number(form.year, field="year", label="Model year", lowest=1900, highest=2100)
    return NewVehicle(
        vin=form.vin,
        plate=form.plate.upper(),
        make=form.make,
        model=form.model,
        customer_name=form.customer_name,
        customer_contact=form.customer_contact,
        year=None if year is None else int(year),
        engine=form.engine,
        fuel=form.fuel,
        boosted=form.boosted == "yes",
        hybrid=form.hybrid == "yes",
        driven_axles=form.driven_axles,
        rated_standard=form.rated_standard or None,
        gear_ratios=_ratios(form.gear_ratios),
        tyre=form.tyre,
        legal_basis=form.legal_basis,
        loses_coding=form.loses_coding == "yes",
        visit_reason=form.visit_reason,
        **numbers,
    )


def _ratios(text: str) -> tuple[float, ...]:
    ratios = []
    for part in text.replace(";", " ").split():
        value = read_number(part, field="gear_ratios", label="Gear ratios", lowest=0.1, highest=30)
        if value is not None:
            ratios.append(value)
    return tuple(ratios)
