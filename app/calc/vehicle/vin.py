"""Vehicle identification number: form, check digit, model year (ISO 3779, ISO 3780, 49 CFR 565)."""

import unicodedata
from dataclasses import dataclass
from typing import Literal

Severity = Literal["ok", "information", "error"]

LENGTH = 17
_ALPHABET = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"
# 49 CFR 565.15(c), tables III and IV: value of each character, weight of each position.
_VALUES = dict(
    zip(
        "ABCDEFGHJKLMNPRSTUVWXYZ",
        (1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9),
        strict=True,
    )
)
_VALUES |= {digit: int(digit) for digit in "0123456789"}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
_NORTH_AMERICA = "12345"
# 49 CFR 565 binds North America, GB 16735 China (L); elsewhere position 9 belongs to the maker.
_CHECK_DIGIT_REQUIRED = _NORTH_AMERICA + "L"
_LOOK_ALIKE = {"I": "1", "O": "0", "Q": "0"}


@dataclass(frozen=True, slots=True)
class VinCheck:
    """What a VIN says by its form alone; nothing is looked up.

    `model_years` are the years position 10 can stand for: one for a North American number (position 7 tells
    the 30-year cycle of cars and light trucks), two elsewhere, where it is only a hint, none when the code is
    no year. `check_digit_ok` is None when the form is wrong; `wmi` and `region` are empty then too.
    """

    vin: str
    valid_form: bool
    check_digit_ok: bool | None
    severity: Severity
    sentence: str
    model_years: tuple[int, ...] = ()
    wmi: str = ""
    region: str = ""


def check_vin(text: str) -> VinCheck:
    """Check one VIN as typed or scanned; blanks and letter case are put right, nothing else.

    A wrong check digit is an error only where the region's law requires one, information elsewhere. The check
    digit does not catch every slip, so "ok" means "consistent", not "right".

    >>> check_vin("1m8gdm9axkp042788").check_digit_ok
    True
    >>> check_vin("1M8GDM9AXKPO42788").sentence
    'Position 12 holds the letter O, which no VIN uses; it is usually the digit 0.'
    """
    vin = "".join(text.split()).upper()
    complaint = _form_complaint(vin)
    if complaint:
        return VinCheck(vin, False, None, "error", complaint)
    expected = check_digit(vin)
    ok = vin[8] == expected
    required = vin[0] in _CHECK_DIGIT_REQUIRED
    region = _region(vin[0])
    if ok:
        severity: Severity = "ok"
        sentence = "The VIN is well formed and its check digit holds."
    elif required:
        severity = "error"
        sentence = (
            f"The check digit (position 9) is {vin[8]} and should be {expected}: "
            "at least one character is wrong; read the VIN again from the vehicle."
        )
    else:
        severity = "information"
        sentence = (
            f"The VIN is well formed; position 9 is no check digit, which {region} does not require, "
            "so a typing slip would go unseen."
        )
    return VinCheck(vin, True, ok, severity, sentence, _model_years(vin), vin[:3], region)


def check_digit(vin: str) -> str:
    """The character that belongs in position 9 (49 CFR 565.15(c)): weighted sum modulo 11, 10 written X.

    >>> check_digit("11111111111111111")
    '1'
    """
    remainder = sum(_VALUES[c] * w for c, w in zip(vin, _WEIGHTS, strict=True)) % 11
    return "X" if remainder == 10 else str(remainder)


def _form_complaint(vin: str) -> str:
    if not vin:
        return "No VIN was given; read its 17 characters from the vehicle."
    if len(vin) > 2 * LENGTH:
        return f"A VIN has {LENGTH} characters, this has {len(vin)}; paste the VIN alone."
    for position, character in enumerate(vin, start=1):
        if character in _ALPHABET:
            continue
        if character in _LOOK_ALIKE:
            return (
                f"Position {position} holds the letter {character}, which no VIN uses; "
                f"it is usually the digit {_LOOK_ALIKE[character]}."
            )
        return f"Position {position} holds {_spoken(character)}; a VIN has only digits and the letters A–Z."
    if len(vin) != LENGTH:
        return (
            f"A VIN has {LENGTH} characters, this has {len(vin)}; "
            "read it again (vehicles before model year 1981 may carry a shorter number)."
        )
    return ""


def _spoken(character: str) -> str:
    if character.isascii() and character.isprintable():
        return f"“{character}”"
    name = unicodedata.name(character, "a character without a name")
    return f"{name.lower()} (U+{ord(character):04X})"


def _model_years(vin: str) -> tuple[int, ...]:
    at = _YEAR_CODES.find(vin[9])
    if at < 0:
        return ()
    first, second = 1980 + at, 2010 + at
    if vin[0] not in _NORTH_AMERICA:
        return (first, second)
    # 49 CFR 565.15(d)(1) as discussed in 73 FR 23367: position 7 numeric before 2010, a letter from 2010 on.
    return (first,) if vin[6].isdigit() else (second,)


def _region(first: str) -> str:
    """Geographic area of the WMI's first character (ISO 3780; the borders are from memory)."""
    if first in "ABCDEFGH":
        return "Africa"
    if first in "JKLMNPR":
        return "Asia"
    if first in "STUVWXYZ":
        return "Europe"
    if first in _NORTH_AMERICA:
        return "North America"
    if first in "67":
        return "Oceania"
    return "South America" if first in "89" else "an unassigned region"
