"""The shop can rely on it that a fault code read as bytes is shown as the standard writes it.

Check values in data/dtc.json: the coding rule of SAE J2012 / ISO 15031-6, recomputed with python-obd 0.7.3;
the status byte of ISO 14229-1 annex D, recomputed with udsoncan 1.26.1.
"""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.vehicle.dtc import (
    FAILURE_TYPES,
    Dtc,
    decode_dtc,
    decode_status,
)
from app.errors import BadInput
from tests.calc.vehicle.status_byte import status_of

DTC: dict[str, Any] = json.loads((Path(__file__).parent / "data" / "dtc.json").read_text("utf-8"))


@pytest.mark.parametrize("case", DTC["dtc_2_byte"]["cases"], ids=lambda c: c["bytes"])
def test_two_byte_form(case: dict[str, Any]) -> None:
    assert decode_dtc(bytes.fromhex(case["bytes"])) == Dtc(case["code"])
    assert re.match(DTC["dtc_2_byte"]["regex"], case["code"])


@pytest.mark.parametrize("case", DTC["dtc_3_byte"]["cases"], ids=lambda c: c["bytes"])
def test_three_byte_form(case: dict[str, Any]) -> None:
    found = decode_dtc(bytes.fromhex(case["bytes"]))
    assert found == Dtc(case["code"], case["failure_type"])
    assert found.display == case["display"]


@pytest.mark.parametrize("case", DTC["uds_status_byte"]["cases"], ids=lambda c: c["byte"])
def test_status_byte(case: dict[str, Any]) -> None:
    assert list(decode_status(int(case["byte"], 16))) == case["flags"]


def test_padding_is_no_code() -> None:
    assert decode_dtc(b"\0\0") is None
    assert decode_dtc(b"\0\0\0") is None


@pytest.mark.parametrize(
    ("code", "system", "origin"),
    # Ranges of SAE J2012 / ISO 15031-6 as listed in data/dtc.json (from memory).
    [
        ("P0133", "powertrain", "standard"),
        ("P2ABC", "powertrain", "standard"),
        ("P3400", "powertrain", "standard"),
        ("P3FFF", "powertrain", "standard"),
        ("P3399", "powertrain", "manufacturer"),
        ("P1234", "powertrain", "manufacturer"),
        ("C0035", "chassis", "standard"),
        ("C1123", "chassis", "manufacturer"),
        ("C3000", "chassis", "reserved"),
        ("B0001", "body", "standard"),
        ("B2001", "body", "manufacturer"),
        ("B3001", "body", "reserved"),
        ("U0100", "network", "standard"),
        ("U10FF", "network", "manufacturer"),
        ("U2000", "network", "manufacturer"),
        ("U3000", "network", "standard"),
    ],
)
def test_kind_is_told_from_the_structure(code: str, system: str, origin: str) -> None:
    assert (Dtc(code).system, Dtc(code).origin) == (system, origin)


def test_failure_type_is_spoken_where_known() -> None:
    assert Dtc("U0100", "87").failure_text == "missing message"
    assert Dtc("U0100", "99").failure_text == ""
    assert set(FAILURE_TYPES) == set(DTC["dtc_3_byte"]["ftb_examples"])


@pytest.mark.parametrize("raw", [b"", b"\1", b"\1\2\3\4"])
def test_wrong_length_is_refused(raw: bytes) -> None:
    with pytest.raises(BadInput, match="2 or 3 bytes"):
        decode_dtc(raw)


@pytest.mark.parametrize("status", [-1, 256])
def test_status_beyond_a_byte_is_refused(status: int) -> None:
    with pytest.raises(BadInput, match="one byte"):
        decode_status(status)


def bytes_of(dtc: Dtc) -> bytes:
    """The two or three bytes of a code: what `decode_dtc` reads."""
    high = "PCBU".index(dtc.code[0]) << 6 | int(dtc.code[1]) << 4 | int(dtc.code[2], 16)
    return bytes([high, int(dtc.code[3:], 16)]) + bytes.fromhex(dtc.failure_type or "")


@given(st.binary(min_size=2, max_size=3).filter(any))
def test_every_byte_form_survives_the_round_trip(raw: bytes) -> None:
    dtc = decode_dtc(raw)
    assert dtc is not None
    assert bytes_of(dtc) == raw


@given(st.integers(0, 255))
def test_every_status_survives_the_round_trip(status: int) -> None:
    assert status_of(decode_status(status)) == status
