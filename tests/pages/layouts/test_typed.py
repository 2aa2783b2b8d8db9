"""The shop can rely on it that addresses and ranges are read as they are written."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.address_text import address_of
from app.errors import BadInput
from app.pages.layouts.typed import ranges_of

ADDRESSES = st.integers(0, 2**48 - 1)


@given(address=ADDRESSES, prefix=st.sampled_from(["0x", "0X", "", " 0x"]))
def test_addresses_are_hexadecimal_with_or_without_their_mark(address: int, prefix: str) -> None:
    assert address_of(f"{prefix}{address:X}", "a") == address


@given(
    pairs=st.lists(st.tuples(ADDRESSES, ADDRESSES).map(sorted), min_size=1, max_size=8),
    dash=st.sampled_from(["-", "–", " to ", "..", " - "]),
    comma=st.sampled_from([",", "; ", "\n"]),
)
def test_ranges_hold_their_last_address(pairs: list[list[int]], dash: str, comma: str) -> None:
    text = comma.join(f"0x{first:X}{dash}0x{last:X}" for first, last in pairs)
    assert ranges_of(text, "r") == tuple((first, last + 1) for first, last in pairs)


@given(text=st.text(max_size=40))
def test_anything_else_is_a_sentence_about_the_field(text: str) -> None:
    for read in (address_of, ranges_of):
        try:
            read(text, "field")
        except BadInput as error:
            assert error.field == "field"


@pytest.mark.parametrize("text", ["", " ", "0x", "0xG", "-1", "1" * 13])
def test_what_is_no_address_is_refused(text: str) -> None:
    with pytest.raises(BadInput, match="is no address"):
        address_of(text, "a")
