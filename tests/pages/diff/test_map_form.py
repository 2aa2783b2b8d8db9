"""The shop can rely on it that what is typed into the naming form becomes the map that was described."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.shape_guess import AxisGuess, ShapeGuess
from app.errors import BadInput
from app.pages.diff.map_form import MapFields, definition_of, fields_of_guess, flat, number_of, of_flat

GUESS = ShapeGuess(
    0x8120, "int16", "little", 6, 8, AxisGuess(0x8100, 8, "uint16", "little"), AxisGuess(0x8110, 6, "uint8", "big"), 1.0
)


def test_a_guess_fills_the_form_and_the_form_gives_the_map_of_the_guess() -> None:
    typed = fields_of_guess(GUESS)
    given_back = of_flat(flat(typed) | {"name": "spark", "category": "ignition", "factor": "0,75", "offset": "-20"})
    made = definition_of(given_back, address_base=0x8000)
    assert made.shape == (6, 8)
    assert (made.address, made.axes[0].address, made.axes[1].address) == (0x120, 0x100, 0x110)
    assert (made.data_type, made.byte_order, made.category) == ("int16", "little", "ignition")
    # 4 stored: 0.75 * 4 - 20.
    assert made.scaling.to_physical([4]).tolist() == [-17.0]


@given(texts=st.dictionaries(st.sampled_from(list(flat(MapFields()))), st.text(max_size=8)))
def test_any_text_is_a_map_or_a_sentence_about_a_field(texts: dict[str, str]) -> None:
    try:
        definition_of(of_flat(flat(fields_of_guess(GUESS)) | {"name": "m"} | texts), address_base=0)
    except BadInput as error:
        assert error.field in flat(MapFields())


def test_breakpoints_can_be_typed_instead_of_their_address() -> None:
    typed = of_flat(
        {"name": "m", "kind": "curve", "address": "10", "columns": "3", "x_values": "1,5 2;3", "x_unit": "bar"}
    )
    axis = definition_of(typed, address_base=0).axes[0]
    assert (axis.place, axis.values, axis.scaling.unit) == ("fixed", (1.5, 2.0, 3.0), "bar")


@pytest.mark.parametrize(("text", "value"), [("0.25", 0.25), ("0,25", 0.25), ("1/128", 0.0078125), ("\u22122", -2.0)])
def test_numbers_may_have_a_comma_or_be_a_quotient(text: str, value: float) -> None:
    assert number_of(text, "factor") == value


@pytest.mark.parametrize("text", ["", "x", "1/0", "nan", "1e999", "1_0", "1/2/3"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(BadInput, match="is no number"):
        number_of(text, "factor")
