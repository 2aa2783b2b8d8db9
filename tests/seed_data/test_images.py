"""The shop can rely on it that the invented images are such as control units hold."""

import zlib
from collections import Counter
from collections.abc import Callable
from math import log2

import anycrc
import bincopy
import pytest

from seed_data import catalogue
from seed_data.image_build import ImageMaker
from seed_data.software import Software

SOFTWARES: tuple[Callable[[], Software], ...] = (
    catalogue.astrel_engine,
    catalogue.lanner_engine,
    catalogue.hauler_engine,
    catalogue.sirrus_engine,
    catalogue.sirrus_drive,
    catalogue.warder_engine,
    catalogue.warder_transmission,
    catalogue.piper_engine,
)
each_software = pytest.mark.parametrize("make", SOFTWARES, ids=lambda make: make.__name__)


def reference(algorithm: str, data: bytes, order: str) -> int:
    """Another implementation of each algorithm: zlib, anycrc (CRC catalogue), or the sum written out."""
    if algorithm == "CRC-32/ISO-HDLC":
        return zlib.crc32(data)
    if algorithm == "CRC-16/IBM-3740":
        return int(anycrc.Model("CRC16-IBM-3740").calc(data))
    if algorithm == "SUM-16/8-BIT":
        return sum(data) % 0x10000
    words = [data[k : k + 4] if order == "big" else data[k : k + 4][::-1] for k in range(0, len(data), 4)]
    total = sum(int(word.hex(), 16) for word in words) % 2**32
    return total if algorithm == "SUM-32/32-BIT" else (2**32 - total) % 2**32


def sums_that_fail(software: Software, image: bytes) -> list[str]:
    failed = []
    for block in software.sums:
        size = 2 if "16" in block.algorithm.split("/")[0] else 4
        stored = int.from_bytes(image[block.stored_at : block.stored_at + size], software.order)
        if stored != reference(block.algorithm, image[block.start : block.end], software.order):
            failed.append(block.name)
    return failed


@each_software
def test_block_checksums_hold_by_another_implementation(make: Callable[[], Software]) -> None:
    software = make()
    assert sums_that_fail(software, ImageMaker(software).stock) == []


def test_three_kinds_of_checksum_and_both_byte_orders_occur() -> None:
    algorithms = {block.algorithm for make in SOFTWARES for block in make().sums}
    assert {name.split("-")[0] for name in algorithms} == {"CRC", "SUM"}
    assert {"CRC-32/ISO-HDLC", "CRC-16/IBM-3740", "SUM-16/8-BIT"} <= algorithms
    assert {make().order for make in SOFTWARES} == {"big", "little"}


def test_one_image_alone_was_exported_with_a_wrong_checksum(files: dict[str, bytes]) -> None:
    software = catalogue.warder_transmission()
    assert sums_that_fail(software, files["brennick_warder/warder-transmission-r1.bin"]) == ["calibration"]
    assert sums_that_fail(software, files["brennick_warder/warder-transmission-r2.bin"]) == []
    for name in (f"corvane_astrel/astrel-engine-r{k}.bin" for k in range(1, 6)):
        assert sums_that_fail(catalogue.astrel_engine(), files[name]) == []
    assert sums_that_fail(catalogue.hauler_engine(), files["ondrake_hauler/hauler-engine-r1.bin"]) == []


@each_software
def test_sizes_program_and_empty_flash_are_those_of_real_units(make: Callable[[], Software]) -> None:
    software = make()
    image = ImageMaker(software).stock
    assert 512 * 1024 <= len(image) <= 4 * 1024 * 1024
    counts = Counter(image[software.boot_end : software.code_end])
    program = software.code_end - software.boot_end
    entropy = -sum(n / program * log2(n / program) for n in counts.values())
    assert 6.5 < entropy < 7.99
    empty = image[software.code_end : software.calibration]
    assert empty == b"\xff" * len(empty)
    assert software.software_number.encode() in image
    assert software.calibration_id.encode() in image


def test_hex_and_s_record_files_hold_the_image_by_another_reader(files: dict[str, bytes]) -> None:
    for name, make in (
        ("tarkess_lanner/lanner-engine-read-1.hex", catalogue.lanner_engine),
        ("velmora_sirrus/sirrus-engine-read-1.s19", catalogue.sirrus_engine),
        ("velmora_sirrus/sirrus-drive-read-2.hex", catalogue.sirrus_drive),
        ("fenmark_piper/piper-engine-read-1.s19", catalogue.piper_engine),
    ):
        software, read = make(), bincopy.BinFile()
        text = files[name].decode("ascii")
        if name.endswith("hex"):
            read.add_ihex(text)
        else:
            read.add_srec(text)
        assert read.minimum_address == software.base
        assert read.as_binary() == ImageMaker(software).stock


def test_reads_agree_and_read_backs_equal_what_was_written(files: dict[str, bytes]) -> None:
    for name, content in files.items():
        if "-read-1." in name:
            assert files[name.replace("-read-1.", "-read-2.")] == content
        if "-read-back." in name and "-stock-" not in name:
            assert files[name.replace("-read-back", "")] == content


def test_the_restored_unit_differs_from_stock_only_where_it_learns(files: dict[str, bytes]) -> None:
    software = catalogue.lanner_engine()
    read = bincopy.BinFile()
    read.add_ihex(files["tarkess_lanner/lanner-engine-stock-read-back.hex"].decode("ascii"))
    stock = ImageMaker(software).stock
    differing = [k for k, (a, b) in enumerate(zip(read.as_binary(), stock, strict=True)) if a != b]
    assert differing
    assert software.adaptation[0] <= differing[0]
    assert differing[-1] < software.adaptation[1]


def test_the_sister_car_has_the_same_stock_and_the_released_tables(files: dict[str, bytes]) -> None:
    assert files["corvane_estate/astrel-engine-read-1.bin"] == files["corvane_astrel/astrel-engine-read-1.bin"]
    assert files["corvane_estate/estate-engine-r1.bin"] == files["corvane_astrel/astrel-engine-r4.bin"]
