"""The shop can rely on it that a mistyped VIN is noticed where the law gives it a check digit, only there.

Check values: 49 CFR 565 table V, the NHTSA outline for new manufacturers and published worked examples, kept
with their sources in data/vin.json; each was recomputed with vininfo 1.11.0 when the file was made.
"""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.vehicle.vin import check_digit, check_vin

VIN: dict[str, Any] = json.loads((Path(__file__).parent / "data" / "vin.json").read_text("utf-8"))
ALPHABET = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"


@pytest.mark.parametrize("case", VIN["valid"], ids=lambda c: c["vin"])
def test_published_numbers_pass(case: dict[str, Any]) -> None:
    found = check_vin(case["vin"])
    assert found.valid_form
    assert found.check_digit_ok
    assert found.severity == "ok"
    assert check_digit(case["vin"]) == case["check_digit"]
    assert int(case["weighted_sum"]) % 11 == (10 if case["check_digit"] == "X" else int(case["check_digit"]))


@pytest.mark.parametrize("case", VIN["invalid_check_digit"], ids=lambda c: c["vin"])
def test_wrong_check_digit_names_the_expected_one(case: dict[str, Any]) -> None:
    found = check_vin(case["vin"])
    assert found.check_digit_ok is False
    assert check_digit(case["vin"]) == case["expected_check_digit"]
    if case["vin"][0] in "12345":
        assert found.severity == "error"
        assert f"is {case['found']} and should be {case['expected_check_digit']}" in found.sentence


@pytest.mark.parametrize("case", VIN["european_without_check_digit"], ids=lambda c: c["vin"])
def test_europe_without_check_digit_is_information(case: dict[str, Any]) -> None:
    found = check_vin(case["vin"])
    assert (found.severity, found.check_digit_ok, found.region) == ("information", False, "Europe")
    assert check_digit(case["vin"]) == case["computed"]


def test_china_requires_the_check_digit() -> None:
    # GB 16735 requires the check digit (from memory); the number is made up.
    good = "LZZ123456" + "A1000001"
    good = good[:8] + check_digit(good) + good[9:]
    wrong = good[:8] + ("1" if good[8] != "1" else "2") + good[9:]
    assert check_vin(good).severity == "ok"
    assert check_vin(wrong).severity == "error"


def test_a_swap_the_check_digit_cannot_see_is_not_promised() -> None:
    case = VIN["undetected_error"][0]
    assert check_vin(case["vin"]).check_digit_ok
    assert case["vin"] != "1HGCM82633A004352"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("1M8GDM9AXKP04278", "this has 16"),
        ("1M8GDM9AXKP0427880", "this has 18"),
        ("1M8GDM9AXKPO42788", "Position 12 holds the letter O"),
        ("IM8GDM9AXKP042788", "Position 1 holds the letter I"),
        ("1M8GDM9AXKP0427Q8", "Position 16 holds the letter Q"),
        ("1M8GDM9AXKP042-88", "Position 15 holds “-”"),
        ("WAUZZZ8K9KA\u0410\u041000000", "Position 12 holds cyrillic capital letter a (U+0410)"),
        ("", "No VIN was given"),
        ("   ", "No VIN was given"),
        ("1" * 500, "paste the VIN alone"),
    ],
)
def test_each_malformed_number_gets_one_sentence(text: str, words: str) -> None:
    found = check_vin(text)
    assert not found.valid_form
    assert found.severity == "error"
    assert found.check_digit_ok is None
    assert words in found.sentence
    assert found.sentence.count(". ") == 0


def test_every_malformed_case_on_file_is_refused_or_put_right() -> None:
    for case in VIN["malformed"]:
        assert check_vin(case["text"]).valid_form == case["error"].startswith("lower case")


def test_case_and_blanks_are_put_right() -> None:
    assert check_vin(" 1m8gdm9a xkp042788\n").vin == "1M8GDM9AXKP042788"


def test_model_year_codes_of_both_cycles() -> None:
    # 49 CFR 565 table VII; position 7 tells the cycle for North American cars (73 FR 23367).
    assert len(VIN["model_year"]["codes"]) == 30
    for entry in VIN["model_year"]["codes"]:
        assert check_vin("WVWZZZAAZ" + entry["code"] + "W000001").model_years == tuple(entry["years"])
        assert check_vin("1M8GDM9AX" + entry["code"] + "P042788").model_years == (entry["years"][0],)
        assert check_vin("1M8GDMAAX" + entry["code"] + "P042788").model_years == (entry["years"][1],)
    for code in "UZ0":
        assert check_vin("WVWZZZAAZ" + code + "W000001").model_years == ()


@pytest.mark.parametrize(
    ("first", "region"),
    [
        ("A", "Africa"),
        ("J", "Asia"),
        ("W", "Europe"),
        ("3", "North America"),
        ("6", "Oceania"),
        ("9", "South America"),
    ],
)
def test_region_and_maker_code(first: str, region: str) -> None:
    found = check_vin(first + "ZZ123456A1000001")
    assert (found.region, found.wmi) == (region, first + "ZZ")


@given(st.text(max_size=40))
def test_any_text_gets_an_answer(text: str) -> None:
    found = check_vin(text)
    assert found.sentence
    assert found.valid_form == (len(found.vin) == 17 and set(found.vin) <= set(ALPHABET))


@given(
    st.text(ALPHABET, min_size=17, max_size=17),
    st.integers(0, 16).filter(lambda k: k != 8),
    st.sampled_from(ALPHABET),
)
def test_one_wrong_character_of_another_value_is_always_caught(vin: str, at: int, other: str) -> None:
    # Weights are prime to 11, so one changed value always moves the remainder (position 9 has weight 0).
    good = vin[:8] + check_digit(vin) + vin[9:]
    slip = good[:at] + other + good[at + 1 :]
    values = VIN["transliteration"]
    assert check_vin(slip).check_digit_ok == (values[other] == values[good[at]])
