"""Deltas of a 4 MiB pair with 400 maps, 23 of them changed, beside one comparison of the two blocks in memory.

Run with --benchmark-enable. Target: all of it within ten comparisons of the whole image (memcmp on equal bytes).
Measured on two cores, in turn: finding alone 1.9, everything 6.5, decoding all maps of both images 29 times memcmp.
"""

import numpy as np
from pytest_benchmark.fixture import BenchmarkFixture

from app.calc.calibration.byte_ranges import changed_ranges
from app.calc.calibration.decode import decode
from app.calc.calibration.delta import compare
from app.calc.calibration.image import Image
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition
from app.calc.calibration.scaling import Scaling
from tests.bench.families import Family, Spot, family
from tests.bench.timing import medians

SEED = 2
FIND = 2.5
EVERYTHING = 10.0

SPEED, LOAD = Scaling.linear(0.25, unit="1/min"), Scaling.linear(0.1, unit="%")
TORQUE, SPARK = Scaling.linear(0.01, unit="N·m"), Scaling.linear(0.75, -20.0, unit="deg")


def layout_of(f: Family) -> Layout:
    """The family's maps with their axes; words as torque, bytes as spark angles."""
    return Layout("bench", maps=tuple(_definition(spot) for spot in f.spots))


def _definition(spot: Spot) -> MapDefinition:
    x = AxisDefinition("engine speed", count=spot.columns, address=spot.x_address, data_type="uint16", scaling=SPEED)
    y = AxisDefinition("load", count=spot.rows, address=spot.y_address, data_type="uint16", scaling=LOAD)
    words = spot.itemsize == 2
    return MapDefinition(
        spot.name,
        "curve" if spot.rows == 1 else "map",
        spot.address,
        "torque" if words else "ignition",
        scaling=TORQUE if words else SPARK,
        axes=(x,) if spot.rows == 1 else (x, y),
        data_type="uint16" if words else "uint8",
    )


def test_a_comparison_costs_few_memcmp(benchmark: BenchmarkFixture) -> None:
    f = family(SEED, revisions=1, changed=(23, 23))
    layout = layout_of(f)
    before, after = (Image.of([(0, data)]) for data in f.images)
    same = bytes(bytearray(f.images[0]))
    found = compare(before, after, layout)
    edited = np.frombuffer(f.images[0], np.uint8) != np.frombuffer(f.images[1], np.uint8)
    touched = [s.name for s in f.spots if edited[s.address : s.address + s.rows * s.columns * s.itemsize].any()]
    assert [delta.name for delta in found.deltas] == touched
    assert len(touched) == 23
    assert found.changed_bytes == int(edited.sum())
    assert found.unexplained_bytes == found.unexplained[0].changed <= 4
    few = bool(benchmark.disabled)
    memcmp, find, everything, all_maps = medians(
        1 if few else 200,
        lambda: f.images[0] == same,
        lambda: changed_ranges(before, after),
        lambda: compare(before, after, layout),
        lambda: (decode(before, layout), decode(after, layout)),
    )
    benchmark.extra_info |= {
        "memcmp, s": memcmp,
        "find / memcmp": find / memcmp,
        "everything / memcmp": everything / memcmp,
        "decoding all maps of both / memcmp": all_maps / memcmp,
    }
    benchmark(compare, before, after, layout)
    assert few or find <= FIND * memcmp
    assert few or everything <= EVERYTHING * memcmp
