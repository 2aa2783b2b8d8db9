"""The form of a dyno's rollers: figures as people type them, and the log that goes from step to step with it."""

import base64
import zlib

from app.calc.dyno.inertia import equivalent_mass_kg
from app.calc.dyno.rollers import COVERAGE, Rollers
from app.errors import BadInput
from app.web.form import FormModel, read_number
from app.web.uploads import FILE_LIMIT, Upload, read_upload

# A hidden field may hold this much; a longer log is chosen again at each step.
CARRIED_LIMIT = 700_000
MASS, INERTIA = "kg", "kg·m²"
AS_INERTIA = ((INERTIA, "kg·m²"), (MASS, "kg at the surface"))


class RollersForm(FormModel):
    """Figures of the rollers with their 95 % half widths, and the log of a pull or of a coast-down."""

    inertia: str = ""
    inertia_unit: str = INERTIA
    inertia_u: str = ""
    radius: str = ""
    radius_u: str = ""
    a: str = ""
    a_u: str = ""
    b: str = ""
    b_u: str = ""
    c: str = ""
    c_u: str = ""
    window: str = "0.3"
    ratio: str = ""
    tyre: str = ""
    session_id: str = ""
    file: Upload = None
    log: str = ""
    log_name: str = ""
    coast: Upload = None


def typed_from(rollers: Rollers) -> dict[str, str]:
    """The fields that the kept rollers fill."""

    def half(u: float) -> str:
        return f"{COVERAGE * u:.4g}" if u else ""

    return {
        "inertia": f"{rollers.inertia_kgm2:.6g}",
        "inertia_unit": INERTIA,
        "inertia_u": half(rollers.inertia_u),
        "radius": f"{rollers.radius_m:.6g}",
        "radius_u": half(rollers.radius_u),
        "a": f"{rollers.a_n:.6g}",
        "a_u": half(rollers.a_u),
        "b": f"{rollers.b_n_per_ms:.6g}",
        "b_u": half(rollers.b_u),
        "c": f"{rollers.c_n_per_ms2:.6g}",
        "c_u": half(rollers.c_u),
    }


def rollers_of(form: RollersForm) -> Rollers:
    """The rollers as typed; an inertia given as a mass at the surface is turned by the radius."""
    radius = _needed(form.radius, "radius", "Radius of the roller", "m")
    inertia = _needed(form.inertia, "inertia", "Inertia", form.inertia_unit)
    inertia_u = _u(form.inertia_u, "inertia_u", "Inertia ±")
    if form.inertia_unit == MASS:
        inertia, inertia_u = inertia * radius**2, inertia_u * radius**2
    elif form.inertia_unit != INERTIA:
        raise BadInput("Choose the unit of the inertia.", field="inertia")
    return Rollers(
        inertia,
        radius,
        read_number(form.a, field="a", label="Drag A") or 0.0,
        read_number(form.b, field="b", label="Drag B") or 0.0,
        read_number(form.c, field="c", label="Drag C") or 0.0,
        inertia_u,
        _u(form.radius_u, "radius_u", "Radius ±"),
        _u(form.a_u, "a_u", "A ±"),
        _u(form.b_u, "b_u", "B ±"),
        _u(form.c_u, "c_u", "C ±"),
    )


def mass_of(rollers: Rollers) -> float:
    return equivalent_mass_kg(rollers.inertia_kgm2, rollers.radius_m)


def _needed(text: str, field: str, label: str, unit: str) -> float:
    value = read_number(text, field=field, label=label)
    if value is None:
        raise BadInput(f"{label} is missing; give it in {unit}.", field=field)
    if value <= 0:
        raise BadInput(f"{label} must be above 0 {unit}.", field=field)
    return value


def _u(text: str, field: str, label: str) -> float:
    return (read_number(text, field=field, label=label, lowest=0) or 0.0) / COVERAGE


def log_of(form: RollersForm) -> tuple[bytes, str]:
    """The log chosen now, else the one that the form carries from the step before."""
    if form.file is not None and form.file.filename:
        return read_upload(form.file, field="file")
    if not form.log:
        raise BadInput("Choose the log of a pull.", field="file")
    try:
        unpacker = zlib.decompressobj()
        data = unpacker.decompress(base64.b64decode(form.log, validate=True), FILE_LIMIT)
    except (ValueError, zlib.error):
        raise BadInput("The log did not come back whole; choose it again.", field="file") from None
    return data, form.log_name[:255] or "log"


def carried(data: bytes) -> str:
    """The log for a hidden field; empty when it is too long for that."""
    packed = base64.b64encode(zlib.compress(data, 6)).decode()
    return packed if len(packed) <= CARRIED_LIMIT else ""
