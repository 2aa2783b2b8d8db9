"""Decoding 400 maps of a 4 MiB image, measured against reading each map through a view of its own."""

from typing import Any

import numpy as np
import pytest

from app.calc.calibration.decode import decode, footprints
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.scaling import Scaling
from tests.bench.families import Family, Spot, family
from tests.bench.timing import medians

Benchmark = Any  # the fixture of pytest-benchmark, with room for what was measured
_RPM, _LOAD = Scaling.linear(0.25, unit="1/min"), Scaling.linear(0.1, unit="%")
_VALUES = tuple(Scaling.linear(0.01 * (k + 1), -40) for k in range(12))


@pytest.fixture(scope="module")
def made() -> Family:
    return family(1, revisions=4)


def definition(k: int, spot: Spot) -> MapDefinition:
    x = AxisDefinition("rpm", count=spot.columns, address=spot.x_address, data_type="uint16", scaling=_RPM)
    y = AxisDefinition("load", count=spot.rows, address=spot.y_address, data_type="uint16", scaling=_LOAD)
    cell = "uint16" if spot.itemsize == 2 else "uint8"
    return MapDefinition(spot.name, "map", spot.address, axes=(x, y), data_type=cell, scaling=_VALUES[k % 12])


@pytest.fixture(scope="module")
def layout(made: Family) -> Layout:
    return Layout("bench", maps=tuple(definition(k, spot) for k, spot in enumerate(made.spots)))


def map_by_map(image: Image, layout: Layout) -> dict[str, tuple[np.ndarray, ...]]:
    """The plain way: for each map and axis a view, a conversion, the addresses."""
    tables = {}
    for d in layout.maps:
        parts = []
        for address, shape, cell, scaling in (
            (d.address, d.shape, d.data_type, d.scaling),
            *((a.address, (a.count,), a.data_type, a.scaling) for a in d.axes),
        ):
            dtype = np.dtype(cell).newbyteorder(">")
            count = int(np.prod(shape))
            raw = np.frombuffer(image.payload, dtype, count, address).reshape(shape).astype(np.int64)
            addresses = address + dtype.itemsize * np.arange(count).reshape(shape)
            parts += [raw, scaling.to_physical(raw), addresses]
        tables[d.name] = tuple(parts)
    return tables


def test_decoding_an_image_beats_reading_map_by_map(benchmark: Benchmark, made: Family, layout: Layout) -> None:
    images = [Image.of([(0, payload)]) for payload in made.images]
    plain = map_by_map(images[0], layout)
    tables = decode(images[0], layout)
    for name, (raw, physical, addresses, *_) in plain.items():
        np.testing.assert_array_equal(tables[name].raw, raw)
        np.testing.assert_array_equal(tables[name].physical, physical)
        np.testing.assert_array_equal(tables[name].addresses, addresses)
    benchmark(decode, images[1], layout)
    theirs, ours = medians(9, lambda: map_by_map(images[1], layout), lambda: decode(images[1], layout))
    benchmark.extra_info.update({"baseline": "map by map", "times_faster": round(theirs / ours, 1)})
    assert ours < theirs / 2


def test_finding_the_maps_behind_changed_bytes_needs_no_decoding(
    benchmark: Benchmark, made: Family, layout: Layout
) -> None:
    old, new = (np.frombuffer(payload, np.uint8) for payload in made.images[:2])
    changed = np.flatnonzero(old != new)
    image = Image.of([(0, made.images[1])])
    table = footprints(image, layout)
    owners = benchmark(table.owners, changed, changed + 1)
    tables_old, tables_new = (decode(Image.of([(0, p)]), layout) for p in made.images[:2])
    differ = [
        k for k, d in enumerate(layout.maps) if not np.array_equal(tables_old[d.name].raw, tables_new[d.name].raw)
    ]
    assert owners.tolist() == differ
    owners_time, decode_time = medians(9, lambda: table.owners(changed, changed + 1), lambda: decode(image, layout))
    assert owners_time < decode_time
