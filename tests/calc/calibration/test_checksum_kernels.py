"""Values of many ranges from prefixes against the plain computation of each."""

from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.calibration.checksum_algorithms import ALGORITHMS, Algorithm, ByteOrder
from app.calc.calibration.checksum_kernels import CrcKernel, DoubleSumKernel, Field, Kernel, SumKernel

BYTES = st.binary(min_size=24, max_size=120).map(lambda b: b[: len(b) // 4 * 4])


def kernel_for(model: Algorithm, data: bytes, positions: Any, order: ByteOrder) -> Kernel:
    parts = [memoryview(bytes(len(data))), memoryview(data)]
    if model.family == "crc":
        return CrcKernel(model, parts, positions)
    if model.family in ("fletcher", "adler"):
        return DoubleSumKernel(model, parts, positions, order)
    return SumKernel(parts, positions, model.unit, order)


@pytest.mark.parametrize("name", sorted(ALGORITHMS))
@pytest.mark.parametrize("order", ["big", "little"])
@settings(max_examples=12, deadline=None)
@given(data=BYTES)
def test_every_range_has_the_value_that_its_bytes_give(name: str, order: ByteOrder, data: bytes) -> None:
    model = ALGORITHMS[name]
    positions = np.arange(0, len(data) + 1, 4)
    kernel = kernel_for(model, data, positions, order)
    index = np.arange(len(positions))
    spans = kernel.spans(model, 1, index, index)
    pairs = [(s, e) for s in index for e in index[s:]]
    plain = np.array([model.compute(data[4 * s : 4 * e], order) for s, e in pairs], dtype=np.uint64)
    expected = kernel.domain(model, plain)
    assert [int(spans[p]) for p in pairs] == expected.tolist()
    # tails: the stored value that belongs to each end, here that of the range from the first position
    stored = expected[: len(index)]
    tails = kernel.tails(model, 1, index[:1], index, stored)
    assert tails.all()
    assert not kernel.tails(model, 1, index[:1], index, stored ^ np.uint64(1)).any()


@pytest.mark.parametrize("name", sorted(ALGORITHMS))
@settings(max_examples=12, deadline=None)
@given(data=BYTES)
def test_word_inside_a_range_counts_as_zero_or_is_left_out(name: str, data: bytes) -> None:
    model = ALGORITHMS[name]
    positions = np.arange(0, len(data) + 1, model.unit)
    kernel = kernel_for(model, data, positions, "big")
    step = model.size // model.unit
    end = len(positions) - 2
    low = np.arange(1, end - step)
    zeroed, left_out = kernel.inside(model, 1, 0, end, low, low + step)
    whole = data[: int(positions[end])]
    for k, at in enumerate(positions[low].tolist()):
        before, after = whole[:at], whole[at + model.size :]
        plain = [model.compute(before + bytes(model.size) + after), model.compute(before + after)]
        expected = kernel.domain(model, np.array(plain, dtype=np.uint64))
        assert zeroed[k] == expected[0]
        assert left_out is None or left_out[k] == expected[1]


@pytest.mark.parametrize(("width", "poly"), [(8, 0x2F), (16, 0x1021), (32, 0x04C11DB7), (64, 0x42F0E1EBA9EA3693)])
def test_field_has_inverses_and_powers(width: int, poly: int) -> None:
    field = Field(width, poly)
    x, inverse = np.array([2], dtype=np.uint64), np.array([field.inverse_of_x], dtype=np.uint64)
    assert field.times(x, inverse).tolist() == [1]
    up, down = (
        field.powers(2, np.array([0, 1, 1000, 12345])),
        field.powers(field.inverse_of_x, np.array([0, 1, 1000, 12345])),
    )
    assert field.times(up, down).tolist() == [1, 1, 1, 1]
    values = np.array([1, 3, (1 << width) - 1], dtype=np.uint64)
    assert field.reflected(field.reflected(values)).tolist() == values.tolist()
    assert int(field.reflected(values)[0]) == 1 << (width - 1)
    table = field.table(up)
    grid = np.repeat(values[:, None], 4, axis=1)
    assert (field.looked_up(grid, table) == field.times(grid, up[None, :])).all()
