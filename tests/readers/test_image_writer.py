"""Images written as files."""

import pytest

from app.calc.calibration.image import Image
from app.errors import BadInput, TooLarge
from app.readers.image import read_image, write_image

TWO_PARTS = Image.of([(0x10, b"ab"), (0x14, b"c")])


def test_intel_hex_is_written_to_the_letter() -> None:
    # Worked by hand from the format: 18 bytes across the 64 KiB boundary, records aligned to 16 bytes.
    image = Image.of([(0xFFFE, bytes(range(18)))])
    assert write_image(image, "hex", start_address=0xCD).decode() == (
        ":02FFFE00000100\n"
        ":020000040001F9\n"
        ":1000000002030405060708090A0B0C0D0E0F101158\n"
        ":04000005000000CD2A\n"
        ":00000001FF\n"
    )


def test_s_record_is_written_to_the_letter() -> None:
    # Worked by hand from the format.
    assert write_image(TWO_PARTS, "srec", "HDR", start_address=0x10).decode() == (
        "S00600004844521B\nS105001061" + "6227\nS104001463" + "84\nS5030002FA\nS9030010EC\n"
    )


@pytest.mark.parametrize(
    ("address", "start", "kinds"),
    [
        (0xFFFF, 0, {"S1", "S5", "S9"}),
        (0x10000, 0, {"S2", "S5", "S8"}),
        (0, 0x10000, {"S2", "S5", "S8"}),
        (0xFFFFFF, 0, {"S2", "S5", "S8"}),
        (0x1000000, 0, {"S3", "S5", "S7"}),
        (0xFFFFFFFF, 0, {"S3", "S5", "S7"}),
    ],
)
def test_narrowest_s_record_that_fits_is_used(address: int, start: int, kinds: set[str]) -> None:
    text = write_image(Image.of([(address, b"x")]), "srec", start_address=start)
    assert {line[:2] for line in text.decode().splitlines()} == kinds
    assert read_image(text).start_address == start


def test_many_records_are_counted_in_a_wider_count_record() -> None:
    image = Image.of([(0, bytes(16 * 0x10000))])
    text = write_image(image, "srec")
    assert b"\nS604010000FA\n" in text
    assert read_image(text).image == image


def test_header_survives() -> None:
    assert read_image(write_image(TWO_PARTS, "srec", "Stock, unit 7")).header == "Stock, unit 7"


def test_binary_with_gaps_needs_a_fill_byte() -> None:
    with pytest.raises(BadInput, match="2 separate parts"):
        write_image(TWO_PARTS, "bin")
    assert write_image(TWO_PARTS, "bin", fill=0xFF) == b"ab\xff\xffc"


def test_binary_with_a_huge_gap_is_refused_at_once() -> None:
    with pytest.raises(TooLarge, match="4,294,967,296 bytes"):
        write_image(Image.of([(0, b"a"), (0xFFFF_FFFF, b"b")]), "bin", fill=0)


@pytest.mark.parametrize("file_format", ["hex", "srec"])
def test_addresses_beyond_32_bits_are_refused(file_format: str) -> None:
    with pytest.raises(BadInput, match="32-bit"):
        write_image(Image.of([(0xFFFF_FFFF, b"ab")]), file_format)  # type: ignore[arg-type]  # from parametrize


def test_image_without_bytes_is_refused() -> None:
    with pytest.raises(BadInput, match="no bytes"):
        write_image(Image(()), "hex")
