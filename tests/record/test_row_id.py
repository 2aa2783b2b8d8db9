"""What stands where a row's number belongs is that number or none; it never fails the request."""

import sys

from hypothesis import given
from hypothesis import strategies as st

from app.record.row_id import row_id


@given(st.text())
def test_any_text_is_the_number_it_shows_or_none(text: str) -> None:
    assert row_id(text) == (int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None)


@given(st.text(st.characters(categories=["Nd", "No", "Nl"]), min_size=1))
def test_digits_of_other_scripts_and_raised_ones_name_no_row(text: str) -> None:
    assert row_id(text) is None or text.isascii()


def test_more_digits_than_int_reads_name_no_row() -> None:
    assert row_id("1" * (sys.get_int_max_str_digits() + 1)) is None
