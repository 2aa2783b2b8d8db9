"""The shop can rely on it that no changed byte is missed and none is invented.

The oracle is plain Python sets of addresses; difflib and memcmp know nothing of address gaps.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.byte_ranges import (
    ByteRanges,
    changed_offsets,
    changed_ranges,
    held,
    runs,
)
from app.calc.calibration.image import Image

pairs = st.lists(st.tuples(st.integers(0, 300), st.integers(0, 40)).map(lambda p: (p[0], p[0] + p[1])), max_size=12)


def addresses(ranges):
    return {a for start, end in ranges for a in range(start, end)}


@st.composite
def images(draw):
    """A sparse image of up to four segments in 512 addresses, from a small alphabet so that bytes often agree."""
    cuts = sorted(draw(st.sets(st.integers(0, 511), min_size=2, max_size=8)))
    parts = []
    for start, end in zip(cuts[::2], cuts[1::2], strict=False):
        parts.append((start, draw(st.binary(min_size=end - start, max_size=end - start))))
    return Image.of(parts)


@st.composite
def edited(draw, image):
    """The image with some bytes changed."""
    where = sorted(held(image).addresses().tolist())
    spots = draw(st.lists(st.sampled_from(where), max_size=30))
    return image.patched([(a, bytes([draw(st.integers(0, 255))])) for a in spots])


def content(image):
    return {s.address + k: byte for s in image.segments for k, byte in enumerate(s.data)}


@given(pairs, pairs)
def test_set_operations_agree_with_sets_of_addresses(a, b):
    one, other = ByteRanges.of(a), ByteRanges.of(b)
    assert addresses(one) == addresses(a)
    assert addresses(one.minus(other)) == addresses(a) - addresses(b)
    assert addresses(one.intersected(other)) == addresses(a) & addresses(b)
    assert one.size == len(addresses(a))
    assert one.addresses().tolist() == sorted(addresses(a))
    assert all(e < s for (_, e), (s, _) in zip(one, list(one)[1:], strict=False))


@given(pairs, pairs)
def test_overlaps_list_every_pair_that_shares_a_byte(a, b):
    one, other = ByteRanges.of(a), ByteRanges.of(b)
    mine, theirs = one.overlaps(other)
    expected = [(i, j) for i, p in enumerate(one) for j, q in enumerate(other) if max(p[0], q[0]) < min(p[1], q[1])]
    assert list(zip(mine.tolist(), theirs.tolist(), strict=True)) == expected


@pytest.mark.parametrize(
    ("gap", "expected"), [(1, [(0, 4), (19, 20), (36, 38)]), (16, [(0, 20), (36, 38)]), (17, [(0, 38)])]
)
def test_ranges_join_only_across_gaps_smaller_than_asked(gap, expected):
    ranges = ByteRanges(np.array([0, 2, 19, 36]), np.array([2, 4, 20, 38]))
    assert list(ranges.merged(gap)) == expected


@given(st.sets(st.integers(0, 200)), st.integers(1, 20))
def test_runs_of_offsets_join_like_ranges_do(offsets, gap):
    array = np.array(sorted(offsets), np.int64)
    assert list(runs(array, gap=gap)) == list(runs(array).merged(gap))


@given(st.data(), st.integers(0, 200))
def test_changed_offsets_are_all_offsets_that_differ(data, length):
    a = data.draw(st.binary(min_size=length, max_size=length))
    b = bytearray(a)
    for k in data.draw(st.lists(st.integers(0, max(0, length - 1)), max_size=20)) if length else []:
        b[k] ^= data.draw(st.integers(0, 255))
    assert changed_offsets(a, bytes(b)).tolist() == [k for k in range(length) if a[k] != b[k]]


def test_blocks_of_different_length_are_refused():
    with pytest.raises(ValueError, match="3 and 2 bytes"):
        changed_offsets(b"abc", b"ab")


@given(st.data())
def test_changed_ranges_are_every_address_whose_content_differs(data):
    before = data.draw(images())
    after = data.draw(st.one_of(images(), edited(before)))
    old, new = content(before), content(after)
    found = changed_ranges(before, after)
    assert addresses(found.common) == {a for a in old.keys() & new.keys() if old[a] != new[a]}
    assert addresses(found.removed) == old.keys() - new.keys()
    assert addresses(found.added) == new.keys() - old.keys()
    assert addresses(found.all) == {a for a in old.keys() | new.keys() if old.get(a) != new.get(a)}


def test_a_segment_added_or_removed_is_changed_bytes():
    before = Image.of([(0x100, b"abcd"), (0x200, b"1234")])
    after = Image.of([(0x100, b"abcd"), (0x300, b"5678")])
    found = changed_ranges(before, after)
    assert list(found.removed) == [(0x200, 0x204)]
    assert list(found.added) == [(0x300, 0x304)]
    assert list(found.all) == [(0x200, 0x204), (0x300, 0x304)]
