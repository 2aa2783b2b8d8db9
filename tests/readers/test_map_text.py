"""The shop can rely on it that a map typed or pasted is kept with exactly these numbers, or refused with a reason."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from app.errors import BadInput
from app.readers.map_text import TypedMap, read_typed_map

NUMBERS = st.decimals(-9999, 9999, places=2).map(str)


@given(
    rows=st.integers(1, 5),
    columns=st.integers(1, 5),
    data=st.data(),
    between=st.sampled_from([" ", "\t", ";", "  "]),
    comma=st.booleans(),
)
def test_numbers_come_back_in_their_rows(
    rows: int, columns: int, data: st.DataObject, between: str, comma: bool
) -> None:
    before, after = (data.draw(arrays(object, (rows, columns), elements=NUMBERS)) for _ in range(2))
    texts = ["\n".join(between.join(row) for row in side.tolist()) for side in (before, after)]
    if comma:
        texts = [text.replace(".", ",") for text in texts]
    try:
        delta = read_typed_map(TypedMap(" m ", "fuel", "mg", before=texts[0], after=texts[1]))
    except BadInput as error:
        assert "nothing changed" in error.sentence
        assert (before == after).all()
        return
    np.testing.assert_array_equal(np.atleast_2d(delta.before), before.astype(np.float64))
    np.testing.assert_array_equal(np.atleast_2d(delta.after), after.astype(np.float64))
    assert (delta.name, delta.category, delta.unit, delta.decimals, delta.by_hand) == ("m", "fuel", "mg", 2, True)


@given(fields=st.fixed_dictionaries({name: st.text(max_size=12) for name in TypedMap.__dataclass_fields__}))
def test_any_text_is_a_map_or_a_sentence(fields: dict[str, str]) -> None:
    try:
        read_typed_map(TypedMap(**fields))
    except BadInput as error:
        assert error.field in TypedMap.__dataclass_fields__


def test_breakpoints_give_a_curve_and_a_map() -> None:
    curve = read_typed_map(TypedMap("c", x="1000 2000,5", x_name="speed", before="1 2", after="1 3"))
    assert (curve.kind, curve.axes_after[0].name, curve.axes_after[0].values.tolist()) == (
        "curve",
        "speed",
        [1000, 2000.5],
    )
    field = read_typed_map(TypedMap("m", x="1 2", y="9;3", before="1 2\n3 4", after="1 2\n3 5"))
    assert (field.kind, [axis.name for axis in field.axes_after]) == ("map", ["x", "y"])
    assert read_typed_map(TypedMap("v", before="1", after="2")).kind == "value"


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (TypedMap("", before="1", after="2"), "name"),
        (TypedMap("m", category="speed", before="1", after="2"), "category"),
        (TypedMap("m", before="", after="2"), "before"),
        (TypedMap("m", before="1 x", after="2 3"), "before"),
        (TypedMap("m", before="1 2\n3", after="1 2"), "before"),
        (TypedMap("m", before="1 2", after="1"), "after"),
        (TypedMap("m", before="1 inf", after="1 2"), "before"),
        (TypedMap("m", x="1 2 3", before="1 2", after="1 3"), "x"),
        (TypedMap("m", x="1 1", before="1 2", after="1 3"), "x"),
        (TypedMap("m", y="1", before="1", after="2"), "x"),
        (TypedMap("m", x="1 2", before="1 2\n3 4", after="1 2\n3 5"), "y"),
        (TypedMap("m", before="1 " * 10_001, after="2 " * 10_001), "before"),
    ],
)
def test_what_does_not_fit_names_its_field(typed: TypedMap, field: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_typed_map(typed)
    assert refused.value.field == field
