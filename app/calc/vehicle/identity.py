"""Is the control unit the one on record, carrying what the record says? Field by field.

Hardware and software number, calibration IDs and calibration verification numbers (CVN) as SAE J1979 service
09 reports them. A CVN is computed inside the control unit by an undisclosed method: it is compared, never
recomputed.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from app.errors import BadInput

FieldVerdict = Literal["match", "differs", "not scanned", "not on record"]
Outcome = Literal["match", "differs", "not known"]

_CVN_DIGITS = 8
_CVN = re.compile(rf"[0-9A-F]{{{_CVN_DIGITS}}}")
_Pair = tuple[str | None, str | None]


@dataclass(frozen=True, slots=True)
class Identity:
    """What identifies a control unit and its calibration; `cvns[i]` belongs to `calibration_ids[i]`."""

    hardware_number: str | None = None
    software_number: str | None = None
    calibration_ids: tuple[str, ...] = ()
    cvns: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FieldComparison:
    """One field as recorded and as scanned, unchanged, and how they compare.

    `note` says what was disregarded (blanks, letter case, leading zeros, order) where that decided.
    """

    name: str
    recorded: str | None
    scanned: str | None
    verdict: FieldVerdict
    note: str = ""


@dataclass(frozen=True, slots=True)
class IdentityComparison:
    """`matches` only when nothing differs and at least one field that names the calibration was compared.

    `outcome` keeps apart what `matches` cannot: a contradiction ("differs") and too little evidence ("not
    known").
    """

    matches: bool
    outcome: Outcome
    fields: tuple[FieldComparison, ...]
    sentence: str


def calibration_id_text(raw: bytes) -> str:
    """Text of a 16-byte calibration ID (SAE J1979 service 09 type 04): unused bytes are zero, case is kept.

    >>> calibration_id_text(bytes.fromhex("41424331323334353637384430314500"))
    'ABC12345678D01E'
    """
    return raw.decode("ascii", "replace").strip("\0 ")


def compare(recorded: Identity, scanned: Identity) -> IdentityComparison:
    """Compare a scan with the record; blanks, letter case, and a CVN's leading zeros make no difference.

    Calibration IDs and their CVNs are compared pair by pair in the order reported; the same pairs in another
    order match, with a note. A field that only one side knows neither matches nor differs.
    """
    pairs, note = _pairs_in_order(recorded, scanned)
    fields = [
        _field("hardware number", recorded.hardware_number, scanned.hardware_number, normalise_number),
        _field("software number", recorded.software_number, scanned.software_number, normalise_number),
    ]
    for n, (ours, theirs) in enumerate(pairs, start=1):
        suffix = f" {n}" if len(pairs) > 1 else ""
        fields.append(_field(f"calibration ID{suffix}", ours[0], theirs[0], normalise_number, note))
        fields.append(_field(f"CVN{suffix}", ours[1], theirs[1], normalise_cvn, note))
    present = tuple(f for f in fields if f.recorded is not None or f.scanned is not None)
    outcome = outcome_of(present)
    return IdentityComparison(outcome == "match", outcome, present, _sentence(outcome, present))


def normalise_number(text: str) -> str:
    """A part or calibration number without blanks, zero bytes and letter case; punctuation stays.

    >>> normalise_number(" 1ab 906 \\x00")
    '1AB906'
    """
    return "".join(text.replace("\0", " ").split()).upper()


def normalise_cvn(text: str) -> str:
    """A CVN as eight hex digits: no blanks, no 0x, upper case, leading zeros filled.

    >>> normalise_cvn("0xbeef")
    '0000BEEF'
    """
    return normalise_number(text).removeprefix("0X").rjust(_CVN_DIGITS, "0")


def require_cvns(texts: Sequence[str]) -> None:
    """Raise BadInput for the first text that can be no CVN: it would stand as the number that later scans must report.

    >>> require_cvns(["0xbeef", "7C21 E04A"])
    """
    for text in texts:
        if not _CVN.fullmatch(normalise_cvn(text)):
            raise BadInput(
                f"“{text.strip()[:40]}” is no calibration verification number: copy its 8 hex digits from the scan.",
                field="cvns",
            )


def _pairs(identity: Identity) -> list[_Pair]:
    count = max(len(identity.calibration_ids), len(identity.cvns))
    ids = (*identity.calibration_ids, *(None,) * (count - len(identity.calibration_ids)))
    cvns = (*identity.cvns, *(None,) * (count - len(identity.cvns)))
    return list(zip(ids, cvns, strict=True))


def _key(pair: _Pair) -> tuple[str, str]:
    return (normalise_number(pair[0] or ""), normalise_cvn(pair[1]) if pair[1] else "")


def _pairs_in_order(recorded: Identity, scanned: Identity) -> tuple[list[tuple[_Pair, _Pair]], str]:
    ours, theirs = _pairs(recorded), _pairs(scanned)
    note = ""
    keys, scanned_keys = [_key(p) for p in ours], [_key(p) for p in theirs]
    if keys != scanned_keys and sorted(keys) == sorted(scanned_keys):
        theirs = [p for _, p in sorted(zip(scanned_keys, theirs, strict=True), key=lambda kp: kp[0])]
        rank = sorted(range(len(keys)), key=keys.__getitem__)
        theirs = [theirs[rank.index(k)] for k in range(len(keys))]
        note = "reported in another order"
    nothing: _Pair = (None, None)
    count = max(len(ours), len(theirs))
    ours += [nothing] * (count - len(ours))
    theirs += [nothing] * (count - len(theirs))
    return list(zip(ours, theirs, strict=True)), note


def _field(
    name: str, recorded: str | None, scanned: str | None, normalise: Callable[[str], str], note: str = ""
) -> FieldComparison:
    recorded, scanned = _given(recorded), _given(scanned)
    if scanned is None:
        return FieldComparison(name, recorded, scanned, "not scanned")
    if recorded is None:
        return FieldComparison(name, recorded, scanned, "not on record")
    if normalise(recorded) != normalise(scanned):
        return FieldComparison(name, recorded, scanned, "differs")
    if recorded != scanned:
        note = "; ".join(filter(None, (note, "compared without blanks, letter case and leading zeros")))
    return FieldComparison(name, recorded, scanned, "match", note)


def _given(text: str | None) -> str | None:
    return text if text is not None and normalise_number(text) else None


def outcome_of(fields: tuple[FieldComparison, ...]) -> Outcome:
    """What the fields of one comparison come to together."""
    if any(f.verdict == "differs" for f in fields):
        return "differs"
    # Two calibrations can share one hardware number, so that alone confirms nothing about what is on the
    # unit.
    naming = [f for f in fields if f.name != "hardware number"]
    return "match" if any(f.verdict == "match" for f in naming) else "not known"


def _sentence(outcome: Outcome, fields: tuple[FieldComparison, ...]) -> str:
    if outcome == "match":
        open_fields = [f.name for f in fields if f.verdict != "match"]
        # IDs stay when the data behind them are changed: a scan without this number must not look complete.
        if not any(f.name.startswith("CVN") for f in fields):
            open_fields.append("CVN, which neither names")
        rest = f" Not compared: {', '.join(open_fields)}." if open_fields else ""
        return f"Every number that was compared agrees: the history on record applies to this unit.{rest}"
    if outcome == "not known":
        return (
            "Nothing that names the calibration could be compared: "
            "scan the software number, calibration ID or CVN before relying on the record."
        )
    return f"{_meaning(fields)} Assume nothing on record is in this control unit; read it before writing."


def _meaning(fields: tuple[FieldComparison, ...]) -> str:
    differing = [f.name for f in fields if f.verdict == "differs"]
    listed = ", ".join(differing)
    if "hardware number" in differing:
        return f"Differs: {listed}. Another control unit is fitted, or this is another car."
    if any(not name.startswith("CVN") for name in differing):
        return f"Differs: {listed}. Another software version was written, such as a dealer update."
    return f"Differs: {listed}, under the same calibration ID. The calibration was changed outside this record."
