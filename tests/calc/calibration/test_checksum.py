"""Block checksums against published check values and their algebra."""

import json
import zlib
from pathlib import Path
from typing import Any

import anycrc
import crc as crc_package
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.checksum import (
    ALGORITHMS,
    ChecksumDefinition,
    algorithm,
    evaluate,
    evaluate_all,
    recompute,
)
from app.calc.calibration.image import Image
from app.errors import BadInput

# Check values with the source of each table named inside.
DATA: dict[str, Any] = json.loads((Path(__file__).parent / "data" / "checksums.json").read_text(encoding="utf-8"))
SAMPLES = {
    "empty": b"",
    "00": b"\0",
    "bytes 00..FF": bytes(range(256)),
    "32 x FF": b"\xff" * 32,
    "FF x 5553": b"\xff" * 5553,
    "0001F203F4F5F6F7": bytes.fromhex("0001F203F4F5F6F7"),
    "FF" * 32: b"\xff" * 32,
    "1000000 x a": b"a" * 1_000_000,
}


def sample(text: str) -> bytes:
    return SAMPLES.get(text, text.encode("ascii"))


def reflected(value: int, width: int) -> int:
    return int(f"{value:0{width}b}"[::-1], 2)


def bitwise_crc(data: bytes, width: int, poly: int, init: int, refin: bool, refout: bool, xorout: int) -> int:
    """The parametric model as the catalogue defines it, bit by bit."""
    register = init
    for byte in data:
        for k in range(8):
            bit = byte >> (k if refin else 7 - k) & 1
            top = register >> (width - 1) & 1
            register = (register << 1 & ((1 << width) - 1)) ^ (poly if top ^ bit else 0)
    return (reflected(register, width) if refout else register) ^ xorout


@pytest.mark.parametrize("case", DATA["crcs"], ids=lambda c: c["name"])
def test_crc_agrees_with_the_catalogue(case: dict[str, Any]) -> None:
    model = algorithm(case["name"])
    assert (model.width, model.poly, model.init) == (case["width"], int(case["poly"], 16), int(case["init"], 16))
    assert model.compute(b"123456789") == int(case["check"], 16)
    for text, value in case["more"].items():
        assert model.compute(sample(text)) == int(value, 16)


@pytest.mark.parametrize("case", DATA["crcs"], ids=lambda c: c["name"])
def test_message_with_its_crc_leaves_the_published_residue(case: dict[str, Any]) -> None:
    model = algorithm(case["name"])
    message = b"any message"
    sealed = message + model.compute(message).to_bytes(model.size, "little" if model.refout else "big")
    assert model.compute(sealed) ^ model.xorout == int(case["residue"], 16)


@pytest.mark.parametrize("case", DATA["autosar_vectors"], ids=lambda c: c["crc"])
def test_crc_agrees_with_the_automotive_tables(case: dict[str, Any]) -> None:
    for data, value in zip(case["data_hex"], case["expected"], strict=True):
        assert algorithm(case["crc"]).compute(bytes.fromhex(data)) == int(value, 16)


@pytest.mark.parametrize("key", sorted(anycrc.models))
def test_every_model_of_the_catalogue_works_by_name_and_gives_its_check_value(key: str) -> None:
    entry = anycrc.models[key]
    digits = "".join(c for c in key.split("-")[0] if c.isdigit())
    model = algorithm(f"CRC-{digits}/{key.split('-', 1)[1]}")
    assert model.compute(b"123456789") == entry.check == bitwise_crc(b"123456789", *entry[:-1])


@given(st.binary(max_size=80), st.sampled_from([a for a in ALGORITHMS.values() if a.family == "crc"]))
def test_crc_equals_the_bitwise_model(data: bytes, model: Any) -> None:
    parameters = (model.width, model.poly, model.init, model.refin, model.refout, model.xorout)
    assert model.compute(data) == bitwise_crc(data, *parameters)


