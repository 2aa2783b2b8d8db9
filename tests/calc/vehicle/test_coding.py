"""The shop can rely on it that coding counts as restored only when every module's every key is as it was.

No standard says how option coding is kept; the rules here are common practice, no source. Digests are checked
against hashlib over hand-written canonical text, bit positions against the exclusive-or worked by hand.
"""

import hashlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.vehicle.coding import ByteChange, CodingSnapshot, canonical_value, compare, equal

BEFORE = CodingSnapshot.of(
    {
        "Body": {"long coding": "0A 1F 40", "lamps": "daytime on"},
        "Engine": {"long coding": "01", "mileage": "048211"},
        "Park distance": {"long coding": "00"},
    }
)


def changed(**modules: dict[str, str]) -> CodingSnapshot:
    return CodingSnapshot.of({**BEFORE.as_dict(), **modules})


def test_a_snapshot_equals_itself_however_its_bytes_were_spaced() -> None:
    respaced = changed(Body={"long coding": "0x0a1f40", "lamps": " daytime  on"})
    assert equal(BEFORE, respaced)
    assert respaced.digest == BEFORE.digest
    assert compare(BEFORE, respaced).sentence == "All 5 coding values are equal."


def test_a_single_value_is_told_of_in_the_singular() -> None:
    one = CodingSnapshot.of({"Body": {"market": "EU"}})
    assert compare(one, one).sentence == "The one coding value is equal."


def test_digest_is_sha256_of_the_canonical_text() -> None:
    small = CodingSnapshot.of({"Tür": {"b": "0a 1f", "a": "Sport"}})
    text = '{"Tür":{"a":"Sport","b":"0A1F"}}'
    assert small.digest == hashlib.sha256(text.encode()).hexdigest()


def test_changed_bytes_and_bits_are_pointed_out() -> None:
    found = compare(BEFORE, changed(Body={"long coding": "0A 1B 41", "lamps": "daytime on"}))
    (change,) = found.changes
    assert (change.module, change.key, change.kind) == ("Body", "long coding", "changed")
    # 1F xor 1B = 04: bit 2; 40 xor 41 = 01: bit 0.
    assert change.byte_changes == (ByteChange(1, 0x1F, 0x1B), ByteChange(2, 0x40, 0x41))
    assert [c.bits for c in change.byte_changes] == [(2,), (0,)]
    assert found.sentence == "Coding differs in Body: 1 changed."


def test_a_shorter_value_lists_the_bytes_that_are_gone() -> None:
    (change,) = compare(BEFORE, changed(Body={"long coding": "0A", "lamps": "daytime on"})).changes
    assert change.byte_changes == (ByteChange(1, 0x1F, None), ByteChange(2, 0x40, None))
    assert change.byte_changes[0].bits == ()


def test_text_values_are_compared_whole() -> None:
    (change,) = compare(BEFORE, changed(Body={"long coding": "0A1F40", "lamps": "Daytime on"})).changes
    assert change.byte_changes == ()
    assert (change.before, change.after) == ("daytime on", "Daytime on")


def test_added_and_removed_keys() -> None:
    found = compare(BEFORE, changed(Engine={"long coding": "01", "cruise": "on"}))
    assert [(c.key, c.kind) for c in found.changes] == [("cruise", "added"), ("mileage", "removed")]
    assert found.sentence == "Coding differs in Engine: 1 added, 1 removed."


def test_a_module_that_was_not_read_again_is_not_restored() -> None:
    partial = CodingSnapshot.of({k: v for k, v in BEFORE.as_dict().items() if k != "Park distance"})
    found = compare(BEFORE, partial)
    assert found.missing_modules == ("Park distance",)
    assert not found.equal


def test_an_empty_module_on_one_side_only_is_a_difference() -> None:
    found = compare(CodingSnapshot.of({"A": {"k": "1"}, "B": {}}), CodingSnapshot.of({"A": {"k": "1"}}))
    assert (found.changes, found.missing_modules, found.equal) == ((), ("B",), False)
    assert found.sentence == "Coding differs in B: modules missing."


def test_ignored_keys_are_listed_not_dropped() -> None:
    after = changed(Engine={"long coding": "01", "mileage": "048230"})
    assert not equal(BEFORE, after)
    assert equal(BEFORE, after, ignore=[("Engine", "mileage")])
    found = compare(BEFORE, after, ignore=[("Engine", "mileage")])
    assert [c.after for c in found.ignored] == ["048230"]
    assert found.sentence == "All 4 coding values are equal. 1 differing but left out of the comparison."


def test_ignoring_a_key_of_another_module_changes_nothing() -> None:
    after = changed(Engine={"long coding": "01", "mileage": "048230"})
    assert not equal(BEFORE, after, ignore=[("Body", "mileage")])


@pytest.mark.parametrize("ignore", [[], [("A", "k")]])
def test_nothing_compared_is_never_equal(ignore: list[tuple[str, str]]) -> None:
    nothing = CodingSnapshot.of({"A": {"k": "1"}} if ignore else {})
    assert not equal(nothing, nothing, ignore=ignore)


@pytest.mark.parametrize(
    ("value", "canonical"),
    [
        ("0a:1f", "0A1F"),
        ("0A-1F", "0A1F"),
        ("0x0a", "0A"),
        ("A1F", "A1F"),
        ("a1f", "a1f"),
        ("12.5", "12.5"),
        ("", ""),
        ("0x", "0x"),
        ("on", "on"),
    ],
)
def test_only_whole_bytes_are_read_as_hex(value: str, canonical: str) -> None:
    assert canonical_value(value) == canonical


names = st.sampled_from(["Body", "Engine", "Gearbox", "Tür"])
values = st.one_of(st.binary(max_size=4).map(lambda b: b.hex(" ")), st.text("on ofA1", max_size=5))
snapshots = st.dictionaries(names, st.dictionaries(st.sampled_from("abc"), values, max_size=3), max_size=4).map(
    CodingSnapshot.of
)


@given(snapshots, snapshots)
def test_digests_agree_exactly_when_nothing_differs(a: CodingSnapshot, b: CodingSnapshot) -> None:
    found = compare(a, b)
    same = not (found.changes or found.missing_modules or found.new_modules)
    assert (a.digest == b.digest) == same


@given(snapshots, snapshots)
def test_comparing_the_other_way_swaps_added_and_removed(a: CodingSnapshot, b: CodingSnapshot) -> None:
    there, back = compare(a, b), compare(b, a)
    swap = {"added": "removed", "removed": "added", "changed": "changed"}
    assert [(c.module, c.key, swap[c.kind], c.after, c.before) for c in there.changes] == [
        (c.module, c.key, c.kind, c.before, c.after) for c in back.changes
    ]
    assert there.missing_modules == back.new_modules


@given(snapshots, snapshots)
def test_byte_changes_rebuild_the_second_value(a: CodingSnapshot, b: CodingSnapshot) -> None:
    for change in compare(a, b).changes:
        if not change.byte_changes:
            continue
        data: list[int | None] = list(bytes.fromhex(canonical_value(change.before or "")))
        for byte in change.byte_changes:
            data += [None] * (byte.index + 1 - len(data))
            data[byte.index] = byte.after
        assert bytes(x for x in data if x is not None).hex().upper() == canonical_value(change.after or "")


@given(snapshots)
def test_the_mapping_survives_the_round_trip(a: CodingSnapshot) -> None:
    assert CodingSnapshot.of(a.as_dict()) == a
