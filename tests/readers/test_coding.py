"""The shop can rely on it that coding reads the same from a table, JSON or lines, or is refused.

The forms are common practice, no source; each file in golden/coding is invented.
"""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.vehicle.coding import CodingSnapshot, compare, equal
from app.errors import AppError, BadInput, TooLarge
from app.readers.coding import MAX_BYTES, read_coding

GOLDEN = Path(__file__).parents[1] / "golden" / "coding"
EXPECTED = CodingSnapshot.of(json.loads((GOLDEN / "good" / "expected.json").read_text("utf-8")))
GOOD = sorted(p.name for p in (GOLDEN / "good").iterdir())
MALFORMED = {
    "empty.txt": (None, "No coding value was found"),
    "only_comments.txt": (None, "No coding value was found"),
    "binary.txt": (None, "This is not text"),
    "odd_digits.txt": ("line 2", "whole hex bytes"),
    "no_hex.txt": ("line 2", "whole hex bytes"),
    "short_row.csv": ("line 3", "has 2 columns, expected 3"),
    "long_row.csv": ("line 2", "has 4 columns, expected 3"),
    "no_heading.csv": ("line 1", "no heading"),
    "no_module.csv": ("line 2", "module's name is missing"),
    "no_key.csv": ("line 2", "has no key"),
    "twice.csv": ("line 3", "given twice with different values (01 and 02)"),
    "open_quote.csv": ("line 2", "breaks off"),
    "broken.json": ("line 2", "breaks off"),
    "same_key.json": (None, "“a” twice"),
    "not_a_number.json": (None, "NaN"),
    "not_a_byte.json": ("module Body", "list of bytes"),
    "broken_character.json": ("module Body", "broken character"),
    "zero_byte.json": ("module Body", "zero byte"),
    "entry_without_value.json": ("entry 1", "module name and a value"),
    "list_of_numbers.json": (None, "No coding value was found"),
    "entry_no_object.json": ("entry 1", "needs module, key and value"),
    "empty.json": (None, "No coding value was found"),
    "deep.json": (None, "nested too deeply"),
}


@pytest.mark.parametrize("name", GOOD)
def test_every_form_gives_the_same_snapshot(name: str) -> None:
    assert equal(read_coding((GOLDEN / "good" / name).read_bytes()), EXPECTED)


def test_lines_without_keys_are_numbered_within_their_module() -> None:
    expected = CodingSnapshot.of(json.loads((GOLDEN / "plain_lines.json").read_text("utf-8")))
    assert compare(read_coding((GOLDEN / "plain_lines.txt").read_bytes()), expected).changes == ()


@pytest.mark.parametrize("name", MALFORMED)
def test_each_malformed_file_is_refused_with_its_place(name: str) -> None:
    with pytest.raises(BadInput) as refused:
        read_coding((GOLDEN / "malformed" / name).read_bytes())
    where, words = MALFORMED[name]
    assert (refused.value.where, words in refused.value.sentence) == (where, True), refused.value


def test_every_malformed_file_is_tested() -> None:
    assert {p.name for p in (GOLDEN / "malformed").iterdir()} == set(MALFORMED)


def test_a_large_file_is_refused_before_it_is_read() -> None:
    with pytest.raises(TooLarge):
        read_coding(b"x" * (MAX_BYTES + 1))


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_umlauts_survive_the_usual_encodings(encoding: str) -> None:
    assert read_coding("Türmodul: 0A".encode(encoding)).modules[0][0] == "Türmodul"


def test_a_repeated_equal_value_is_accepted() -> None:
    assert read_coding(b"module,key,value\nBody,a,0A 1F\nBody,a,0a1f\n").value_count == 1


def test_nested_json_keys_are_joined() -> None:
    found = read_coding(b'{"Body": {"lamps": {"front": true, "rear": null}, "wheel": 4.0}, "Engine": "0A"}')
    assert found.as_dict() == {
        "Body": {"lamps.front": "true", "lamps.rear": "", "wheel": "4.0"},
        "Engine": {"coding": "0A"},
    }


def test_json_list_of_modules_with_their_values() -> None:
    found = read_coding(b'[{"name": "Body", "coding": {"a": "01"}}, {"ecu": "Engine", "data": "0A"}]')
    assert found.as_dict() == {"Body": {"a": "01"}, "Engine": {"coding": "0A"}}


def test_numbers_keep_every_digit() -> None:
    digits = "9" * 5000
    assert read_coding(b'{"Body": {"n": ' + digits.encode() + b"}}").as_dict()["Body"]["n"] == digits


@pytest.mark.parametrize("line", [b"a" + b" " * 200_000 + b"b", b"AA " * 60_000 + b"x", b"[" * 200_000, b":" * 200_000])
def test_no_line_can_stall_the_reader(line: bytes) -> None:
    with pytest.raises(BadInput):
        read_coding(line)


names = st.text("Body 09äß", min_size=1, max_size=6).map(str.strip).filter(lambda n: n and not n.isdigit())
keys = st.text("abc long", min_size=1, max_size=6).map(str.strip).filter(bool)
values = st.binary(min_size=1, max_size=5).map(lambda b: b.hex(" ").upper()) | st.sampled_from(["on", "off", "Sport"])
modules = st.dictionaries(names, st.dictionaries(keys, values, min_size=1, max_size=4), min_size=1, max_size=4)


@given(modules)
def test_written_as_json_it_reads_back(content: dict[str, dict[str, str]]) -> None:
    collapsed = {" ".join(m.split()): {" ".join(k.split()): v for k, v in kv.items()} for m, kv in content.items()}
    if sum(map(len, collapsed.values())) == sum(map(len, content.values())):
        assert read_coding(json.dumps(content).encode()).as_dict() == collapsed


@given(modules, st.sampled_from(";,\t|"))
def test_written_as_a_table_it_reads_back(content: dict[str, dict[str, str]], delimiter: str) -> None:
    rows = [["module", "key", "value"], *([m, k, v] for m, kv in content.items() for k, v in kv.items())]
    collapsed = {(" ".join(m.split()), " ".join(k.split())): v for m, kv in content.items() for k, v in kv.items()}
    if len(collapsed) == len(rows) - 1:
        found = read_coding("\n".join(delimiter.join(row) for row in rows).encode())
        assert dict(found.entries()) == collapsed


@given(st.binary(max_size=80) | st.text("[]{}:=;,\"'\n aA01#", max_size=80).map(str.encode))
def test_any_bytes_are_read_or_refused_with_a_sentence(data: bytes) -> None:
    try:
        found = read_coding(data)
    except AppError as refused:
        assert isinstance(refused, BadInput)
        assert refused.sentence.endswith(".")
    else:
        assert found.value_count > 0
