"""What a layout says about itself."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.checksum import ChecksumDefinition
from app.calc.calibration.layout import AxisDefinition, Layout, MapDefinition, VolatileRange, bit_shift
from app.errors import BadInput


def test_shape_is_rows_by_columns() -> None:
    axes = (AxisDefinition("x", count=8), AxisDefinition("y", count=6))
    assert MapDefinition("m", "map", 0, axes=axes).shape == (6, 8)
    assert MapDefinition("m", "curve", 0, axes=axes[:1]).shape == (8,)
    assert MapDefinition("m", "block", 0, size=(3, 2)).shape == (2, 3)
    assert MapDefinition("m", "value", 0).shape == ()


@pytest.mark.parametrize(
    ("data_type", "mask", "limits"),
    [("int8", 0, (-128, 127)), ("uint16", 0, (0, 65535)), ("uint8", 0x70, (0, 7)), ("int16", 0x8000, (0, 1))],
)
def test_cell_holds_what_its_type_and_mask_allow(data_type: str, mask: int, limits: tuple[int, int]) -> None:
    assert MapDefinition("m", "value", 0, data_type=data_type, bit_mask=mask).raw_limits == limits  # type: ignore[arg-type]


@given(st.integers(1, 2**40))
def test_shift_is_the_number_of_low_bits_a_mask_leaves_out(mask: int) -> None:
    text = f"{mask:b}"
    assert bit_shift(mask) == len(text) - len(text.rstrip("0"))


def test_address_base_moves_checksums_and_volatile_ranges() -> None:
    layout = Layout(
        "l",
        checksums=(ChecksumDefinition("c", "SUM-16/8-BIT", ((0x8000, 0x8010),), 0x8010, "little"),),
        volatile=(VolatileRange(0x8020, 0x8030, "learned"),),
        address_base=-0x8000,
    )
    assert layout.checksums_in_image == (ChecksumDefinition("c", "SUM-16/8-BIT", ((0, 0x10),), 0x10, "little"),)
    assert layout.volatile_in_image == (VolatileRange(0x20, 0x30, "learned"),)


def test_map_is_found_by_name_or_missed_with_a_sentence() -> None:
    layout = Layout("l", maps=(MapDefinition("a", "value", 0), MapDefinition("b", "value", 1)))
    assert layout.map("b").address == 1
    with pytest.raises(BadInput, match="no map 'c'"):
        layout.map("c")
