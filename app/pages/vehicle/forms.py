"""Forms that describe a car: what was typed, and its values in SI."""

from dataclasses import dataclass
from typing import Any

from app.actions.register_vehicle import MOST_KM, NewVehicle
from app.errors import BadInput
from app.record.vehicle_details import LABELS, RANGES, VehicleDetails
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


class DetailsForm(FormModel):
    """What describes a car, as typed."""

    vin: str = ""
    plate: str = ""
    make: str = ""
    model: str = ""
    year: str = ""
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


class VehicleForm(DetailsForm):
    """Registration, as typed."""

    customer_name: str = ""
    customer_contact: str = ""
    odometer: str = ""
    visit_reason: str = ""


class ChangeForm(DetailsForm):
    """A change of what is on record: `seen_at` is the moment of the last change that the person saw."""

    reason: str = ""
    seen_at: str = ""


@dataclass(frozen=True, slots=True)
class Number:
    """One number of the form: field, label, quantity (None: plain) and allowed range in SI."""

    field: str
    label: str
    quantity: str | None
    lowest: float
    highest: float


def _number(column: str, quantity: str | None) -> Number:
    field = column.rsplit("_", 1)[0] if quantity else column
    return Number(field, LABELS[column], quantity, *RANGES[column])


_NUMBERS = {
    column: _number(column, quantity)
    for column, quantity in (
        ("rated_power_kw", "power"),
        ("rated_torque_nm", "torque"),
        ("test_mass_kg", "mass"),
        ("final_drive", None),
        ("tyre_radius_m", "length"),
    )
}
ODOMETER = Number("odometer", "Odometer", "distance", 0, MOST_KM)


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
    return NewVehicle(
        **_described(form, units),
        customer_name=form.customer_name,
        customer_contact=form.customer_contact,
        odometer_km=in_si(form.odometer, ODOMETER, units),
        visit_reason=form.visit_reason,
    )


def details_of(form: DetailsForm, units: UnitsView, known: VehicleDetails) -> VehicleDetails:
    """The details as the form tells them; a number that the person left as it was shown stays as it is on record,
    whatever was rounded for showing it."""
    typed, shown = _described(form, units), as_typed(known, units)
    kept = {
        column: getattr(known, column)
        for column, spec in _NUMBERS.items()
        if getattr(form, spec.field) == shown[spec.field]
    }
    return VehicleDetails(**typed | kept)


def as_typed(known: VehicleDetails, units: UnitsView) -> dict[str, str]:
    """The details on record as they stand in the form's fields, numbers in the person's units."""
    values = {name: getattr(known, name) for name in DetailsForm.model_fields if hasattr(known, name)}
    texts = {name: _shown(value) for name, value in values.items()}
    for column, spec in _NUMBERS.items():
        value = getattr(known, column)
        stored = value if value is None or spec.quantity is None else units.show(value, spec.quantity)
        texts[spec.field] = "" if stored is None else f"{stored:.6g}"
    return texts


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " ".join(f"{one:g}" for one in value)
    return "" if value is None else str(value)


def _described(form: DetailsForm, units: UnitsView) -> dict[str, Any]:
    numbers = {column: in_si(getattr(form, spec.field), spec, units) for column, spec in _NUMBERS.items()}
    lowest, highest = RANGES["year"]
    year = read_number(form.year, field="year", label=LABELS["year"], lowest=lowest, highest=highest)
    return {
        "vin": form.vin,
        "plate": form.plate.upper(),
        "make": form.make,
        "model": form.model,
        "year": None if year is None else int(year),
        "engine": form.engine,
        "fuel": form.fuel,
        "boosted": form.boosted == "yes",
        "hybrid": form.hybrid == "yes",
        "driven_axles": form.driven_axles,
        "rated_standard": form.rated_standard or None,
        "gear_ratios": _ratios(form.gear_ratios),
        "tyre": form.tyre,
        "legal_basis": form.legal_basis,
        "loses_coding": form.loses_coding == "yes",
        **numbers,
    }


def _ratios(text: str) -> tuple[float, ...]:
    ratios = []
    for part in text.replace(";", " ").split():
        value = read_number(part, field="gear_ratios", label="Gear ratios", lowest=0.1, highest=30)
        if value is not None:
            ratios.append(value)
    return tuple(ratios)
