"""Decoding, against the standard library's struct read cell by cell."""

import struct

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.calc.calibration.datatype import DATA_TYPES, ByteOrder, DataType, storage
from app.calc.calibration.decode import MapTable, decode, encode, footprints, undecodable, write_cells
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.scaling import Scaling
from app.errors import BadInput
from tests.calc.calibration.layouts import BASE, SIZE, layouts

CODES = dict(zip(DATA_TYPES, "BbHhIiQqefd", strict=True))
images = st.integers(0, 2**32).map(
    lambda seed: Image.of([
        (BASE, np.random.default_rng(seed).integers(0, 6, SIZE // 2, dtype=np.uint8).tobytes()),
        (BASE + SIZE // 2 + 3, np.random.default_rng(seed + 1).bytes(SIZE // 2 - 3)),
    ])
)  # fmt: skip
many = settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))


def cell(image: Image, address: int, data_type: DataType, byte_order: ByteOrder) -> float:
    code = (">" if byte_order == "big" else "<") + CODES[data_type]
    value: float = struct.unpack(code, image.read(address, storage(data_type).itemsize))[0]
    return value


@many
@given(images, layouts())
def test_every_cell_holds_what_lies_at_its_address(image: Image, layout: Layout) -> None:
    for table in decode(image, layout).values():
        d = table.definition
        for address, raw in zip(table.addresses.ravel().tolist(), table.raw.ravel().tolist(), strict=True):
            stored = cell(image, address, d.data_type, d.byte_order)
            if d.bit_mask:
                stored = (int(stored) & d.bit_mask) >> (4 if d.bit_mask == 0x70 else 0)
            assert raw == stored or (raw != raw and stored != stored)
        assert table.physical.shape == table.raw.shape == table.addresses.shape
        sizes = tuple(len(axis.values) for axis in reversed(table.axes))
        assert table.raw.shape == (sizes or d.shape)
        for axis in table.axes:
            if axis.raw is not None and axis.addresses is not None:
                read = [cell(image, a, axis.data_type, axis.byte_order) for a in axis.addresses.tolist()]
                np.testing.assert_array_equal(axis.raw, read)
                if not axis.definition.differences:
                    np.testing.assert_array_equal(axis.values, axis.definition.scaling.to_physical(axis.raw))


@many
@given(images, layouts())
def test_each_map_is_decoded_or_has_a_reason(image: Image, layout: Layout) -> None:
    tables, reasons = decode(image, layout), dict(undecodable(image, layout))
    assert tables.keys().isdisjoint(reasons)
    assert [m.name for m in layout.maps if m.name in tables] == list(tables)
    assert tables.keys() | reasons.keys() == layout.positions.keys()


@many
@given(images, layouts(), st.data())
def test_decoding_some_maps_gives_the_same_as_decoding_all(image: Image, layout: Layout, data: st.DataObject) -> None:
    names = data.draw(st.sets(st.sampled_from([m.name for m in layout.maps] or ["none"])))
    every, some = decode(image, layout), decode(image, layout, names)
    assert some.keys() == every.keys() & names
    for name, table in some.items():
        np.testing.assert_array_equal(table.raw, every[name].raw)
        np.testing.assert_array_equal(table.physical, every[name].physical)


@many
@given(images, images, layouts())
def test_what_is_kept_between_images_changes_nothing(first: Image, second: Image, layout: Layout) -> None:
    fresh = Layout(layout.name, None, layout.maps, layout.axes, address_base=layout.address_base)
    decode(first, layout)
    warm, cold = decode(second, layout), decode(second, fresh)
    assert warm.keys() == cold.keys()
    assert undecodable(second, layout) == undecodable(second, fresh)
    for name, table in warm.items():
        np.testing.assert_array_equal(table.raw, cold[name].raw)
        np.testing.assert_array_equal(table.addresses, cold[name].addresses)


@many
@given(images, layouts())
def test_encoding_what_was_decoded_changes_no_byte(image: Image, layout: Layout) -> None:
    for table in decode(image, layout).values():
        try:
            raw, saturated = encode(table, table.physical)
        except BadInput:
            continue
        np.testing.assert_array_equal(raw, table.raw)
        assert not saturated.any()
        if not np.isnan(raw.astype(float)).any():
            assert write_cells(image, table, raw).payload == image.payload


@many
@given(images, layouts(), st.integers(0, 2**32))
def test_written_cells_are_read_back_and_nothing_else_changes(image: Image, layout: Layout, seed: int) -> None:
    rng = np.random.default_rng(seed)
    for table in decode(image, layout).values():
        low, high = max(table.raw_min, -100), min(table.raw_max, 100)
        wanted = rng.integers(int(low), int(high), table.raw.shape, endpoint=True)
        written = write_cells(image, table, wanted)
        again = decode(written, layout, [table.name])
        own = {a + k for a in table.addresses.ravel().tolist() for k in range(table.itemsize)}
        for (address, _), before, after in zip(image.spans, image.segments, written.segments, strict=True):
            differ = np.flatnonzero(np.frombuffer(before.data, np.uint8) != np.frombuffer(after.data, np.uint8))
            assert {address + k for k in differ.tolist()} <= own
        if table.name in again and (again[table.name].addresses == table.addresses).all():
            np.testing.assert_array_equal(again[table.name].raw, wanted)


@many
@given(images, layouts())
def test_footprints_are_exactly_the_bytes_that_decide(image: Image, layout: Layout) -> None:
    found = footprints(image, layout)
    assert (np.diff(found.start) >= 0).all()
    covered: dict[int, set[int]] = {}
    for start, end, owner, role in zip(found.start, found.end, found.owner, found.role, strict=True):
        if role < 2:
            covered.setdefault(int(owner), set()).update(range(int(start), int(end)))
    for table in decode(image, layout).values():
        own = {a + k for a in table.addresses.ravel().tolist() for k in range(table.itemsize)}
        for axis in table.axes:
            if axis.addresses is not None:
                own |= {a + k for a in axis.addresses.tolist() for k in range(axis.itemsize)}
        assert covered[layout.positions[table.name]] == own


@many
@given(images, layouts(), st.lists(st.tuples(st.integers(-20, SIZE), st.integers(1, 40)), min_size=1, max_size=6))
def test_runs_are_attributed_as_by_looking_at_every_row(
    image: Image, layout: Layout, runs: list[tuple[int, int]]
) -> None:
    found = footprints(image, layout)
    starts = [BASE + at for at, _ in runs]
    ends = [BASE + at + length for at, length in runs]
    expected = {
        int(owner)
        for start, end, owner in zip(found.start, found.end, found.owner, strict=True)
        if any(start < b and a < end for a, b in zip(starts, ends, strict=True))
    }
    assert found.owners(starts, ends).tolist() == sorted(expected)


def small(**more: object) -> MapTable:
    definition = MapDefinition("m", "block", 0, size=(4,), **more)  # type: ignore[arg-type]  # fields of the test
    return decode(Image.of([(0, bytes(range(16)))]), Layout("l", maps=(definition,)))["m"]


def test_cell_at_its_limit_is_reported() -> None:
    raw, saturated = encode(small(scaling=Scaling.linear(0.5)), [0.0, 127.5, 128.0, -3.0])
    assert (raw.tolist(), saturated.tolist()) == ([0, 255, 255, 0], [False, False, True, True])


def test_bits_beside_a_mask_stay_as_they_are() -> None:
    table = small(bit_mask=0x0C)
    assert table.raw.tolist() == [0, 0, 0, 0]
    written = write_cells(Image.of([(0, bytes(range(16)))]), table, [3, 0, 1, 2])
    assert written.read(0, 5) == bytes([0x0C, 0x01, 0x06, 0x0B, 4])


@pytest.mark.parametrize("raw", [[256, 0, 0, 0], [-1, 0, 0, 0], [0.5, 0, 0, 0]])
def test_number_that_does_not_fit_a_cell_is_refused(raw: list[float]) -> None:
    with pytest.raises(BadInput, match="cannot be stored"):
        write_cells(Image.of([(0, bytes(range(16)))]), small(), raw)


def test_fixed_axis_cannot_be_written() -> None:
    axis = AxisDefinition.fixed("x", (1.0, 2.0))
    layout = Layout("l", maps=(MapDefinition("m", "curve", 0, axes=(axis,)),))
    image = Image.of([(0, bytes(4))])
    with pytest.raises(BadInput, match="not stored"):
        encode(decode(image, layout)["m"].axes[0], [1.0, 2.0])


def test_axis_of_differences_adds_up_from_its_stored_end() -> None:
    up = AxisDefinition("x", "stored", 3, address=0, differences=True)
    down = AxisDefinition("x", "stored", 3, address=4, differences=True, descending=True, data_type="int8")
    layout = Layout("l", maps=tuple(MapDefinition(n, "curve", 8, axes=(a,)) for n, a in (("up", up), ("down", down))))
    tables = decode(Image.of([(0, bytes([10, 5, 5, 0, 100, 246, 246, 0, 1, 2, 3, 0]))]), layout)
    assert tables["up"].axes[0].values.tolist() == [10, 15, 20]
    assert tables["down"].axes[0].values.tolist() == [80, 90, 100]
    assert tables["down"].raw.tolist() == [3, 2, 1]


def test_address_base_moves_everything() -> None:
    layout = Layout("l", maps=(MapDefinition("m", "value", 0x8000),), address_base=-0x8000)
    table = decode(Image.of([(0, b"\x07")]), layout)["m"]
    assert (int(table.raw), int(table.addresses)) == (7, 0)
