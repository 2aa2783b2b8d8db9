"""Intel HEX records."""

import pytest

from app.errors import BadInput
from app.readers.image import read_image
from app.readers.intel_hex import explain

END = b"\n:00000001FF\n"

# Published examples: record, address, data.
PUBLISHED = [
    # encyclopaedia article on the format, from memory
    (":10010000214601360121470136007EFE09D2190140", 0x0100, "214601360121470136007EFE09D21901"),
    # C Users Journal 7.04, file V7N4028A.TXT
    (":04FEDC00210080CFB2", 0xFEDC, "210080CF"),
    # manual of a free 8051 assembler, appendix on the format (TU Chemnitz)
    (":10E0000002E003E4F588758910F58DF58BD28E302A", 0xE000, "02E003E4F588758910F58DF58BD28E30"),
]


@pytest.mark.parametrize(("record", "address", "data"), PUBLISHED)
def test_published_record_reads_to_its_bytes(record: str, address: int, data: str) -> None:
    (segment,) = read_image(record.encode() + END).image.segments
    assert (segment.address, segment.data.hex().upper()) == (address, data)


@pytest.mark.parametrize(("record", "address", "data"), PUBLISHED)
def test_every_single_changed_digit_of_a_published_record_is_refused(record: str, address: int, data: str) -> None:
    # One changed digit always changes the sum of the bytes modulo 256.
    for k in range(1, len(record)):
        for digit in "0123456789ABCDEF":
            if digit != record[k]:
                with pytest.raises(BadInput) as caught:
                    read_image((record[:k] + digit + record[k + 1 :]).encode() + END)
                assert caught.value.where == "line 1"


@pytest.mark.parametrize(
    ("records", "address"),
    [
        (":02000004CAFE32", 0xCAFE0000),  # seen in a debugger vendor's support article
        (":020000021200EA", 0x12000),  # encyclopaedia, from memory
        (":020000021200EA\n:02000004FFFFFC", 0xFFFF0000),  # the last one counts
        (":02000004FFFFFC\n:020000021200EA", 0x12000),
    ],
)
def test_address_base_is_the_last_one_set(records: str, address: int) -> None:
    (segment,) = read_image(records.encode() + b"\n:01000000619E" + END).image.segments
    assert segment.address == address


def test_start_records_give_the_start_address() -> None:
    # encyclopaedia examples, from memory: CS:IP = 0000:3800 and EIP = CD
    data = b":01000000619E\n"
    assert read_image(data + b":0400000300003800C1" + END).start_address == 0x3800
    assert read_image(data + b":04000005000000CD2A" + END).start_address == 0xCD
    assert read_image(data + END).start_address is None


def test_the_end_record_may_carry_the_old_start_offset() -> None:
    # In 8-bit files of the 1970s the end record's address is the start; it is no fault.
    assert read_image(b":01000000619E\n:00123401B9\n").image.size == 1


def test_data_record_without_data_is_no_fault() -> None:
    assert read_image(b":0000000000\n:01000000619E" + END).image.size == 1


@pytest.mark.parametrize(
    ("line", "expected", "found"),
    [
        (b":", "at least 10 hex digits in the Intel HEX record", "0"),
        (b":00", "at least 10 hex digits in the Intel HEX record", "2"),
        (b":01 0000619E", "a hex digit in column 4", "“ ”"),
        (b":01000000619E ", "a hex digit in column 14", "“ ”"),
        (b"::01000000619E", "a hex digit in column 2", "“:”"),
        ("é".encode() + b":", "“:” at the start of the Intel HEX record", "“\\xc3\\xa9:”"),
    ],
)
def test_fault_is_explained(line: bytes, expected: str, found: str) -> None:
    assert explain(line) == (expected, found)
    with pytest.raises(BadInput) as caught:
        read_image(b":01000000619E\n" + line + END)
    assert caught.value.sentence.startswith(f"Expected {expected}, found {found};")
