"""The shop can rely on it that a pasted fault list loses no code, and that a failed scan never counts as clean.

Codes and the status byte follow SAE J2012 / ISO 15031-6 and ISO 14229-1 annex D
(tests/calc/vehicle/test_dtc.py checks those); how scan tools lay lists out is common practice, no source. The
files in golden/faults are invented.
"""

import contextlib
import json
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.vehicle.dtc import PERMANENT, Dtc, Fault, decode_status
from app.errors import AppError, BadInput, TooLarge
from app.readers.fault_list import MAX_CHARACTERS, read_fault_list
from tests.calc.vehicle.status_byte import status_of

GOLDEN = Path(__file__).parents[1] / "golden" / "faults"
DTC_VALUES = Path(__file__).parents[1] / "calc" / "vehicle" / "data" / "dtc.json"
GOOD = sorted(p.name for p in (GOLDEN / "good").iterdir())
EXPECTED = json.loads((GOLDEN / "expected.json").read_text("utf-8"))
MALFORMED = {
    "empty.txt": (None, "No fault code was found"),
    "prose.txt": (None, "No fault code was found"),
    "not_reached.txt": ("line 4", "was not read (“No communication”)"),
    "not_read.txt": ("line 2", "was not read"),
    "letter_for_digit.txt": ("line 2", "“PO133” looks like a fault code"),
    "no_such_digit.txt": ("line 1", "“P4133” looks like a fault code"),
    "too_long.txt": ("line 1", "“P01333” looks like a fault code"),
}


def codes(text: str) -> list[str]:
    return [f.dtc.display for f in read_fault_list(text)]


def only(text: str) -> Fault:
    (fault,) = read_fault_list(text)
    return fault


@pytest.mark.parametrize("name", GOOD)
def test_every_layout_of_one_list_reads_the_same(name: str) -> None:
    found = read_fault_list((GOLDEN / "good" / name).read_text("utf-8"))
    assert [[f.module, f.dtc.display, status_of(f.flags), f.text] for f in found] == EXPECTED


@pytest.mark.parametrize("name", MALFORMED)
def test_each_malformed_list_is_refused_with_its_line(name: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_fault_list((GOLDEN / "malformed" / name).read_text("utf-8"))
    where, words = MALFORMED[name]
    assert (refused.value.where, words in refused.value.sentence) == (where, True), refused.value


def test_every_malformed_list_is_tested() -> None:
    assert {p.name for p in (GOLDEN / "malformed").iterdir()} == set(MALFORMED)


@pytest.mark.parametrize(
    "text",
    [
        "No faults stored.",
        "no DTCs",
        "0 faults",
        "Fault codes: none",
        "Trouble codes found: 0",
        "none",
        "No stored fault codes\nNo pending fault codes",
        "Engine: no faults\nGearbox: no fault codes",
    ],
)
def test_a_statement_that_there_are_none_is_an_empty_list(text: str) -> None:
    assert read_fault_list(text) == ()


@pytest.mark.parametrize("text", ["10 faults", "no response", "Engine: not scanned", "faults: unable to read", ""])
def test_what_is_no_clean_statement_is_refused(text: str) -> None:
    with pytest.raises(BadInput):
        read_fault_list(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("P0133, P0300, U0100-87", ["P0133", "P0300", "U0100-87"]),
        ("P0171 P0174\tP0300", ["P0171", "P0174", "P0300"]),
        ("P0171 and P0174", ["P0171", "P0174"]),
        ("P0171 lean bank 1, P0174 lean bank 2", ["P0171", "P0174"]),
        ("P0171 (pending), P0174 (pending)", ["P0171", "P0174"]),
        ("- P0133\n* P0300\n3) B1A1F", ["P0133", "P0300", "B1A1F"]),
        ("P0171 System lean (see also P0174, P0175)", ["P0171"]),
        ("P0133-ABS module", ["P0133"]),
        ("P0133: 12 volt supply", ["P0133"]),
    ],
)
def test_which_codes_are_entries(text: str, expected: list[str]) -> None:
    assert codes(text) == expected


@pytest.mark.parametrize(
    ("text", "flags"),
    [
        ("P0133", ()),
        ("P0133 - slow - active", ("test_failed",)),
        ("P0133 slow, stored", ("confirmed",)),
        ("P0133;pending;slow", ("pending",)),
        ("P0133 slow (confirmed, MIL on)", ("confirmed", "warning_indicator_requested")),
        ("P0133 [09] slow", ("test_failed", "confirmed")),
        ("P0133 slow status 00001001", ("test_failed", "confirmed")),
        ("P0133;slow;09", ("test_failed", "confirmed")),
        ("P0133 slow\nStatus: permanent", (PERMANENT,)),
        ("Pending codes:\nP0133", ("pending",)),
        ("P0133;slow;28", ()),  # may be a count, so it says nothing
        ("P0133 Active grille shutter slow", ()),  # a word of the description
        ("P0301 Cylinder 1 misfire detected pending", ("pending",)),
        ("P0301 Cylinder 1 misfire detected STORED.", ("confirmed",)),
        ("P0301 Cylinder 1 misfire stored and pending", ("pending", "confirmed")),
        ("P0301 Cylinder 1 misfire status: active", ("test_failed",)),
        ("P0301 Cylinder 1 misfire pending MIL on", ("pending", "warning_indicator_requested")),
        ("P0301 Cylinder 1 misfire not confirmed", ()),
        ("P0301 Cylinder 1 misfire, to be confirmed", ()),
        ("P0109 Manifold pressure circuit intermittent", ()),  # how standard descriptions end
        ("P0109 Manifold pressure circuit intermittent pending", ("pending",)),
        ("P0603 Keep alive memory", ()),
        ("P0301 Cylinder 1 misfire sporadic\nP0302 Cylinder 2 misfire", ("confirmed",)),
    ],
)
def test_status_is_read_only_where_it_stands_as_status(text: str, flags: tuple[str, ...]) -> None:
    assert read_fault_list(text)[0].flags == flags


