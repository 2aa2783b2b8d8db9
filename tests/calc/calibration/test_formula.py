"""The formula grammar, against Python's own arithmetic (IEEE 754)."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.formula import compile_formula
from app.errors import BadInput


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("X1", 3.0),
        ("2+3*X1", 11.0),
        ("(2+3)*X1", 15.0),
        ("-X1^2", -9.0),
        ("2^-1", 0.5),
        ("2^3^2", 512.0),
        ("8/4/2", 1.0),
        ("1-2-3", -4.0),
        ("--X1", 3.0),
        ("sqrt(X1*12)", 6.0),
        ("pow(X1, 2)", 9.0),
        ("ln(exp(X1))", 3.0),
        ("log(1000)", 3.0),
        ("abs(-X1)+1.5e1", 18.0),
    ],
)
def test_formula_gives_its_value(text: str, value: float) -> None:
    assert compile_formula(text)(np.array([3.0]))[0] == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    "text",
    ["", " ", "X2", "X1+", "(X1", "X1)", "X1 X1", "sin", "sin()", "pow(X1)", "sqrt(1,2)", "X1.real", "eval(X1)",
     "'a'", "X1**2", "1;2", "a[0]", "(" * 60 + "X1" + ")" * 60, "2^" * 60 + "2", "lambda: 1", "X1+" * 5000 + "1"],
)  # fmt: skip
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        compile_formula(text)


numbers = st.integers(1, 9).map(str)
expressions = st.recursive(
    st.one_of(numbers, st.just("X1")),
    lambda inner: st.builds(lambda a, o, b: f"({a}{o}{b})", inner, st.sampled_from("+-*"), inner),
    max_leaves=12,
)


@given(expressions, st.integers(-5, 5))
def test_whole_expressions_agree_with_python(text: str, x: int) -> None:
    expected = eval(text, {"__builtins__": {}}, {"X1": x})
    assert compile_formula(text)(np.array([float(x)]))[0] == pytest.approx(expected)


@given(st.text("X1+-*/^(),.0123456789e sqrtln", max_size=30))
def test_any_text_is_computed_or_refused(text: str) -> None:
    try:
        compute = compile_formula(text)
    except BadInput:
        return
    with np.errstate(all="ignore"):
        assert compute(np.array([1.0, math.pi])).shape == (2,)
