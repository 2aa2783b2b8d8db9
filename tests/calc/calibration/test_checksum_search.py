"""Planted checksums are found first; where there is none, none is proposed."""

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from app.calc.calibration.checksum import ALGORITHMS, ChecksumDefinition, evaluate, recompute
from app.calc.calibration.checksum_search import find_checksums
from app.calc.calibration.image import Image
from app.errors import BadInput

BASE, SIZE = 0x8000_0000, 0x1_8000


def family(seed: int, count: int, *, base: int = BASE, size: int = SIZE) -> list[Image]:
    """A base image that does not compress, with a run of 0xFF, and edits of a few places each."""
    rng = np.random.default_rng(seed)
    stock = bytearray(rng.bytes(size))
    stock[size // 2 : size // 2 + size // 4] = b"\xff" * (size // 4)
    images = []
    for k in range(count):
        edited = bytearray(stock)
        for _ in range(5 if k else 0):
            at = int(rng.integers(0, size // 3))
            edited[at : at + 20] = rng.bytes(20)
        images.append(Image.of([(base, bytes(edited))]))
    return images


def block(algorithm: str, ranges: Any, stored_at: int, byte_order: Any = "big") -> ChecksumDefinition:
    shifted = tuple((BASE + a, BASE + b) for a, b in ranges)
    return ChecksumDefinition("planted", algorithm, shifted, BASE + stored_at, byte_order)


PLANTED = [
    (3, block("CRC-32/ISO-HDLC", [(0, 0x8000)], 0x17FF0, "little")),
    (2, block("CRC-32/ISO-HDLC", [(0, 0xC000)], 0xC000)),
    (2, block("CRC-64/XZ", [(0, 0x12000)], 0x15556, "little")),
    (3, block("CRC-16/IBM-3740", [(0, 0xBFFE)], 0xBFFE)),
    (3, block("CRC-16/KERMIT", [(2, 0x10000)], 0, "little")),
    (6, block("CRC-8/AUTOSAR", [(0, 0x8000)], 0x17FFF)),
    (3, block("CRC-32/MPEG-2", [(0, SIZE)], 0xD556)),
    (3, block("CRC-32/AUTOSAR", [(0, 0xD556), (0xD55A, SIZE)], 0xD556, "little")),
    (3, block("SUM-32/16-BIT/TWOS-COMPLEMENT", [(0, 0x8000)], 0x8000, "little")),
    (3, block("SUM-32/32-BIT/ONES-COMPLEMENT", [(0x800, 0x8000)], 0x17FF8)),
    (6, block("SUM-16/8-BIT", [(0, 0x9000)], 0x17FFE)),
    (4, block("SUM-16/RFC-1071", [(0, 0x9000)], 0x17FFC)),
    (3, block("FLETCHER-32", [(0, 0x8000)], 0x8000, "little")),
    (5, block("FLETCHER-16", [(0, 0x8000)], 0x17000)),
    (3, block("ADLER-32", [(4, 0x8000)], 0)),
]


@pytest.mark.parametrize(("count", "planted"), PLANTED, ids=lambda v: getattr(v, "algorithm", str(v)))
def test_planted_checksum_is_found_first(count: int, planted: ChecksumDefinition) -> None:
    images = [recompute(image, planted) for image in family(7, count)]
    first, *_others = find_checksums(images)
    found = first.definition
    assert (found.algorithm, found.ranges) == (planted.algorithm, planted.ranges)
    assert found.stored_at == planted.stored_at
    # RFC 1071, section 2 (B): the sum of swapped words is the swapped sum, so its byte order cannot be told.
    assert found.byte_order == planted.byte_order or found.algorithm == "SUM-16/RFC-1071"
    assert first.images_explained == count
    assert first.chance < 1e-3
    assert first.note.startswith(f"Holds in all {count} different images.")


def test_several_checksums_are_found_together_and_ranked_by_chance() -> None:
    planted = [
        block("CRC-32/ISO-HDLC", [(0, 0x8000)], 0x17FF0),
        block("CRC-16/XMODEM", [(0, 0x9000)], 0x17FE0),
        block("SUM-32/8-BIT", [(0, 0xA000)], 0x17FD0),
    ]
    images = family(3, 4)
    for definition in planted:
        images = [recompute(image, definition) for image in images]
    found = find_checksums(images)
    assert {(c.definition.algorithm, c.definition.stored_at) for c in found} == {
        (d.algorithm, d.stored_at) for d in planted
    }
    assert found[0].definition.algorithm == "CRC-32/ISO-HDLC"
    assert all(a.chance <= b.chance for a, b in pairwise(found))


def test_checksum_kept_in_another_segment_is_found() -> None:
    planted = ChecksumDefinition("table", "CRC-32/BZIP2", ((BASE, BASE + 0x8000),), 0xF000, "little")
    images = [recompute(Image.of([(0xF000, bytes(16)), (BASE, image.payload)]), planted) for image in family(5, 3)]
    first = find_checksums(images)[0].definition
    assert (first.algorithm, first.ranges, first.stored_at) == (planted.algorithm, planted.ranges, 0xF000)


def test_only_addresses_that_all_images_hold_are_searched() -> None:
    planted = block("CRC-32/ISO-HDLC", [(0, 0x8000)], 0x8000)
    images = [recompute(image, planted) for image in family(5, 3)]
    images[1] = Image.of([(BASE, images[1].payload[:0x9000]), (0x1000, b"boot")])
    assert find_checksums(images)[0].definition.ranges == planted.ranges


def test_ranges_that_the_person_names_need_not_be_plausible() -> None:
    planted = block("CRC-16/IBM-SDLC", [(0x123, 0x7777)], 0x17FF0)
    images = [recompute(image, planted) for image in family(9, 3)]
    assert find_checksums(images) == ()
    first = find_checksums(images, ranges=[(BASE + 0x50, BASE + 0x60), planted.ranges[0]])[0].definition
    assert (first.algorithm, first.ranges, first.stored_at) == (
        planted.algorithm,
        planted.ranges,
        planted.stored_at,
    )


def test_a_named_range_with_the_stored_value_at_its_end_leaves_it_out() -> None:
    planted = block("CRC-32/ISO-HDLC", [(0x123, 0x7772)], 0x7772)
    images = [recompute(image, planted) for image in family(9, 3)]
    first = find_checksums(images, ranges=[(BASE + 0x123, BASE + 0x7776)])[0].definition
    assert (first.ranges, first.stored_at) == (planted.ranges, planted.stored_at)


def test_search_for_the_stored_value_can_be_narrowed() -> None:
    planted = block("CRC-32/ISO-HDLC", [(0, 0x8000)], 0x17FF0)
    images = [recompute(image, planted) for image in family(2, 3)]
    assert find_checksums(images, changed=[(BASE + 0x17FF0, BASE + 0x17FF4)])[0].definition.stored_at == BASE + 0x17FF0
    assert find_checksums(images, changed=[(BASE, BASE + 0x17FF0)]) == ()


def test_one_image_with_a_wrong_checksum_withdraws_the_proposal() -> None:
    planted = block("CRC-32/ISO-HDLC", [(0, 0x8000)], 0x17FF0)
    images = [recompute(image, planted) for image in family(2, 4)]
    images[3] = images[3].patched([(BASE + 0x100, b"edited")])
    assert evaluate(images[3], planted).state == "does not hold"
    assert find_checksums(images) == ()


@pytest.mark.parametrize("seed", range(2))
def test_no_checksum_is_proposed_for_random_images(seed: int) -> None:
    rng = np.random.default_rng(seed)
    assert find_checksums([Image.of([(BASE, rng.bytes(0x2000))]) for _ in range(3)]) == ()


@pytest.mark.parametrize("count", [2, 5])
def test_no_checksum_is_proposed_for_a_family_without_one(count: int) -> None:
    assert find_checksums(family(11, count)) == ()


def test_a_stored_copy_of_a_value_is_not_taken_for_a_checksum() -> None:
    images = []
    for image in family(4, 4):
        copy = image.read(BASE + 0x100, 2)
        images.append(image.patched([(BASE + 0x102, copy), (BASE + 0x17FF0, copy)]))
    assert find_checksums(images) == ()


def test_too_few_bits_are_not_called_a_find() -> None:
    # Two images and one byte: 16 bits agree by accident somewhere among a million trials.
    planted = block("CRC-8/AUTOSAR", [(0, 0x8000)], 0x17FFF)
    images = [recompute(image, planted) for image in family(7, 2)]
    assert find_checksums(images) == ()
    place = (planted.stored_at, planted.stored_at + 1)
    assert find_checksums(images, ranges=planted.ranges, changed=[place]) == ()
    more = [recompute(image, planted) for image in family(7, 4)]
    (named,) = find_checksums(more, ranges=planted.ranges, changed=[place])
    assert named.definition.algorithm == "CRC-8/AUTOSAR"


def test_images_that_do_not_differ_or_share_nothing_are_refused() -> None:
    image = Image.of([(0, b"abc")])
    with pytest.raises(BadInput, match="two different images"):
        find_checksums([image, Image.of([(0, b"abc")])])
    with pytest.raises(BadInput, match="share no addresses"):
        find_checksums([image, Image.of([(10, b"abc")])])


@settings(max_examples=8, deadline=None)
@given(
    st.integers(0, 1000),
    st.sampled_from([n for n, a in ALGORITHMS.items() if a.width >= 32]),
    st.sampled_from([(0, 0x4000), (0x1000, 0x4000), (0, 0x5555), (0x800, 0x8000)]),
    st.sampled_from(["big", "little"]),
)
def test_every_wide_algorithm_is_found(seed: int, name: str, range_: tuple[int, int], order: Any) -> None:
    start, end = range_
    end -= end % 4
    at = 0x8000 if end < 0x8000 else 0x8008
    planted = block(name, [(start, end)], end if end == 0x5554 else at, order)
    images = [recompute(image, planted) for image in family(seed, 3, size=0xC000)]
    first = find_checksums(images)[0].definition
    assert first.stored_at == planted.stored_at
    assert first.algorithm == name