def test_the_same_code_in_two_sections_is_one_fault_with_both_statuses() -> None:
    fault = only("Stored codes:\nP0133 Oxygen sensor\nPending codes:\nP0133\nPermanent codes: none")
    assert (fault.flags, fault.text) == (("pending", "confirmed"), "Oxygen sensor")


def test_the_same_code_in_two_modules_stays_two_faults() -> None:
    found = read_fault_list("Engine: U0100\nGearbox: U0100")
    assert [f.module for f in found] == ["Engine", "Gearbox"]


def test_a_lost_communication_code_is_a_fault_not_a_failed_scan() -> None:
    assert only("U0100-87 No communication with engine control unit").dtc == Dtc("U0100", "87")


def test_a_list_of_bytes_as_sent_on_the_bus_is_decoded() -> None:
    """Check values of SAE J2012: those of two bytes agree with python-obd 0.7.3 (tests/calc/vehicle/data/dtc.json)."""
    known = json.loads(DTC_VALUES.read_text(encoding="utf-8"))
    cases = [one for part in ("dtc_2_byte", "dtc_3_byte") for one in known[part]["cases"]]
    assert len(cases) > 5
    for one in cases:
        spaced = " ".join(one["bytes"][n : n + 2] for n in range(0, len(one["bytes"]), 2))
        [fault] = read_fault_list(f"Engine:\n{spaced}\n00 00\n")
        assert fault.dtc.display == one.get("display", one["code"])
        assert fault.module == "Engine"


def test_bytes_of_padding_alone_say_that_there_is_no_code() -> None:
    assert read_fault_list("00 00\n00 00") == ()


def test_bytes_beside_a_written_code_stay_its_text() -> None:
    [fault] = read_fault_list("P0301\n26 11 26")
    assert fault.dtc.code == "P0301"


def test_one_line_for_people() -> None:
    assert only("[Engine]\nP0133 slow (pending)").sentence == "Engine: P0133 – slow (pending)"


def test_a_long_list_is_refused_before_it_is_read() -> None:
    with pytest.raises(TooLarge):
        read_fault_list(" " * (MAX_CHARACTERS + 1))


@pytest.mark.parametrize("piece", ["P0171 see ", "fault ", " ", "(", "no fault ", "\t ", "- ", "P0133;", "status "])
def test_no_line_can_stall_the_reader(piece: str) -> None:
    start = time.thread_time()
    with contextlib.suppress(BadInput):
        read_fault_list(piece * 30_000)
    assert time.thread_time() - start < 5.0


dtcs = st.builds(
    Dtc,
    st.from_regex(r"[PCBU][0-3][0-9A-F]{3}", fullmatch=True),
    st.none() | st.from_regex(r"[0-9A-F]{2}", fullmatch=True),
)
modules = st.sampled_from(["Engine", "Gearbox", "Body front", "ABS / ESC"])
faults = st.lists(
    st.tuples(modules, dtcs, st.integers(0, 255)), min_size=1, max_size=8, unique_by=lambda f: (f[0], f[1])
)


@given(faults)
def test_no_code_or_status_is_lost_in_a_table(listed: list[tuple[str, Dtc, int]]) -> None:
    text = "\n".join(f"{m};{d.display};Text of it;0x{s:02X}" for m, d, s in listed)
    found = [(f.module, f.dtc, f.flags, f.text) for f in read_fault_list(text)]
    assert found == [(m, d, decode_status(s), "Text of it") for m, d, s in listed]


@given(st.lists(dtcs, min_size=1, max_size=12, unique=True), st.sampled_from([", ", " ", "; ", "\n", "\t", " / "]))
def test_no_code_is_lost_in_a_plain_list(listed: list[Dtc], separator: str) -> None:
    assert [f.dtc for f in read_fault_list(separator.join(d.display for d in listed))] == listed


ENDINGS = {
    "pending": ("pending",),
    "stored": ("confirmed",),
    "Confirmed": ("confirmed",),
    "history": ("confirmed",),
    "PERMANENT": (PERMANENT,),
    "status active": ("test_failed",),
}
described = st.lists(
    st.sampled_from(
        ["Cylinder", "2", "misfire", "Circuit", "Intermittent", "sensor", "high", "memory", "bank", "(left)"]
    ),
    min_size=1,
    max_size=6,
).map(lambda words: " ".join(["Idle", *words]))


@given(dtcs, described, st.sampled_from(sorted(ENDINGS)), st.sampled_from(["", ".", " "]))
def test_a_status_at_the_end_of_a_description_is_its_status(dtc: Dtc, text: str, ending: str, after: str) -> None:
    fault = only(f"{dtc.display} {text} {ending}{after}")
    assert (fault.text, fault.flags) == (text, ENDINGS[ending])
    assert only(f"{dtc.display} {text}{after}").flags == ()


@given(st.text(max_size=100) | st.text("P0133 ,;:|-()[]\tnofaultsNe\n", max_size=100))
def test_any_text_is_read_or_refused_with_a_sentence(text: str) -> None:
    try:
        found = read_fault_list(text)
    except AppError as refused:
        assert isinstance(refused, BadInput)
        assert refused.sentence.endswith(".")
    else:
        assert all(len(f.text) <= 200 for f in found)
