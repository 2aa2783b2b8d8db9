"""A list of cars from another program, as CSV: one line is one car.

Columns are told by their headings, in any order; spreadsheet habits are accepted: semicolon, tab or comma between
cells, decimal comma, a byte order mark. Lines that begin with # are comments. A line that cannot be used is refused
with its own sentence and leaves the others as they are.
"""

import csv
import io
import math
import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from app.calc.csv_text import csv_text, is_risky
from app.calc.number_text import counted
from app.calc.units import convert
from app.calc.vehicle.listed import ListedVehicle, VehicleList
from app.errors import BadInput, TooLarge

MAX_BYTES = 4 * 1024 * 1024
MOST_LINES = 20_000
_SEPARATORS = ",;\t"
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,3})?", re.ASCII)
_TWO_WAYS = re.compile(r"[+-]?[1-9]\d{0,2}(?:,\d{3})+", re.ASCII)

_FUELS = {
    "petrol": "petrol", "gasoline": "petrol", "diesel": "diesel", "ethanol": "ethanol", "e85": "ethanol",
    "gas": "gas", "lpg": "gas", "cng": "gas", "electric": "electric", "other": "other",
}  # fmt: skip
_DRIVEN = {
    "front": "front", "fwd": "front", "rear": "rear", "rwd": "rear", "all": "all", "awd": "all", "4wd": "all",
    "all wheels": "all",
}  # fmt: skip
_YES_NO = {"yes": True, "y": True, "true": True, "1": True, "no": False, "n": False, "false": False, "0": False}
_TEXTS = (
    "vin", "plate", "make", "model", "engine", "rated_standard", "tyre", "legal_basis", "customer_name",
    "customer_contact",
)  # fmt: skip
# Heading → field, unit in which the cell stands, unit of the field.
_UNITS: dict[str, tuple[str, str, str]] = {
    "rated power kw": ("rated_power_kw", "kW", "kW"),
    "rated power hp": ("rated_power_kw", "hp", "kW"),
    "rated power ps": ("rated_power_kw", "PS", "kW"),
    "rated torque nm": ("rated_torque_nm", "N·m", "N·m"),
    "rated torque lbf ft": ("rated_torque_nm", "lbf·ft", "N·m"),
    "test mass kg": ("test_mass_kg", "kg", "kg"),
    "test mass lb": ("test_mass_kg", "lb", "kg"),
}
_SAME = {
    "registration": "plate", "licence plate": "plate", "license plate": "plate", "manufacturer": "make",
    "model year": "year", "customer": "customer name", "owner": "customer name", "contact": "customer contact",
    "e mail": "customer contact", "telephone": "customer contact", "driven wheels": "driven axles",
    "tire": "tyre", "tyre size": "tyre", "turbo": "boosted",
}  # fmt: skip
COLUMNS = (
    "vin", "plate", "make", "model", "year", "engine", "fuel", "boosted", "hybrid", "driven_axles",
    "rated_power_kw", "rated_torque_nm", "rated_standard", "test_mass_kg", "gear_ratios", "final_drive", "tyre",
    "tyre_radius_m", "legal_basis", "loses_coding", "customer_name", "customer_contact",
)  # fmt: skip


def read_vehicle_list(data: bytes) -> VehicleList:
    """Read the list.

    BadInput when it is no table, has no VIN column, or is damaged (`where` names the line); TooLarge beyond
    MAX_BYTES or MOST_LINES.
    """
    if len(data) > MAX_BYTES:
        raise TooLarge(f"The list has {len(data):,} bytes; {MAX_BYTES:,} are the most. Split it.", field="file")
    lines = io.StringIO(_decoded(data), newline="").readlines()
    skipped = next((n for n, line in enumerate(lines) if _is_heading(line)), None)
    if skipped is None:
        raise _empty()
    separator = max(_SEPARATORS, key=lines[skipped].count)
    rows = _rows("".join(lines[skipped:]), separator, skipped + 1)
    first, headings = next(rows, (0, []))
    if not headings:
        raise _empty()
    fields = [_field(heading) for heading in headings]
    _check_headings(fields, first)
    found: list[ListedVehicle] = []
    for line, cells in rows:
        if len(found) == MOST_LINES:
            raise TooLarge(f"The list has more than {MOST_LINES:,} cars; split it.", field="file")
        found.append(_car(line, headings, fields, cells, separator != ","))
    if not found:
        raise BadInput("The list has headings but no cars.", field="file", where=f"line {first}")
    return VehicleList(tuple(found), tuple(h for h, f in zip(headings, fields, strict=True) if h and f is None))


def _empty() -> BadInput:
    return BadInput("The list is empty; the template has the headings.", field="file")