@given(st.binary(max_size=80))
def test_crc_equals_other_libraries(data: bytes) -> None:
    # Outside sources: zlib and the crc package 8.0.
    assert algorithm("CRC-32/ISO-HDLC").compute(data) == zlib.crc32(data)
    autosar = crc_package.Calculator(crc_package.Crc32.AUTOSAR)
    assert algorithm("CRC-32/AUTOSAR").compute(data) == autosar.checksum(data)


@given(st.integers(0, 40).flatmap(lambda n: st.tuples(*[st.binary(min_size=n, max_size=n)] * 3)))
def test_crc_is_affine(parts: tuple[bytes, bytes, bytes]) -> None:
    # crc(a ⊕ b ⊕ c) = crc(a) ⊕ crc(b) ⊕ crc(c) for equal lengths: the property the search relies on.
    mixed = bytes(x ^ y ^ z for x, y, z in zip(*parts, strict=True))
    for name in ("CRC-32/ISO-HDLC", "CRC-16/GENIBUS", "CRC-8/MAXIM-DOW"):
        a, b, c = (algorithm(name).compute(p) for p in parts)
        assert algorithm(name).compute(mixed) == a ^ b ^ c


@pytest.mark.parametrize("case", DATA["fletcher"], ids=lambda c: c["data"])
def test_fletcher_agrees_with_its_test_vectors(case: dict[str, str]) -> None:
    data = sample(case["data"])
    assert algorithm("FLETCHER-16").compute(data) == int(case["fletcher16"], 16)
    assert algorithm("FLETCHER-32").compute(data, "little") == int(case["fletcher32"], 16)


def plain_fletcher(words: list[int], modulus: int, first: int = 0, second: int = 0) -> tuple[int, int]:
    for word in words:
        first = (first + word) % modulus
        second = (second + first) % modulus
    return first, second


@given(st.binary(max_size=400), st.integers(0, 0xFE), st.integers(0, 0xFE))
def test_fletcher_equals_the_running_sums(data: bytes, first: int, second: int) -> None:
    start = second << 8 | first
    a, b = plain_fletcher(list(data), 255, first, second)
    assert algorithm("FLETCHER-16").compute(data, "big", start) == b << 8 | a
    padded = data + bytes(len(data) % 2)
    words = [int.from_bytes(padded[k : k + 2], "big") for k in range(0, len(padded), 2)]
    a, b = plain_fletcher(words, 65535)
    assert algorithm("FLETCHER-32").compute(data, "big") == b << 16 | a


def test_fletcher_of_a_large_block_does_not_overflow() -> None:
    data = b"\xff\xfe" * (1 << 21)
    n, word = 1 << 21, 0xFFFE
    first, second = n * word % 65535, n * (n + 1) // 2 * word % 65535
    assert algorithm("FLETCHER-32").compute(data) == second << 16 | first


@pytest.mark.parametrize("case", DATA["adler32"], ids=lambda c: c["data"])
def test_adler_agrees_with_its_values(case: dict[str, str]) -> None:
    assert algorithm("ADLER-32").compute(sample(case["data"])) == int(case["adler32"], 16)


def test_internet_checksum_agrees_with_its_worked_example() -> None:
    # RFC 1071, section 3.
    case = DATA["rfc1071"]
    assert algorithm("SUM-16/RFC-1071").compute(bytes.fromhex(case["data"])) == int(case["value"], 16)


SUM_KEYS = {
    "bytes_sum8": ("SUM-8/8-BIT", "big"),
    "bytes_sum8_twos_complement": ("SUM-8/8-BIT/TWOS-COMPLEMENT", "big"),
    "bytes_sum8_ones_complement": ("SUM-8/8-BIT/ONES-COMPLEMENT", "big"),
    "bytes_sum16": ("SUM-16/8-BIT", "big"),
    "bytes_sum16_twos_complement": ("SUM-16/8-BIT/TWOS-COMPLEMENT", "big"),
    "bytes_sum32": ("SUM-32/8-BIT", "big"),
    "words16_big_sum16": ("SUM-16/16-BIT", "big"),
    "words16_little_sum16": ("SUM-16/16-BIT", "little"),
    "words16_big_sum32": ("SUM-32/16-BIT", "big"),
    "words32_big_sum32": ("SUM-32/32-BIT", "big"),
    "words32_little_sum32": ("SUM-32/32-BIT", "little"),
    "words32_big_twos_complement": ("SUM-32/32-BIT/TWOS-COMPLEMENT", "big"),
    "rfc1071_end_around_carry": ("SUM-16/RFC-1071", "big"),
}


