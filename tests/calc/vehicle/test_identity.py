"""The shop can rely on it that a control unit written by somebody else is noticed at intake.

Calibration ID and CVN forms follow SAE J1979 service 09 (examples in data/dtc.json, lengths from memory).
What a difference means for the record is common practice, no source.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.vehicle.identity import (
    Identity,
    calibration_id_text,
    compare,
    normalise_cvn,
    normalise_number,
    require_cvns,
)
from app.errors import BadInput

DTC: dict[str, Any] = json.loads((Path(__file__).parent / "data" / "dtc.json").read_text("utf-8"))
KNOWN = Identity("5XA 906 259 B", "0030", ("NOVA0030A1", "NOVA0030T1"), ("1A2B3C4D", "0000BEEF"))


def verdicts(recorded: Identity, scanned: Identity) -> dict[str, str]:
    return {f.name: f.verdict for f in compare(recorded, scanned).fields}


@pytest.mark.parametrize("case", DTC["calid"]["examples"], ids=lambda c: c["text"])
def test_calibration_id_bytes(case: dict[str, str]) -> None:
    assert calibration_id_text(bytes.fromhex(case["bytes"])) == case["text"]


@pytest.mark.parametrize("case", DTC["cvn"]["examples"], ids=lambda c: c["text"])
def test_cvn_form(case: dict[str, str]) -> None:
    assert normalise_cvn(case["text"].lower().lstrip("0")) == case["text"]


def test_the_same_unit_matches_and_the_history_applies() -> None:
    found = compare(KNOWN, KNOWN)
    assert found.matches
    assert found.outcome == "match"
    assert {f.verdict for f in found.fields} == {"match"}
    assert len(found.fields) == 6
    assert "history on record applies" in found.sentence


def test_blanks_case_and_leading_zeros_are_disregarded_openly() -> None:
    scanned = Identity("5xa906259b", "0030", ("nova0030a1", "NOVA0030T1 "), ("1a2b3c4d", "beef"))
    found = compare(KNOWN, scanned)
    assert found.matches
    notes = {f.name: f.note for f in found.fields}
    assert notes["hardware number"] == "compared without blanks, letter case and leading zeros"
    assert notes["software number"] == ""
    assert {f.name: f.scanned for f in found.fields}["CVN 2"] == "beef"


def test_a_changed_cvn_alone_means_a_changed_calibration() -> None:
    scanned = Identity("5XA 906 259 B", "0030", KNOWN.calibration_ids, ("1A2B3C4E", "0000BEEF"))
    found = compare(KNOWN, scanned)
    assert not found.matches
    assert verdicts(KNOWN, scanned)["CVN 1"] == "differs"
    assert "calibration was changed outside this record" in found.sentence
    assert "read it before writing" in found.sentence


def test_another_software_number_means_an_update() -> None:
    scanned = Identity("5XA 906 259 B", "0040", ("NOVA0040A1", "NOVA0030T1"), ("99999999", "0000BEEF"))
    assert "such as a dealer update" in compare(KNOWN, scanned).sentence


def test_another_hardware_number_means_another_unit() -> None:
    assert "Another control unit is fitted" in compare(KNOWN, Identity("5XA 906 259 C", "0030")).sentence


def test_hardware_alone_confirms_nothing() -> None:
    found = compare(KNOWN, Identity("5XA 906 259 B"))
    assert (found.matches, found.outcome) == (False, "not known")
    assert verdicts(KNOWN, Identity("5XA 906 259 B"))["software number"] == "not scanned"


def test_a_field_only_the_scan_knows_is_said_to_be_new() -> None:
    found = compare(Identity(software_number="0030"), KNOWN)
    assert found.matches
    assert {f.verdict for f in found.fields if f.name.startswith("CVN")} == {"not on record"}
    assert "Not compared: hardware number, calibration ID 1" in found.sentence


def test_an_empty_field_counts_as_not_given() -> None:
    assert compare(Identity("A", " "), Identity("A", "\0")).fields[-1].name == "hardware number"


def test_the_same_pairs_in_another_order_match_with_a_note() -> None:
    scanned = Identity("5XA 906 259 B", "0030", KNOWN.calibration_ids[::-1], KNOWN.cvns[::-1])
    found = compare(KNOWN, scanned)
    assert found.matches
    assert {f.note for f in found.fields if "CVN" in f.name} == {"reported in another order"}


def test_crossed_cvns_do_not_match() -> None:
    scanned = Identity("5XA 906 259 B", "0030", KNOWN.calibration_ids, KNOWN.cvns[::-1])
    assert not compare(KNOWN, scanned).matches


def test_a_single_calibration_needs_no_number_in_its_name() -> None:
    one = Identity(calibration_ids=("NOVA0030A1",), cvns=("1A2B3C4D",))
    assert [f.name for f in compare(one, one).fields] == ["calibration ID", "CVN"]


identities = st.builds(
    Identity,
    st.none() | st.text("AB 1", max_size=4),
    st.none() | st.text("AB 1", max_size=4),
    st.lists(st.text("ab1", min_size=1, max_size=3), max_size=3).map(tuple),
    st.lists(st.text("01F", min_size=1, max_size=8), max_size=3).map(tuple),
)


@given(identities, identities)
def test_comparing_the_other_way_gives_the_same_outcome(a: Identity, b: Identity) -> None:
    there, back = compare(a, b), compare(b, a)
    assert there.outcome == back.outcome
    assert {f.name for f in there.fields if f.verdict == "match"} == {
        f.name for f in back.fields if f.verdict == "match"
    }


@given(identities)
def test_an_identity_never_contradicts_itself(identity: Identity) -> None:
    assert compare(identity, identity).outcome != "differs"


@given(st.text(max_size=20))
def test_normalising_twice_is_normalising_once(text: str) -> None:
    assert normalise_number(normalise_number(text)) == normalise_number(text)


@pytest.mark.parametrize("text", ["ZZ", "1A2B3C4D5", "7C21-E04A", "1A2B 3C4G"])
def test_what_can_be_no_cvn_is_refused(text: str) -> None:
    # SAE J1979 service 09 type 06: four bytes, shown as eight hex digits (from memory).
    with pytest.raises(BadInput) as refused:
        require_cvns(["0xbeef", text])
    assert (refused.value.field, f"“{text}” is no calibration verification number" in refused.value.sentence) == (
        "cvns",
        True,
    )


def test_a_match_without_verification_numbers_says_that_they_were_not_compared() -> None:
    told = Identity("HW-1", "SW-9", ("ABC12345",))
    assert "Not compared: CVN, which neither names." in compare(told, told).sentence
    with_number = Identity("HW-1", "SW-9", ("ABC12345",), ("7C21E04A",))
    assert "Not compared" not in compare(with_number, with_number).sentence
