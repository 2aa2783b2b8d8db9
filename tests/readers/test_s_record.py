"""S-records."""

import pytest

from app.errors import BadInput
from app.readers.image import read_image
from app.readers.s_record import explain

# Published examples: record, address, data (None: the hex digits between address and checksum).
PUBLISHED = [
    # C Users Journal 7.04, file V7N4028A.TXT
    ("S107FEDC210080CFAE", 0xFEDC, "210080CF"),
    # M68000 Family Programmer's Reference Manual, appendix C, from memory
    ("S1130000285F245F2212226A000424290008237C2A", 0, "285F245F2212226A000424290008237C"),
    ("S107003000144ED492", 0x30, "00144ED4"),
    # encyclopaedia article on the format, from memory
    ("S11F001C4BFFFFE5398000007D83637880010014382100107C0803A64E800020E9", 0x1C, None),
    ("S111003848656C6C6F20776F726C642E0A0042", 0x38, b"Hello world.\n\0".hex().upper()),
]
END = b"\nS9030000FC\n"


@pytest.mark.parametrize(("record", "address", "data"), PUBLISHED)
def test_published_record_reads_to_its_bytes(record: str, address: int, data: str | None) -> None:
    (segment,) = read_image(record.encode() + END).image.segments
    assert (segment.address, segment.data.hex().upper()) == (address, data or record[8:-2])


@pytest.mark.parametrize(("record", "address", "data"), PUBLISHED)
def test_every_single_changed_digit_of_a_published_record_is_refused(
    record: str, address: int, data: str | None
) -> None:
    for k in range(2, len(record)):
        for digit in "0123456789ABCDEF":
            if digit != record[k]:
                with pytest.raises(BadInput) as caught:
                    read_image((record[:k] + digit + record[k + 1 :]).encode() + END)
                assert caught.value.where == "line 1"


def test_header_text_and_start_address_are_read() -> None:
    # encyclopaedia example, from memory: header "hello     " with two zero bytes
    text = b"S00F000068656C6C6F202020202000003C\nS107003000144ED492\nS5030001FB\nS9030030CC\n"
    read = read_image(text)
    assert (read.format, read.header, read.start_address) == ("S-record", "hello     ", 0x30)


def test_control_characters_of_a_header_are_not_passed_on() -> None:
    assert read_image(b"S00600003C1B0A98\nS107003000144ED492" + END).header == "<··"


def test_records_of_different_widths_are_closed_by_the_widest() -> None:
    both = b"S10400000AF1\nS2050100000BEE\n"
    assert read_image(both + b"S804000000FB\n").image.spans == ((0, 1), (0x10000, 1))
    with pytest.raises(BadInput, match="Expected S8 to end S2 data, found S9"):
        read_image(both + b"S9030000FC\n")


def test_count_record_counts_what_stands_before_it() -> None:
    data = b"S107003000144ED492\n"
    assert read_image(data + b"S5030001FB\n" + b"S107004000144ED482" + END).image.size == 8
    with pytest.raises(BadInput, match="Expected 1 data record before the S5 record as it says, found 0"):
        read_image(b"S5030001FB\n" + data + END)


@pytest.mark.parametrize(
    ("line", "expected", "found"),
    [
        (b"S", "at least 8 hex digits in the S-record", "0"),
        (b"SX03000000", "a record type S0 to S3 or S5 to S9", "SX"),
        (b"S30400000FB", "an even number of hex digits in the S-record", "9"),
        (b"S304000000FB", "4 address bytes in an S3 record", "3"),
        (b"S50500010000F9", "no data in an S5 record", "2 bytes"),
        (b"S105FFFF0102F9", "the data to end at FFFF or before", "2 bytes from FFFF on"),
    ],
)
def test_fault_is_explained(line: bytes, expected: str, found: str) -> None:
    with pytest.raises(BadInput) as caught:
        read_image(b"S107003000144ED492\n" + line + END)
    assert caught.value.where == "line 2"
    assert (expected, found) == explain(line, 1, 1)
    assert caught.value.sentence.startswith(f"Expected {expected}, found {found};")