@pytest.mark.parametrize("case", DATA["additive"], ids=lambda c: c["data"][:20])
def test_sums_agree_with_plain_loops(case: dict[str, str]) -> None:
    for key, (name, order) in SUM_KEYS.items():
        assert algorithm(name).compute(sample(case["data"]), order) == int(case[key], 16), key  # type: ignore[arg-type]


@pytest.mark.parametrize("case", DATA["sha256"], ids=lambda c: c["data"][:12] or "empty")
def test_digest_of_an_image_agrees_with_fips_180_4(case: dict[str, str]) -> None:
    data = sample(case["data"])
    assert Image.of([(0x8000, data)]).digest == case["sha256"]
    assert Image.of([(0x8000, data[:1]), (0x9000_0000, data[1:])]).digest == case["sha256"]


@pytest.mark.parametrize(
    ("other", "name"),
    [
        ("CRC-32C", "CRC-32/ISCSI"),
        ("crc-32", "CRC-32/ISO-HDLC"),
        ("CRC-16/X-25", "CRC-16/IBM-SDLC"),
        ("CRC-16/CCITT-FALSE", "CRC-16/IBM-3740"),
        (" CRC-16/AUTOSAR", "CRC-16/IBM-3740"),
        ("CRC-15/CAN", "CRC-15/CAN"),
    ],
)
def test_other_names_of_an_algorithm_lead_to_it(other: str, name: str) -> None:
    assert algorithm(other).name == name


def test_unknown_algorithm_is_named() -> None:
    with pytest.raises(BadInput, match="CRC-33/NONE"):
        algorithm("CRC-33/NONE")


BLOCK = Image.of([(0x8000, bytes(range(64)) + bytes(64))])


def test_checksum_holds_only_while_every_byte_of_the_block_stays() -> None:
    definition = ChecksumDefinition("main block", "CRC-32/ISO-HDLC", ((0x8000, 0x8040),), 0x8040, "little")
    before = evaluate(BLOCK, definition)
    assert (before.state, before.stored, before.computed) == ("does not hold", 0, zlib.crc32(bytes(range(64))))
    sealed = recompute(BLOCK, definition)
    assert evaluate(sealed, definition).state == "holds"
    assert sealed.read(0x8040, 4) == zlib.crc32(bytes(range(64))).to_bytes(4, "little")
    for address in range(0x8000, 0x8044):
        changed = sealed.patched([(address, bytes([sealed.read(address, 1)[0] ^ 0x10]))])
        assert evaluate(changed, definition).state == "does not hold"
    assert recompute(sealed, definition) is sealed


def test_several_ranges_are_taken_in_the_order_given() -> None:
    ranges = ((0x8010, 0x8020), (0x8000, 0x8008))
    definition = ChecksumDefinition("two parts", "CRC-32/ISO-HDLC", ranges, 0x8040)
    data = bytes(range(16, 32)) + bytes(range(8))
    assert evaluate(BLOCK, definition).computed == zlib.crc32(data)


def test_stored_value_inside_its_range_counts_as_zero() -> None:
    definition = ChecksumDefinition("self", "CRC-32/MPEG-2", ((0x8000, 0x8080),), 0x803E, "big")
    assert definition.stored_inside
    sealed = recompute(BLOCK, definition)
    assert evaluate(sealed, definition).state == "holds"
    zeroed = sealed.patched([(0x803E, bytes(4))]).payload
    assert evaluate(sealed, definition).computed == algorithm("CRC-32/MPEG-2").compute(zeroed)


