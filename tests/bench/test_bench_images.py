"""Reading, writing and checksums of 4 MiB images, each as a ratio to a named baseline run beside it."""

import binascii
import zlib
from collections.abc import Callable
from typing import Any

import bincopy
import numpy as np
import pytest

from app.calc.calibration.checksum import ALGORITHMS, ChecksumDefinition, evaluate, recompute
from app.calc.calibration.checksum_search import find_checksums
from app.calc.calibration.image import Image
from app.readers.image import read_image, write_image
from tests.bench.timing import medians

BASE, SIZE = 0x8000_0000, 4 << 20


def ratio(benchmark: Any, work: Callable[[], object], baseline: Callable[[], object], name: str) -> float:
    """Time of the work over that of the baseline, noted beside the benchmark."""
    mine, floor = medians(7, work, baseline)
    benchmark.extra_info.update({"baseline": name, "baseline_ms": 1000 * floor, "ratio": mine / floor})
    benchmark.pedantic(work, rounds=3)
    return mine / floor


@pytest.fixture(scope="module")
def image() -> Image:
    return Image.of([(BASE, np.random.default_rng(1).bytes(SIZE))])


@pytest.mark.parametrize("file_format", ["hex", "srec"])
def test_text_reads_near_the_speed_of_turning_its_digits_into_bytes(
    benchmark: Any, image: Image, file_format: Any
) -> None:
    text = write_image(image, file_format)
    digits = text.translate(None, b":S\n")
    digits = digits[: len(digits) // 2 * 2]
    assert read_image(text).image == image
    assert ratio(benchmark, lambda: read_image(text), lambda: binascii.unhexlify(digits), "unhexlify") < 60


@pytest.mark.parametrize("file_format", ["hex", "srec"])
def test_text_reads_several_times_faster_than_with_a_general_reader(benchmark: Any, file_format: Any) -> None:
    part = Image.of([(BASE, np.random.default_rng(2).bytes(1 << 18))])
    text = write_image(part, file_format)

    def general() -> None:
        bincopy.BinFile().add(text.decode("ascii"))

    assert ratio(benchmark, lambda: read_image(text), general, "bincopy") < 0.25


@pytest.mark.parametrize("file_format", ["hex", "srec"])
def test_text_is_written_near_the_speed_of_turning_bytes_into_digits(
    benchmark: Any, image: Image, file_format: Any
) -> None:
    hexlify = lambda: binascii.hexlify(image.payload)  # noqa: E731  # a name for the baseline
    assert ratio(benchmark, lambda: write_image(image, file_format), hexlify, "hexlify") < 40


def test_a_checksum_costs_what_its_algorithm_costs(benchmark: Any, image: Image) -> None:
    definition = ChecksumDefinition("block", "CRC-32/ISO-HDLC", ((BASE, BASE + SIZE - 4),), BASE + SIZE - 4)
    crc = lambda: zlib.crc32(image.payload)  # noqa: E731  # a name for the baseline
    assert ratio(benchmark, lambda: evaluate(image, definition), crc, "zlib.crc32") < 4


def test_a_search_costs_a_few_passes_of_every_algorithm(benchmark: Any, image: Image) -> None:
    rng = np.random.default_rng(3)
    definition = ChecksumDefinition("block", "CRC-32/ISO-HDLC", ((BASE, BASE + SIZE // 2),), BASE + SIZE - 16)
    images = []
    for _ in range(4):
        edits = [(BASE + int(at), rng.bytes(64)) for at in rng.integers(0, SIZE - 64, 60)]
        images.append(recompute(image.patched(edits), definition))

    def every_algorithm() -> None:
        for model in ALGORITHMS.values():
            for one in images:
                model.compute(one.payload)

    mine, floor = medians(1, lambda: find_checksums(images), every_algorithm)
    benchmark.extra_info.update({"baseline": "every algorithm once over every image", "ratio": mine / floor})
    first = benchmark.pedantic(find_checksums, (images,), rounds=1)[0].definition
    assert (first.algorithm, first.ranges) == (definition.algorithm, definition.ranges)
    assert mine / floor < 15