def _decoded(data: bytes) -> str:
    try:
        text = data.decode("utf-16" if data[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", "replace")
    if "\0" in text:
        raise BadInput("This is not a text file: it holds zero bytes. Save the list as CSV.", field="file")
    return text


def _is_heading(line: str) -> bool:
    """Whether the line is the first that is neither empty, nor a comment, nor a separator's declaration."""
    plain = "".join(line.split()).strip(_SEPARATORS)
    return bool(plain) and not plain.startswith("#") and not plain.lower().startswith("sep=")


def _rows(text: str, separator: str, first: int) -> Iterator[tuple[int, list[str]]]:
    """(number of its first line, cells) of each record that is neither empty nor a comment."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    while True:
        line = first + reader.line_num
        try:
            cells = next(reader, None)
        except csv.Error as problem:
            raise BadInput(
                f"The list is damaged here ({problem}); save it again as CSV.", field="file", where=f"line {line}"
            ) from problem
        if cells is None:
            return
        if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
            yield line, [_unescaped(cell.strip()) for cell in cells]


def _unescaped(cell: str) -> str:
    """Without the apostrophe that keeps a spreadsheet from taking the cell for a formula."""
    return cell[1:] if cell.startswith("'") and is_risky(cell[1:]) else cell


def _field(heading: str) -> tuple[str, Callable[[str, bool], Any]] | None:
    """The field of a heading and how its cells are read; None for a heading that no field belongs to."""
    plain = " ".join(re.sub(r"[\W_]+", " ", heading.casefold()).split())
    plain = _SAME.get(plain, plain)
    name = plain.replace(" ", "_")
    if name in _TEXTS:
        return name, lambda text, _comma: text
    if plain in _UNITS:
        field, given, stored = _UNITS[plain]
        return field, lambda text, comma: convert(_number(text, comma), given, stored)
    readers: dict[str, Callable[[str, bool], Any]] = {
        "year": _whole,
        "fuel": lambda text, _comma: _word(text, _FUELS),
        "driven_axles": lambda text, _comma: _word(text, _DRIVEN),
        "boosted": lambda text, _comma: _word(text, _YES_NO),
        "hybrid": lambda text, _comma: _word(text, _YES_NO),
        "loses_coding": lambda text, _comma: _word(text, _YES_NO),
        "final_drive": _number,
        "tyre_radius_m": _number,
        "gear_ratios": lambda text, comma: tuple(_number(part, comma) for part in text.split()),
    }
    return (name, readers[name]) if name in readers else None


def _check_headings(fields: list[tuple[str, Callable[[str, bool], Any]] | None], line: int) -> None:
    names = [field[0] for field in fields if field is not None]
    for needed in ("vin", "make", "model"):
        if needed not in names:
            raise BadInput(
                f"The list needs a column headed “{needed}”; the template has all of them.",
                field="file",
                where=f"line {line}",
            )
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise BadInput(f"Two columns say “{twice}”; keep one of them.", field="file", where=f"line {line}")


def _car(
    line: int,
    headings: list[str],
    fields: list[tuple[str, Callable[[str, bool], Any]] | None],
    cells: list[str],
    decimal_comma: bool,
) -> ListedVehicle:
    values: dict[str, Any] = {}
    vin = next(
        ("".join(c.split()).upper() for c, f in zip(cells, fields, strict=False) if f is not None and f[0] == "vin"), ""
    )
    if any(cells[len(headings) :]):
        there = counted(len(headings), "heading")
        refused = f"There are {len(cells)} cells under {there}: is a cell with a separator unquoted?"
        return ListedVehicle(line, vin, {}, refused)
    for heading, field, cell in zip(headings, fields, cells, strict=False):
        if field is None or not cell:
            continue
        try:
            values[field[0]] = field[1](cell, decimal_comma)
        except BadInput as error:
            return ListedVehicle(line, vin, {}, f"{heading}: {error.sentence}")
    return ListedVehicle(line, vin, values)


def _number(text: str, decimal_comma: bool) -> float:
    if decimal_comma and _TWO_WAYS.fullmatch(text):
        raise BadInput(f"“{text[:40]}” can be read in two ways; write it without separating thousands.")
    plain = text.replace(",", ".") if decimal_comma else text
    value = float(plain) if _NUMBER.fullmatch(plain) else math.nan
    if not math.isfinite(value):
        raise BadInput(f"“{text[:40]}” is no number; write it like 0.25.")
    return value


def _whole(text: str, decimal_comma: bool) -> int:
    value = _number(text, decimal_comma)
    if value != int(value):
        raise BadInput(f"“{text[:40]}” is no whole number.")
    return int(value)


def _word(text: str, allowed: Mapping[str, Any]) -> Any:
    plain = text.casefold()
    if plain not in allowed:
        raise BadInput(f"“{text[:40]}” is not known here; write one of {', '.join(allowed)}.")
    return allowed[plain]


_EXAMPLE = (
    "UU9ASTREL1A000417", "RL 12 AB", "Corvane", "Astrel", 2019, "2.0 L four-cylinder", "petrol", True, False, "front",
    169.0, 350.0, "ISO 1585", 1480.0, "3.6 2.1 1.4 1.0 0.8", 3.94, "225/40 R18", 0.316, "off-road use", True,
    "Name of the customer", "telephone or e-mail",
)  # fmt: skip


def vehicle_list_template() -> bytes:
    """An empty list with every heading and one car as a comment; `read_vehicle_list` takes it once filled in."""
    example = csv_text(COLUMNS, [_EXAMPLE]).split("\r\n")[1]
    return ("\ufeff" + ",".join(COLUMNS) + "\r\n# " + example + "\r\n").encode()