def test_stored_value_partly_inside_its_range_counts_as_zero_there() -> None:
    definition = ChecksumDefinition("edge", "SUM-32/8-BIT", ((0x8000, 0x8042),), 0x8040)
    sealed = recompute(BLOCK.patched([(0x8042, b"\xee\xee")]), definition)
    assert evaluate(sealed, definition).computed == sum(range(64))
    assert not ChecksumDefinition("beside", "SUM-32/8-BIT", ((0x8000, 0x8040),), 0x8040).stored_inside


def test_start_value_replaces_the_algorithms_own() -> None:
    # CRC-16/SPI-FUJITSU is CRC-16/IBM-3740 started at 1D0F (catalogue check value E5CC).
    image = Image.of([(0, b"123456789\0\0")])
    definition = ChecksumDefinition("own start", "CRC-16/IBM-3740", ((0, 9),), 9, "big", 0x1D0F)
    assert evaluate(image, definition).computed == 0xE5CC
    added = ChecksumDefinition("own start", "SUM-16/8-BIT", ((0, 9),), 9, "big", 0x1000)
    assert evaluate(image, added).computed == 0x11DD
    adler = ChecksumDefinition("own start", "ADLER-32", ((3, 9),), 7, "big", zlib.adler32(b"123"))
    assert evaluate(image, adler).computed == zlib.adler32(b"1234567\0\0")


def test_addresses_that_the_image_lacks_leave_the_checksum_unknown() -> None:
    beyond = ChecksumDefinition("beyond", "SUM-16/8-BIT", ((0x8000, 0x9000),), 0x8040)
    nowhere = ChecksumDefinition("nowhere", "SUM-16/8-BIT", ((0x8000, 0x8040),), 0x10)
    results = evaluate_all(BLOCK, [beyond, nowhere])
    assert [(r.name, r.state, r.computed, r.stored) for r in results] == [
        ("beyond", "not known", None, None),
        ("nowhere", "not known", None, None),
    ]
    assert "0x8000 to 0x8FFF" in results[0].reason
    with pytest.raises(BadInput, match="cannot be computed: the image does not hold all of 0x10 to 0x11"):
        recompute(BLOCK, nowhere)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"algorithm": "none such"}, "algorithm"),
        ({"ranges": ()}, "ranges"),
        ({"ranges": ((5, 5),)}, "ranges"),
        ({"ranges": ((-1, 5),)}, "ranges"),
        ({"ranges": ((0, 8), (7, 9))}, "ranges"),
        ({"stored_at": -1}, "stored_at"),
        ({"byte_order": "middle"}, "byte_order"),
        ({"start": 0x10000}, "start"),
    ],
)
def test_definition_that_contradicts_itself_is_refused(changes: dict[str, Any], field: str) -> None:
    good: dict[str, Any] = {"name": "b", "algorithm": "SUM-16/8-BIT", "ranges": ((0, 4),), "stored_at": 8}
    ChecksumDefinition(**good)
    with pytest.raises(BadInput) as caught:
        ChecksumDefinition(**(good | changes))
    assert caught.value.field == field


@given(
    st.binary(min_size=12, max_size=90),
    st.sampled_from(sorted(ALGORITHMS)),
    st.sampled_from(["big", "little"]),
    st.data(),
)
def test_recomputed_checksum_holds_and_touches_nothing_else(
    payload: bytes, name: str, order: Any, data: st.DataObject
) -> None:
    image = Image.of([(0x100, payload)])
    size = algorithm(name).size
    low = data.draw(st.integers(0, len(payload) - 1))
    high = data.draw(st.integers(low + 1, len(payload)))
    at = data.draw(st.integers(0, len(payload) - size))
    definition = ChecksumDefinition("block", name, ((0x100 + low, 0x100 + high),), 0x100 + at, order)
    sealed = recompute(image, definition)
    assert evaluate(sealed, definition).state == "holds"
    assert sealed.payload[:at] == payload[:at]
    assert sealed.payload[at + size :] == payload[at + size :]
