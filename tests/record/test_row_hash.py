"""The shop can rely on it that what is hashed is RFC 8785 JSON: any program can compute the same hashes again.

The outside check is the library rfc8785, and the examples of the RFC itself.
"""

import json
import struct

import rfc8785
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.record.row_hash import canonical, canonical_json

NUMBERS = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False),
    st.floats(-1e-3, 1e-3),
    st.integers(),
    st.integers(-(2**54), 2**54).map(float),
)
LEAVES = st.one_of(st.none(), st.booleans(), NUMBERS, st.text(), st.binary(max_size=80), st.datetimes())
VALUES = st.recursive(
    LEAVES, lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=4), inner, max_size=5)
)


@given(VALUES)
@example({"\ue000": 1, "\U00010000": 2})
@example([1e-5, 1e-7, 0.0001, 1e15 + 0.5, 2.0**53, 1e21, -0.0, 123456789.125])
@example({"sentence": "Displacement 2.0 L, 1e-5", "n": 3})
@example("\x00\x1f\x7f\u2028\ud7ff")
@settings(deadline=None)
def test_the_bytes_are_those_of_the_reference_library(value: object) -> None:
    assert canonical_json(value) == rfc8785.dumps(canonical(value))


def test_the_example_of_the_rfc_comes_out_as_printed_there() -> None:
    # RFC 8785, section 3.2.2 (input) and 3.2.3 (output); the integral 1E30 is beyond what a row's numbers keep as such.
    given = json.loads(
        r"""{"numbers": [333333333.33333329, 4.50, 2e-3, 0.000000000000000000000000001],
        "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
        "literals": [null, true, false]}"""
    )
    assert canonical_json(given).decode() == (
        '{"literals":[null,true,false],"numbers":[333333333.3333333,4.5,0.002,1e-27],'
        '"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    )


def test_numbers_come_out_as_in_the_samples_of_the_rfc() -> None:
    # RFC 8785, appendix B: IEEE 754 bits and their JSON; those that the record keeps as numbers.
    for bits, text in (
        ("0000000000000001", "5e-324"),
        ("8000000000000001", "-5e-324"),
        ("7fefffffffffffff", "1.7976931348623157e+308"),
        ("44b52d02c7e14af5", "9.999999999999997e+22"),
        ("444b1ae4d6e2ef50", "1e+21"),
        ("3eb0c6f7a0b5ed8d", "0.000001"),
        ("41b3de4355555553", "333333333.3333332"),
        ("becbf647612f3696", "-0.0000033333333333333333"),
    ):
        value = struct.unpack(">d", bytes.fromhex(bits))[0]
        assert canonical_json(value).decode() == text
