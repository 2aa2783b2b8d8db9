"""The form that describes a map: from a guess to typed fields, from typed fields to a map definition."""

import math
from dataclasses import dataclass, fields
from typing import TypeVar

from app.calc.calibration.address_text import address_of
from app.calc.calibration.datatype import BYTE_ORDERS, DATA_TYPES, ByteOrder, DataType
from app.calc.calibration.layout import CATEGORIES, AxisDefinition, Category, MapDefinition, MapKind
from app.calc.calibration.scaling import Scaling
from app.calc.calibration.shape_guess import ShapeGuess
from app.errors import BadInput

KINDS: tuple[tuple[MapKind, str], ...] = (
    ("value", "One number"),
    ("curve", "Curve: one axis"),
    ("map", "Map: two axes"),
    ("block", "Numbers without axes"),
)
_MOST_FIXED = 4096
T = TypeVar("T", bound=str)


@dataclass(frozen=True, slots=True)
class AxisFields:
    """One axis as typed: `address` for breakpoints in the image, `values` for fixed ones."""

    name: str = ""
    unit: str = ""
    address: str = ""
    data_type: str = "uint8"
    factor: str = "1"
    offset: str = "0"
    values: str = ""


@dataclass(frozen=True, slots=True)
class MapFields:
    """A map as typed; addresses are those in the image."""

    name: str = ""
    category: str = "other"
    description: str = ""
    kind: str = "map"
    address: str = ""
    data_type: str = "uint8"
    byte_order: str = "big"
    columns: str = "1"
    rows: str = "1"
    factor: str = "1"
    offset: str = "0"
    unit: str = ""
    x: AxisFields = AxisFields()
    y: AxisFields = AxisFields()


def fields_of_guess(guess: ShapeGuess) -> MapFields:
    """What a guess fills in; name, category and conversion stay for the person."""
    made = guess.definition("guess")
    x, y = (
        AxisFields() if axis is None else AxisFields(address=f"0x{axis.address:X}", data_type=axis.data_type)
        for axis in (guess.x_axis, guess.y_axis)
    )
    return MapFields(
        kind=made.kind,
        address=f"0x{guess.address:X}",
        data_type=guess.data_type,
        byte_order=guess.byte_order,
        columns=str(guess.columns),
        rows=str(guess.rows),
        x=x,
        y=y,
    )


def flat(typed: MapFields) -> dict[str, str]:
    """The fields by their names in the form: those of the axes begin with x_ and y_."""
    found = {field.name: getattr(typed, field.name) for field in fields(MapFields) if field.name not in ("x", "y")}
    for prefix, axis in (("x_", typed.x), ("y_", typed.y)):
        found |= {prefix + field.name: getattr(axis, field.name) for field in fields(AxisFields)}
    return found


def of_flat(given: dict[str, str]) -> MapFields:
    """The fields from their names in the form; those that are missing have their usual value."""
    own = {field.name: given[field.name] for field in fields(MapFields) if field.name in given}
    return MapFields(**own, x=_axis_of_flat(given, "x_"), y=_axis_of_flat(given, "y_"))


def _axis_of_flat(given: dict[str, str], prefix: str) -> AxisFields:
    names = (field.name for field in fields(AxisFields))
    return AxisFields(**{name: given[prefix + name] for name in names if prefix + name in given})


def definition_of(typed: MapFields, *, address_base: int) -> MapDefinition:
    """The map definition in the layout's own addresses, `address_base` lower than those in the image.

    BadInput names the field: an address or number that is none, a choice that is none, axes without points.
    """
    kind = _choice(typed.kind, tuple(one for one, _ in KINDS), "kind")
    rows, columns = _count(typed.rows, "rows"), _count(typed.columns, "columns")
    order: ByteOrder = _choice(typed.byte_order, BYTE_ORDERS, "byte_order")
    axes = []
    if kind in ("curve", "map"):
        axes.append(_axis(typed.x, "x", columns, order, address_base))
    if kind == "map":
        axes.append(_axis(typed.y, "y", rows, order, address_base))
    size = ((columns, rows) if rows > 1 else (columns,)) if kind == "block" else ()
    if not typed.name.strip():
        raise BadInput("Write the map's name.", field="name")
    category: Category = _choice(typed.category, CATEGORIES, "category")
    return MapDefinition(
        typed.name.strip(),
        kind,
        _address(typed.address, "address", address_base),
        category,
        typed.description.strip(),
        scaling=_scaling(typed.factor, typed.offset, typed.unit, ""),
        axes=tuple(axes),
        data_type=_choice(typed.data_type, DATA_TYPES, "data_type"),
        byte_order=order,
        size=size,
    )


def _axis(typed: AxisFields, which: str, count: int, order: ByteOrder, base: int) -> AxisDefinition:
    name = typed.name.strip() or which
    if typed.values.strip():
        values = _values(typed.values, f"{which}_values")
        if len(values) != count:
            raise BadInput(f"The axis has {len(values)} breakpoints for {count} cells.", field=f"{which}_values")
        return AxisDefinition.fixed(name, values, unit=typed.unit.strip())
    if not typed.address.strip():
        raise BadInput(
            "Give the address of the breakpoints, or write the breakpoints themselves.", field=f"{which}_address"
        )
    data_type: DataType = _choice(typed.data_type, DATA_TYPES, f"{which}_data_type")
    return AxisDefinition(
        name,
        "stored",
        count,
        _scaling(typed.factor, typed.offset, typed.unit, which + "_"),
        _address(typed.address, f"{which}_address", base),
        data_type,
        order,
    )


def _scaling(factor: str, offset: str, unit: str, prefix: str) -> Scaling:
    a, b = number_of(factor, prefix + "factor"), number_of(offset, prefix + "offset")
    if a == 0:
        raise BadInput("A factor of 0 would make every value the same.", field=prefix + "factor")
    return Scaling(unit=unit.strip()) if (a, b) == (1, 0) else Scaling.linear(a, b, unit=unit.strip())


def number_of(text: str, field: str) -> float:
    """A number with a point or a comma; a quotient such as 1/128 is worked out."""
    above, slash, below = text.strip().replace(",", ".").replace("\u2212", "-").partition("/")
    try:
        value = float(above) / float(below) if slash else float(above)
    except (ValueError, ZeroDivisionError):
        value = math.nan
    if not math.isfinite(value) or "_" in text:
        raise BadInput(f"“{text[:20]}” is no number; write it like 0.25 or 1/128.", field=field)
    return value


def _values(text: str, field: str) -> tuple[float, ...]:
    words = text.replace(";", " ").split()
    if len(words) > _MOST_FIXED:
        raise BadInput(f"An axis may have {_MOST_FIXED} breakpoints here.", field=field)
    return tuple(number_of(word, field) for word in words)


def _count(text: str, field: str) -> int:
    if not (text.strip().isascii() and text.strip().isdigit() and 1 <= int(text.strip()[:9]) <= _MOST_FIXED):
        raise BadInput(f"Write a whole number from 1 to {_MOST_FIXED}.", field=field)
    return int(text)


def _address(text: str, field: str, base: int) -> int:
    return address_of(text, field) - base


def _choice(text: str, allowed: tuple[T, ...], field: str) -> T:
    for one in allowed:
        if one == text:
            return one
    raise BadInput(f"Choose one of {', '.join(allowed)}.", field=field)
