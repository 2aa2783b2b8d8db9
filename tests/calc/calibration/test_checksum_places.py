"""Where a checksum may begin, end and be stored."""

import time

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.checksum_places import MAX_AREAS, MAX_WORDS, boundaries, common_areas, words
from app.calc.calibration.image import Image

parts = st.lists(st.tuples(st.integers(0, 60), st.integers(1, 12)), min_size=1, max_size=5)


def image_of(spans: list[tuple[int, int]], value: int) -> Image:
    held = sorted({a for start, length in spans for a in range(start, start + length)})
    return Image.of((a, bytes([value])) for a in held)


@given(parts, parts)
def test_areas_are_the_addresses_that_all_images_hold(
    mine: list[tuple[int, int]], theirs: list[tuple[int, int]]
) -> None:
    images = [image_of(mine, 1), image_of(theirs, 2)]
    held = [{a for s in i.segments for a in range(s.address, s.end)} for i in images]
    areas = common_areas(images)
    assert {a for area in areas for a in range(area.address, area.end)} == held[0] & held[1]
    assert all(area.changed.all() and area.changed_before[-1] == area.size for area in areas)


def test_scattered_images_keep_their_largest_areas_and_stay_quick() -> None:
    image = Image.of((32 * k, bytes(1 + k % 7)) for k in range(16_000))
    begin = time.thread_time()
    areas = common_areas([image, image])
    assert time.thread_time() - begin < 1
    assert [area.size for area in areas] == [7] * MAX_AREAS


def test_boundaries_are_area_ends_round_addresses_and_ends_of_fills() -> None:
    rng = np.random.default_rng(1)
    data = bytearray(rng.integers(1, 255, 0x1000, dtype=np.uint8).tobytes())
    data[0x123:0x223] = b"\xff" * 0x100
    data[0x401:0x411] = b"\0" * 16
    (area,) = common_areas([Image.of([(0x80F0, bytes(data))])] * 2)
    found = {int(p) + 0x80F0 for p in boundaries(area)}
    rounds = set(range(0x8100, 0x90F0, 0x100))
    assert found == rounds | {0x80F0, 0x90F0} | {0x8213, 0x8214, 0x8220, 0x8313}


def test_words_that_differ_are_found_at_even_addresses() -> None:
    before, after = bytearray(64), bytearray(64)
    after[21] = 1
    (area,) = common_areas([Image.of([(0x100, bytes(b))]) for b in (before, after)])
    edges = boundaries(area)
    assert words(area, 1, edges).tolist() == [21]
    assert words(area, 2, edges).tolist() == [20]
    assert words(area, 4, edges).tolist() == [18, 20]
    assert words(area, 8, edges).tolist() == [14, 16, 18, 20]


def test_of_too_many_words_those_standing_alone_are_kept() -> None:
    rng = np.random.default_rng(2)
    before = bytearray(1 << 16)
    after = bytearray(rng.integers(1, 255, 1 << 15, dtype=np.uint8).tobytes()) + bytearray(1 << 15)
    after[0xF000:0xF004] = b"\1\2\3\4"
    (area,) = common_areas([Image.of([(0, bytes(b))]) for b in (before, after)])
    found = words(area, 4, boundaries(area))
    assert len(found) == MAX_WORDS
    assert 0xF000 in found


def test_changes_can_be_narrowed_without_losing_what_the_ranges_hold() -> None:
    images = [Image.of([(0x100, bytes([k]) * 64)]) for k in range(2)]
    (area,) = common_areas(images, [(0x90, 0x102), (0x13E, 0x200)])
    assert np.flatnonzero(area.changed).tolist() == [0, 1, 62, 63]
    assert area.changed_before[-1] == 64
