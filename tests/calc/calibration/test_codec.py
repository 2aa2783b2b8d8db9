"""The shop can rely on it that a stored revision comes back byte for byte, or not at all.

The round trip is its own oracle. Sizes are held against bsdiff4 (bsdiff, C. Percival, 2003) in tests/bench.
"""

import random
import tracemalloc
from contextlib import suppress
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from app.calc.calibration.codec import COMPRESSIONS, apply_chain, decode, encode
from app.calc.calibration.coded_runs import Cursor, varint
from app.errors import Damaged

payloads = st.binary(max_size=300)


@st.composite
def edits(draw: st.DrawFn, base: bytes) -> bytes:
    """The base after what tuners do: cells set, regions scaled or shifted as bytes or words, an end cut or added."""
    new = bytearray(base)
    for _ in range(draw(st.integers(0, 4))):
        if len(new) < 4:
            break
        start = draw(st.integers(0, len(new) - 2))
        end = draw(st.integers(start + 1, len(new)))
        dtype = np.dtype(draw(st.sampled_from(["u1", ">u2", "<u2"])))
        region = np.frombuffer(new, dtype, (end - start) // dtype.itemsize, start)
        factor, shift = draw(st.sampled_from([0.95, 1.0, 1.05, 2.0])), draw(st.integers(-70_000, 70_000))
        region[...] = (region * factor + shift).astype(np.int64).astype(f"u{dtype.itemsize}")
    return bytes(new[: draw(st.integers(0, len(new)))]) + draw(st.binary(max_size=5))


@given(st.data())
@settings(max_examples=200)
def test_any_payload_comes_back_from_any_base(data: st.DataObject) -> None:
    base = data.draw(payloads)
    new = data.draw(st.one_of(payloads, edits(base)))
    assert decode(base, encode(base, new)) == new


@given(st.data())
@settings(max_examples=200)
def test_a_chain_gives_the_last_payload(data: st.DataObject) -> None:
    images = [data.draw(payloads)]
    for _ in range(data.draw(st.integers(0, 5))):
        images.append(data.draw(edits(images[-1])))
    chain = [encode(a, b) for a, b in pairwise(images)]
    assert apply_chain(images[0], chain) == images[-1]


def test_the_base_is_left_as_it_was() -> None:
    base = bytes(range(256)) * 8
    copy = bytes(bytearray(base))
    assert decode(base, encode(base, base[::-1])) == base[::-1]
    assert base == copy


def test_nothing_changed_costs_a_dozen_bytes() -> None:
    base = random.Random(1).randbytes(4 << 20)
    coded = encode(base, bytes(bytearray(base)))
    assert len(coded) <= 12
    assert decode(base, coded) == base


def test_a_percentage_over_a_region_leaves_next_to_nothing() -> None:
    """Twenty rows of 16 words raised by 7 %: 640 changed bytes cost less than 130."""
    rng = np.random.default_rng(3)
    words = rng.integers(4_000, 30_000, 4_000).astype(">u2")
    base = words.tobytes()
    table = words[1_000:1_600].reshape(20, 30)
    table[:, 4:20] = np.rint(table[:, 4:20] * 1.07).astype(">u2")
    new = words.tobytes()
    coded = encode(base, new)
    assert decode(base, coded) == new
    assert len(coded) < 130


@pytest.mark.parametrize("kind", ["random", "shifted by one", "inverted"])
def test_payloads_that_have_little_in_common_are_coded_too(kind: str) -> None:
    rng = random.Random(5)
    base = rng.randbytes(200_001)
    new = {
        "random": rng.randbytes(200_001),
        "shifted by one": b"x" + base[:-1],
        "inverted": bytes(255 - byte for byte in base),
    }[kind]
    coded = encode(base, new)
    assert decode(base, coded) == new
    assert len(coded) < len(new) + 100


def every_compression() -> list[tuple[bytes, bytes, bytes]]:
    """(base, new, coded) for each way a body can be compressed."""
    rng = random.Random(2)
    base = rng.randbytes(400_000)
    found: dict[int, tuple[bytes, bytes, bytes]] = {}
    for count in [0, 1, 3, *range(20, 200, 6), 100_000]:
        new = bytearray(base)
        for _ in range(count):
            new[rng.randrange(50_000, 250_000)] = rng.choice(b"\x01\x02\x03\x04\x05\x06")
        coded = encode(base, bytes(new))
        found.setdefault(coded[0], (base, bytes(new), coded))
    area = np.frombuffer(base, ">u2").copy()
    area[100:4_000] += np.arange(3_900, dtype=np.uint16) % 7 * 250
    found.setdefault(encode(base, area.tobytes())[0], (base, area.tobytes(), encode(base, area.tobytes())))
    return list(found.values())


def test_the_samples_below_use_several_compressions() -> None:
    assert len({coded[0] for _, _, coded in every_compression()}) >= 3
    assert all(coded[0] < len(COMPRESSIONS) for _, _, coded in every_compression())


def test_a_flipped_bit_gives_damaged_or_a_payload_of_the_right_length() -> None:
    """What still decodes has the announced length; the store's digest finds the rest."""
    rng = random.Random(7)
    for base, new, coded in every_compression():
        for _ in range(150):
            broken = bytearray(coded)
            broken[rng.randrange(len(broken))] ^= 1 << rng.randrange(8)
            try:
                given_back = decode(base, bytes(broken))
            except Damaged:
                continue
            assert len(given_back) <= len(new) + 300


def test_a_cut_coding_is_damaged() -> None:
    for base, _, coded in every_compression():
        for end in {0, 1, 2, 5, len(coded) // 2, len(coded) - 1}:
            with pytest.raises(Damaged):
                decode(base, coded[:end])


@given(st.binary(max_size=80), st.integers(0, 3))
@example(b"\xff" * 60, 0)
@settings(max_examples=200)
def test_arbitrary_bodies_raise_damaged_or_give_a_payload(body: bytes, kind: int) -> None:
    base = bytes(64)
    head = bytes((kind,)) + varint(64) + varint(64)
    for size in (len(body), 64):
        with suppress(Damaged):
            assert len(decode(base, head + varint(size) + body)) == 64


def test_a_body_that_claims_much_is_refused_without_allocating_it() -> None:
    bomb = encode(b"", bytes(40 << 20))
    claims = [
        bytes((3,)) + varint(64) + varint(64) + varint(1 << 30) + bomb[8:],
        bytes((3,)) + varint(64) + varint(64) + varint(200) + bomb[8:],
        bytes((0,))
        + varint(64)
        + varint(64)
        + varint(10)
        + varint(1)
        + varint(0)
        + bytes((12, 2, 0, 255, 0, 255, 255)),
        bytes((0,)) + varint(64) + varint(1 << 33) + varint(2) + bytes(2),
    ]
    tracemalloc.start()
    for coded in claims:
        with pytest.raises(Damaged):
            decode(bytes(64), coded)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 4 << 20


def test_a_coding_for_another_base_is_refused_by_its_length() -> None:
    with pytest.raises(Damaged, match="base of 3 bytes, the base has 4"):
        decode(b"abcd", encode(b"abc", b"abd"))


@given(st.integers(0, (1 << 32) - 1))
def test_varints_come_back(number: int) -> None:
    assert Cursor(varint(number), 0).varint() == number


def test_more_ratios_than_a_table_holds_still_come_back() -> None:
    rng = np.random.default_rng(9)
    words = rng.integers(4_000, 30_000, 300 * 80).astype(">u2")
    base = words.tobytes()
    for k in range(300):
        region = words[80 * k : 80 * k + 24]
        region[...] = np.rint(region * (1 + (k + 1) / 1_000)).astype(">u2")
    coded = encode(base, words.tobytes())
    assert decode(base, coded) == words.tobytes()


@pytest.mark.release
@given(st.data())
@settings(max_examples=10_000, deadline=None)
def test_any_payload_comes_back_from_any_base_at_length(data: st.DataObject) -> None:
    base = data.draw(payloads)
    new = data.draw(st.one_of(payloads, edits(base)))
    assert decode(base, encode(base, new)) == new
