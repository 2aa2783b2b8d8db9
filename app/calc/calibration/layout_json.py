"""Layouts as canonical JSON: equal layouts give equal bytes, and bytes give the layout back.

Conversions and records that many maps share are written once and referred to by number; fields that have their
usual value are left out.
"""

import json
from dataclasses import fields
from math import isfinite
from typing import Any, NoReturn

from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.layout import IDENTICAL, AxisDefinition, Layout, MapDefinition, VolatileRange
from app.calc.calibration.layout_check import check_layout
from app.calc.calibration.record_layout import Record, RecordPart
from app.calc.calibration.scaling import Scaling, TextRange
from app.errors import BadInput

_FORM = 1


def layout_to_json(layout: Layout) -> bytes:
    """Canonical UTF-8 JSON: sorted keys, no spaces, numbers as Python writes them."""
    writer = _Writer()
    whole = {
        "form": _FORM,
        "name": layout.name,
        "software_number": layout.software_number,
        "address_base": layout.address_base,
        "axes": [writer.axis(axis) for axis in layout.axes],
        "maps": [writer.map(definition) for definition in layout.maps],
        "checksums": [_plain(c, _CHECKSUM) | {"ranges": [list(r) for r in c.ranges]} for c in layout.checksums],
        "volatile": [[v.start, v.end, v.reason] for v in layout.volatile],
        "scalings": writer.scalings,
        "records": writer.records,
    }
    text = json.dumps(whole, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.encode("utf-8")


def layout_from_json(data: bytes) -> Layout:
    """The layout that `layout_to_json` wrote; BadInput for anything else."""
    try:
        whole = json.loads(data.decode("utf-8"), parse_constant=_no_constant)
        layout = _Reader(whole).layout()
    except (ValueError, RecursionError, KeyError, IndexError, TypeError, AttributeError, OverflowError) as problem:
        raise BadInput("This is not a layout as it was stored.", details=[str(problem)[:200]]) from problem
    check_layout(layout)
    return layout


def _no_constant(word: str) -> NoReturn:
    raise ValueError(f"{word} is no number")


def _defaults(kind: type[Any], *left_out: str) -> tuple[tuple[str, Any], ...]:
    """(field, usual value) of a dataclass; fields without one are always written."""
    return tuple((f.name, f.default) for f in fields(kind) if f.name not in left_out)


_SCALING = _defaults(Scaling, "coefficients", "points", "texts")
_PART = _defaults(RecordPart)
_AXIS = _defaults(AxisDefinition, "scaling", "record", "values")
_MAP = _defaults(MapDefinition, "scaling", "record", "axes", "lower", "upper", "size")
_CHECKSUM = _defaults(ChecksumDefinition, "ranges")


def _plain(item: Any, defaults: tuple[tuple[str, Any], ...]) -> dict[str, Any]:
    return {name: value for name, usual in defaults if (value := getattr(item, name)) != usual}


def _float(value: float) -> float:
    """One spelling for equal numbers: 1 and 1.0, 0.0 and -0.0."""
    return float(value) + 0.0


class _Writer:
    def __init__(self) -> None:
        self.scalings: list[dict[str, Any]] = []
        self.records: list[dict[str, Any]] = []
        self.numbers: dict[Scaling | Record, int] = {}
        self.by_id: dict[int, int] = {}

    def number(self, item: Scaling | Record) -> int:
        """The number under which a shared part is written, by identity first because hashing is slow."""
        found = self.by_id.get(id(item))
        if found is None:
            found = self.numbers.get(item)
            if found is None:
                found = self.add(item)
                self.numbers[item] = found
            self.by_id[id(item)] = found
        return found

    def add(self, item: Scaling | Record) -> int:
        if isinstance(item, Record):
            parts = [_plain(part, _PART) for part in item.parts]
            self.records.append({"name": item.name, "static": item.static, "parts": parts})
            return len(self.records) - 1
        made = _plain(item, _SCALING)
        made["coefficients"] = [_float(c) for c in item.coefficients]
        made["points"] = [[_float(x), _float(y)] for x, y in item.points]
        made["texts"] = [[_float(t.lower), _float(t.upper), t.text] for t in item.texts]
        if item.default_value is not None:
            made["default_value"] = _float(item.default_value)
        self.scalings.append(made)
        return len(self.scalings) - 1

    def shared(self, item: AxisDefinition | MapDefinition, made: dict[str, Any]) -> dict[str, Any]:
        if item.scaling is not IDENTICAL and item.scaling != IDENTICAL:
            made["scaling"] = self.number(item.scaling)
        if item.record is not None:
            made["record"] = self.number(item.record)
        return made

    def axis(self, axis: AxisDefinition) -> dict[str, Any]:
        made = self.shared(axis, _plain(axis, _AXIS))
        if axis.values:
            made["values"] = [_float(v) for v in axis.values]
        return made

    def map(self, d: MapDefinition) -> dict[str, Any]:
        made = self.shared(d, _plain(d, _MAP))
        if d.axes:
            made["axes"] = [self.axis(axis) for axis in d.axes]
        if d.size:
            made["size"] = list(d.size)
        if d.lower is not None:
            made["lower"] = _float(d.lower)
        if d.upper is not None:
            made["upper"] = _float(d.upper)
        return made


_TYPES: dict[str, type[Any]] = {
    "address": int, "count": int, "bit_mask": int, "decimals": int, "axis": int, "alignment": int, "pairs": int,
    "stored_at": int, "start": int, "lower": float, "upper": float, "default_value": float, "descending": bool,
    "differences": bool,
}  # fmt: skip


class _Reader:
    def __init__(self, whole: Any) -> None:
        if whole["form"] != _FORM or set(whole) != _WHOLE:
            raise ValueError("another form")
        self.whole = whole
        self.scalings = [self.scaling(s) for s in whole["scalings"]]
        self.records = [self.record(r) for r in whole["records"]]

    def layout(self) -> Layout:
        whole = self.whole
        number = whole["software_number"]
        return Layout(
            name=_typed("name", whole["name"]),
            software_number=number if number is None else _typed("software_number", number),
            maps=tuple([self.map(m) for m in whole["maps"]]),
            axes=tuple([self.axis(a) for a in whole["axes"]]),
            checksums=tuple(self.checksum(c) for c in whole["checksums"]),
            volatile=tuple(
                VolatileRange(_typed("address", a), _typed("address", b), _typed("reason", r))
                for a, b, r in whole["volatile"]
            ),
            address_base=_typed("address", whole["address_base"]),
        )

    def scaling(self, made: dict[str, Any]) -> Scaling:
        coefficients = tuple(_number(c) for c in made.pop("coefficients"))
        points = tuple((_number(x), _number(y)) for x, y in made.pop("points"))
        texts = tuple(TextRange(_number(a), _number(b), _typed("text", t)) for a, b, t in made.pop("texts"))
        return Scaling(coefficients=coefficients, points=points, texts=texts, **_checked(made))

    def record(self, made: dict[str, Any]) -> Record:
        parts = tuple(RecordPart(**_checked(part)) for part in made.pop("parts"))
        return Record(parts=parts, **_checked(made))

    def checksum(self, made: dict[str, Any]) -> ChecksumDefinition:
        ranges = tuple((_typed("address", a), _typed("address", b)) for a, b in made.pop("ranges"))
        return ChecksumDefinition(ranges=ranges, **_checked(made))

    def shared(self, made: dict[str, Any]) -> None:
        if "scaling" in made:
            made["scaling"] = self.scalings[_index(made["scaling"])]
        if "record" in made:
            made["record"] = self.records[_index(made["record"])]

    def axis(self, made: dict[str, Any]) -> AxisDefinition:
        if "values" in made:
            made["values"] = tuple([_number(v) for v in made["values"]])
        self.shared(made)
        return AxisDefinition(**_checked(made))

    def map(self, made: dict[str, Any]) -> MapDefinition:
        if "axes" in made:
            made["axes"] = tuple([self.axis(a) for a in made["axes"]])
        if "size" in made:
            made["size"] = tuple([_index(n) for n in made["size"]])
        self.shared(made)
        return MapDefinition(**_checked(made))


_WHOLE = {
    "form", "name", "software_number", "address_base", "axes", "maps", "checksums", "volatile", "scalings", "records",
}  # fmt: skip
_BUILT = frozenset({"scaling", "record", "axes", "size", "values"})


def _checked(made: dict[str, Any]) -> dict[str, Any]:
    """Every value has its field's type: a text unless said otherwise. The constructors refuse unknown fields."""
    for name, value in made.items():
        if name not in _BUILT:
            _typed(name, value)
    return made


def _typed(name: str, value: Any) -> Any:
    wanted = _TYPES.get(name, str)
    if type(value) is not wanted or (wanted is float and not isfinite(value)):
        raise TypeError(f"{name} is {value!r}")
    return value


def _number(value: Any) -> float:
    if type(value) is not float or not isfinite(value):
        raise TypeError(f"{value!r} is no number")
    return value


def _index(value: Any) -> int:
    if type(value) is not int or value < 0:
        raise TypeError(f"{value!r} is no whole number")
    return value
