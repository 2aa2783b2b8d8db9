"""Layouts and images that hypothesis makes up for these tests."""

from hypothesis import strategies as st

from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.datatype import BYTE_ORDERS, DATA_TYPES, DataType, storage
from app.calc.calibration.layout import (
    CATEGORIES,
    CELL_ORDERS,
    AxisDefinition,
    Layout,
    MapDefinition,
    VolatileRange,
)
from app.calc.calibration.record_layout import STATIC_KINDS, Record, RecordPart
from app.calc.calibration.scaling import Scaling, TextRange

SIZE = 4096
BASE = 0x8000

finite = st.floats(-1e6, 1e6, allow_nan=False)
factors = finite.filter(lambda x: abs(x) > 1e-6)
texts = st.text(max_size=8)
data_types = st.sampled_from(DATA_TYPES)
byte_orders = st.sampled_from(BYTE_ORDERS)

linear = st.builds(Scaling.linear, factors, finite, unit=texts, decimals=st.none() | st.integers(0, 6), name=texts)
rational = st.builds(
    lambda b, c, f: Scaling(kind="rational", coefficients=(0.0, b, c, 0.0, 0.0, f)), factors, finite, factors
)
reciprocal = st.builds(lambda c: Scaling(kind="rational", coefficients=(0.0, 0.0, c, 0.0, 1.0, 0.0)), factors)
tables = st.builds(
    lambda points, kind, default: Scaling(kind=kind, points=tuple(points.items()), default_value=default),
    st.dictionaries(finite, finite, min_size=1, max_size=5),
    st.sampled_from(["interpolated table", "exact table"]),
    st.none() | finite,
)
verbal = st.builds(
    lambda rows, default: Scaling(kind="text table", texts=tuple(rows), default_text=default),
    st.lists(st.builds(TextRange, finite, finite, texts), max_size=4),
    st.none() | texts,
)
formulas = st.just(Scaling(kind="formula", formula="X1*0.5+3", inverse_formula="(X1-3)*2"))
scalings = st.one_of(st.just(Scaling()), linear, rational, reciprocal, tables, verbal, formulas)
addresses = st.integers(BASE - 16, BASE + SIZE)
counts = st.integers(1, 9)


@st.composite
def own_axes(draw: st.DrawFn, shared: tuple[AxisDefinition, ...]) -> AxisDefinition:
    """An axis with its own address, fixed, or shared."""
    place = draw(st.sampled_from(["stored", "fixed", *(["shared"] if shared else [])]))
    name, scaling = draw(texts), draw(scalings)
    if place == "shared":
        table = draw(st.sampled_from(shared))
        return AxisDefinition(name, "shared", table.count, scaling, shared=table.name)
    count = draw(counts)
    if place == "fixed":
        values = tuple(draw(st.lists(finite, min_size=count, max_size=count)))
        return AxisDefinition(name, "fixed", count, scaling, values=values)
    return AxisDefinition(
        name, "stored", count, scaling, draw(addresses), draw(data_types), draw(byte_orders),
        descending=draw(st.booleans()), differences=draw(st.booleans()),
    )  # fmt: skip


@st.composite
def records(draw: st.DrawFn, data_type: DataType, axes: int) -> Record:
    """Counts, breakpoints, values, something reserved; in any order, alignment and packing."""
    parts = [RecordPart("values", data_type, alignment=draw(st.sampled_from([1, 2, 4])))]
    for axis in range(axes):
        if draw(st.booleans()):
            parts.append(RecordPart("count", draw(st.sampled_from(["uint8", "uint16", "int8"])), axis))
        parts.append(RecordPart("axis", draw(data_types), axis, draw(st.sampled_from([1, 2, 4])), draw(st.booleans())))
    if draw(st.booleans()):
        parts.append(RecordPart("reserved", "uint16"))
    return Record(draw(texts), tuple(draw(st.permutations(parts))), draw(st.sampled_from(STATIC_KINDS)))


@st.composite
def maps(draw: st.DrawFn, name: str, shared: tuple[AxisDefinition, ...]) -> MapDefinition:
    """A map of any kind, with or without a record."""
    kind = draw(st.sampled_from(["value", "curve", "map", "block", "text"]))
    data_type: DataType = "uint8" if kind == "text" else draw(data_types)
    dimensions = {"curve": 1, "map": 2}.get(kind, 0)
    record = draw(records(data_type, dimensions)) if dimensions and draw(st.booleans()) else None
    order = draw(byte_orders)
    if record is not None:
        axes = tuple(
            AxisDefinition(draw(texts), "in record", draw(counts), draw(scalings), byte_order=order)
            for _ in range(dimensions)
        )
    else:
        axes = tuple(draw(own_axes(shared)) for _ in range(dimensions))
    size = {"block": draw(st.sampled_from([(3,), (2, 4), (5, 1)])), "text": (6,)}.get(kind, ())
    mask = draw(st.sampled_from([0, 0, 0x70, 1])) if not storage(data_type).is_float else 0
    limits = st.none() | finite
    return MapDefinition(
        name, kind, draw(addresses), draw(st.sampled_from(CATEGORIES)), draw(texts), draw(scalings), axes, data_type,
        order, size, draw(st.sampled_from(CELL_ORDERS)), mask, draw(st.none() | st.integers(0, 6)), draw(limits),
        draw(limits), record,
    )  # fmt: skip


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    """A layout that keeps to the rules but may reach beyond the image."""
    shared = tuple(
        AxisDefinition(f"shared {k}", "stored", draw(counts), draw(scalings), draw(addresses), draw(data_types))
        for k in range(draw(st.integers(0, 2)))
    )
    made = tuple(draw(maps(f"map {k}", shared)) for k in range(draw(st.integers(0, 6))))
    checksums = (ChecksumDefinition("sum", "SUM-16/8-BIT", ((BASE, BASE + 16),), BASE + 64),)
    volatile = (VolatileRange(BASE, BASE + 1, draw(texts)),)
    return Layout(
        draw(st.text(min_size=1, max_size=5)), draw(st.none() | texts), made, shared,
        checksums if draw(st.booleans()) else (), volatile if draw(st.booleans()) else (),
        draw(st.sampled_from([0, 64, -64])),
    )  # fmt: skip
