"""CSV that a spreadsheet opens without executing a cell, and that any reader of RFC 4180 gives back."""

import csv
import datetime as dt
import io
import unicodedata

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from app.calc.csv_text import cell_text, csv_text

# OWASP Cheat Sheet of 2024, "CSV Injection": = + - @, tab, carriage return, line feed and the full-width forms.
OWASP = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


@pytest.mark.parametrize("start", OWASP)
def test_text_that_could_be_a_formula_stands_behind_an_apostrophe(start: str) -> None:
    assert cell_text(start + 'HYPERLINK("http://x.example")') == "'" + start + 'HYPERLINK("http://x.example")'
    assert cell_text(start) == "'" + start


@pytest.mark.parametrize("hidden", [" =1", "\u00a0+1", "\ufeff-1", "\u200b@x", "\x00=1", "﹢1", "﹣1"])
def test_blanks_and_invisible_characters_hide_no_formula(hidden: str) -> None:
    assert cell_text(hidden).startswith("'")


def test_ordinary_text_stays_as_it_is() -> None:
    for text in ("EB 18 LNR", "Vmax − 250", "a=b", "'quoted'", "", "Ölpumpe", "1e5", "0x8000"):
        assert cell_text(text) == text


def test_numbers_stay_numbers() -> None:
    assert [cell_text(v) for v in (-3.5, -2, 0.1, 1e300, 5_000_000_000, None, True, float("nan"))] == [
        "-3.5", "-2", "0.1", "1e+300", "5000000000", "", "yes", "",
    ]  # fmt: skip


def test_moments_are_rfc_3339_in_utc() -> None:
    zone = dt.timezone(dt.timedelta(hours=2))
    assert cell_text(dt.datetime(2026, 11, 25, 14, 3, tzinfo=zone)) == "2026-11-25T12:03:00Z"


cells = st.one_of(
    st.text(st.characters(codec="utf-8")),
    st.integers(),
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(OWASP).flatmap(lambda start: st.text(max_size=8).map(lambda rest: start + rest)),
)


@given(st.lists(st.lists(cells, min_size=3, max_size=3), max_size=6))
@example([["\r\n=1", 'a"b', "x,y"], [-1.5, "\n", "line\r\nbreak"]])
def test_python_reads_back_every_cell_and_none_is_a_formula(rows: list[list[str | int | float]]) -> None:
    text = csv_text(("a", "b", "c"), rows)
    read = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert read[0] == ["a", "b", "c"]
    assert len(read) == len(rows) + 1
    for got, given_row in zip(read[1:], rows, strict=True):
        for cell, value in zip(got, given_row, strict=True):
            if isinstance(value, str):
                assert cell in (value, "'" + value)
                first = next((c for c in cell if not (c.isspace() or unicodedata.category(c)[0] == "C")), "")
                assert not cell or cell[0] not in OWASP
                assert unicodedata.normalize("NFKC", first)[:1] not in ("=", "+", "-", "@") or cell.startswith("'")
            else:
                assert type(value)(cell) == value
