"""The shop can rely on it that a monitor counts as ready only when the control unit supports it and says so.

Check values in data/dtc.json: six words of SAE J1979 / ISO 15031-5 service 01 PID 01, decoded with python-obd
0.7.3.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.vehicle.readiness import decode_readiness, parse_readiness
from app.errors import BadInput

CASES: list[dict[str, Any]] = json.loads((Path(__file__).parent / "data" / "dtc.json").read_text("utf-8"))["readiness"][
    "cases"
]


@pytest.mark.parametrize("case", CASES, ids=lambda c: c["bytes_ABCD"])
def test_published_words(case: dict[str, Any]) -> None:
    found = decode_readiness(bytes.fromhex(case["bytes_ABCD"]))
    decoded = case["decoded"]
    assert (found.mil_on, found.dtc_count, found.ignition) == (
        decoded["mil"],
        decoded["dtc_count"],
        decoded["ignition"],
    )
    assert {m.name: {"supported": m.supported, "complete": m.complete} for m in found.monitors} == decoded["monitors"]
    assert list(found.incomplete) == case["supported_but_incomplete"]
    assert found.complete == (not case["supported_but_incomplete"])


def test_there_are_six_words() -> None:
    assert len(CASES) == 6


def test_no_supported_monitor_is_not_ready() -> None:
    found = decode_readiness(bytes(4))
    assert not found.complete
    assert "no readiness monitor" in found.sentence.lower()


def test_sentences() -> None:
    assert parse_readiness("00 07 65 00").sentence == "All 7 supported monitors complete; lamp off, 0 confirmed faults."
    assert parse_readiness("81074504").sentence.startswith("1 of 6 monitors not complete (evaporative system);")
    assert parse_readiness("81074504").sentence.endswith("lamp on, 1 confirmed fault.")


def test_typed_forms_are_one() -> None:
    assert parse_readiness("41 01 00 07 65 00") == parse_readiness("0x00 0x07 0x65 0x00") == parse_readiness("00076500")


@pytest.mark.parametrize("text", ["", "0007", "0007650", "zz076500", "0007650000"])
def test_anything_else_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        parse_readiness(text)


@given(st.binary(min_size=4, max_size=4))
def test_a_set_bit_for_an_unsupported_monitor_never_counts(data: bytes) -> None:
    a, b, c, _ = data
    found = decode_readiness(bytes([a, b & 0x8F, c, 0]))
    assert found.incomplete == ()
    everything_open = decode_readiness(bytes([a, b | 0x70, c, 0xFF]))
    assert set(everything_open.incomplete) == {m.name for m in everything_open.monitors if m.supported}
