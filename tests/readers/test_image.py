"""Images by content: whole files read, damaged files refused with line, expected and found."""

import json
import time
import tracemalloc
from pathlib import Path

import bincopy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.calc.calibration.image import Image
from app.errors import BadInput, TooLarge
from app.readers.image import MAX_BYTES, detect, read_image, write_image
from app.readers.records import MAX_LINES, MAX_SEGMENTS

GOLDEN = Path(__file__).parents[1] / "golden" / "images"
WHOLE = json.loads((GOLDEN / "whole.json").read_text(encoding="utf-8"))
MALFORMED = json.loads((GOLDEN / "malformed.json").read_text(encoding="utf-8"))


def hex_record(kind: int, offset: int, data: bytes) -> bytes:
    body = bytes([len(data)]) + offset.to_bytes(2) + bytes([kind]) + data
    return b":" + (body + bytes([-sum(body) % 256])).hex().upper().encode() + b"\n"


END = b":00000001FF\n"


def pieces(image: Image) -> list[tuple[int, bytes]]:
    return [(s.address, s.data) for s in image.segments]


@pytest.mark.parametrize("case", WHOLE, ids=lambda c: c["file"])
def test_whole_file_reads_to_its_segments_as_in_a_second_reader(case: dict[str, object]) -> None:
    data = (GOLDEN / "whole" / str(case["file"])).read_bytes()
    read = read_image(data)
    assert [[hex(a), d.hex().upper()] for a, d in pieces(read.image)] == case["segments"]
    assert (None if read.start_address is None else hex(read.start_address)) == case["start_address"]
    # Outside source: bincopy 20.1 reads the same segments (it refuses the 0x1A, which is cut off for it).
    assert pieces(read.image) == [(s.address, bytes(s.data)) for s in second_reader(data).segments]


def second_reader(data: bytes) -> bincopy.BinFile:
    lines = [line for line in data.removesuffix(b"\x1a").decode("ascii").splitlines() if line]
    other = bincopy.BinFile()
    other.add("\n".join(lines))
    return other


@pytest.mark.parametrize("case", MALFORMED, ids=lambda c: c["file"])
def test_malformed_file_is_refused_with_line_expected_and_found(case: dict[str, str]) -> None:
    with pytest.raises(BadInput) as caught:
        read_image((GOLDEN / "malformed" / case["file"]).read_bytes())
    assert caught.value.where == case["where"]
    assert caught.value.sentence.startswith(f"Expected {case['expected']}, found {case['found']};")


def test_every_golden_file_has_an_expectation() -> None:
    assert {p.name for p in (GOLDEN / "malformed").iterdir()} == {c["file"] for c in MALFORMED}
    assert {p.name for p in (GOLDEN / "whole").iterdir()} == {c["file"] for c in WHOLE}


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"\x00\x01\x02", "binary"),
        (bytes(range(256)), "binary"),
        (b":\x00\xff\x80 not text", "binary"),
        (b"S1\x00\xff\x80", "binary"),
        (b"hello world", "binary"),
        (b":00000001FF", "Intel HEX"),
        (b"\r\n\r\n:00000001FF", "Intel HEX"),
        (b":zz", "Intel HEX"),
        (b"; exported by the bench\n:00000001FF\n", "Intel HEX"),
        (b"\xef\xbb\xbf:00000001FF\n", "Intel HEX"),
        (":00000001FF\n".encode("utf-16"), "Intel HEX"),
        (b"20A0\n:108020", "Intel HEX"),
        (b"\xff" * 9000 + b"\n:00000001FF\n", "Intel HEX"),
        (b"\xff" * 9000 + b"\n:00000001FF\n" + b"\xff" * 9000, "binary"),
        (b"S9030000FC", "S-record"),
        (b"s107010001020304ED", "S-record"),
        (b"S1 broken", "S-record"),
        (b"garbage\rS9030000FC", "S-record"),
    ],
)
def test_format_is_told_from_the_content(data: bytes, expected: str) -> None:
    assert detect(data) == expected


@pytest.mark.parametrize("text", [b"\xef\xbb\xbf" + END, END.decode().encode("utf-16"), b"; note\n" + END])
def test_records_behind_something_else_are_never_taken_for_a_binary(text: bytes) -> None:
    with pytest.raises(BadInput, match="Expected “:” at the start of the Intel HEX record") as caught:
        read_image(text)
    assert caught.value.where == "line 1"


def test_binary_lies_at_the_base_address_and_printable_text_is_pointed_out() -> None:
    read = read_image(b"\x00\x01", base_address=0x8000)
    assert (read.format, pieces(read.image), read.notes) == ("binary", [(0x8000, b"\x00\x01")], ())
    assert "printable text" in read_image(b"just words").notes[0]


def test_base_address_is_said_to_be_unused_where_the_file_has_addresses() -> None:
    read = read_image(hex_record(0, 0x10, b"ab") + END, base_address=0x8000)
    assert pieces(read.image) == [(0x10, b"ab")]
    assert "base address given was not used" in read.notes[0]


def test_negative_base_address_is_refused() -> None:
    with pytest.raises(BadInput) as caught:
        read_image(b"\x00", base_address=-1)
    assert caught.value.field == "base_address"


def test_blank_lines_count_for_line_numbers_and_are_noted() -> None:
    good = hex_record(0, 0, b"a")
    assert "2 blank lines" in read_image(good + b"\n\n" + END + b"\n\n").notes[0]
    with pytest.raises(BadInput) as caught:
        read_image(good + b"\n\r\n" + b":00000001FE\n" + END)
    assert caught.value.where == "line 4"


@pytest.mark.parametrize("data", [b":00000001FF\n\x1a\x1a", b":0100000061\x1a9E\n:00000001FF"])
def test_more_than_one_end_of_text_mark_or_one_elsewhere_is_refused(data: bytes) -> None:
    with pytest.raises(BadInput):
        read_image(data)


@pytest.mark.parametrize("ending", [b"\n", b"\r\n", b"\r"])
def test_every_line_ending_reads_alike(ending: bytes) -> None:
    text = (hex_record(0, 0, b"abc") + END).replace(b"\n", ending)
    assert pieces(read_image(text).image) == [(0, b"abc")]


def test_first_faulty_line_is_named_when_a_later_one_cannot_be_decoded() -> None:
    bad_sum = hex_record(0, 0, b"a")[:-3] + b"00\n"
    with pytest.raises(BadInput) as caught:
        read_image(hex_record(0, 4, b"a") + bad_sum + b":zz\n" + END)
    assert caught.value.where == "line 2"


def test_address_gap_costs_nothing() -> None:
    text = hex_record(0, 0, b"a") + hex_record(4, 0, b"\xff\xff") + hex_record(0, 0xFFFF, b"z") + END
    assert len(text) < 75
    tracemalloc.start()
    read = read_image(text)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert pieces(read.image) == [(0, b"a"), (0xFFFF_FFFF, b"z")]
    assert peak < 1_000_000


def test_one_million_scattered_records_are_refused_within_a_second() -> None:
    page = b"".join(hex_record(0, 60 * k, b"x") for k in range(1000))
    text = b"".join(hex_record(4, 0, k.to_bytes(2)) + page for k in range(1000)) + END
    begin = time.thread_time()
    with pytest.raises(TooLarge, match=f"1,000,000 separate places, more than {MAX_SEGMENTS:,}"):
        read_image(text)
    assert time.thread_time() - begin < 1


def test_scattered_records_up_to_the_limit_are_read() -> None:
    page = b"".join(hex_record(0, 8 * k, b"x") for k in range(8192))
    text = page + hex_record(4, 0, b"\x00\x09") + page + END
    assert len(read_image(text).image.segments) == MAX_SEGMENTS


def test_records_in_falling_order_join_to_one_segment() -> None:
    data = bytes(k * 7 % 256 for k in range(4096))
    records = [hex_record(0, k, data[k : k + 16]) for k in range(0, 4096, 16)]
    assert pieces(read_image(b"".join(reversed(records)) + END).image) == [(0, data)]


def test_overlap_hidden_in_the_middle_of_a_run_names_both_lines() -> None:
    text = b"".join(hex_record(0, 4 * k, bytes(4)) for k in range(8)) + hex_record(0, 18, b"x") + END
    with pytest.raises(BadInput, match="0x12 given by line 5 and again by line 9") as caught:
        read_image(text)
    assert caught.value.where == "line 9"


def test_sizes_beyond_the_limits_are_refused() -> None:
    with pytest.raises(TooLarge, match="67,108,865 bytes"):
        read_image(bytes(MAX_BYTES + 1))
    with pytest.raises(TooLarge, match="lines"):
        read_image(END + b":\n" * MAX_LINES)
    with pytest.raises(BadInput, match="found 1,000,000;"):
        read_image(b":" + b"0" * 1_000_000)


images = st.lists(st.tuples(st.integers(0, 5000), st.binary(min_size=1, max_size=70)), min_size=1, max_size=5).map(
    lambda parts: Image.of([(a + 100_000 * k, d) for k, (a, d) in enumerate(parts)])
)


@given(images, st.sampled_from(["hex", "srec"]), st.integers(0, 3))
def test_what_is_written_reads_back_the_same(image: Image, file_format: str, shift: int) -> None:
    moved = Image.of((s.address + shift * 0x3FF0_0000, s.data) for s in image.segments)
    assert read_image(write_image(moved, file_format)).image == moved  # type: ignore[arg-type]  # from sampled_from


@given(st.binary(min_size=1, max_size=300).filter(lambda b: detect(b) == "binary"), st.integers(0, 1 << 40))
def test_binary_reads_back_the_same(data: bytes, base: int) -> None:
    image = Image.of([(base, data)])
    assert read_image(write_image(image, "bin"), base_address=base).image == image


@given(images, st.sampled_from(["hex", "srec"]))
def test_what_is_written_reads_the_same_in_a_second_reader(image: Image, file_format: str) -> None:
    # Outside source: bincopy 20.1.
    other = second_reader(write_image(image, file_format))  # type: ignore[arg-type]  # from sampled_from
    assert [(s.address, bytes(s.data)) for s in other.segments] == pieces(image)


@given(images, st.sampled_from(["ihex", "srec"]), st.integers(1, 64))
def test_files_of_a_second_writer_read_the_same(image: Image, file_format: str, record_bytes: int) -> None:
    # Outside source: bincopy 20.1, records of every length.
    other = bincopy.BinFile()
    for address, data in pieces(image):
        other.add_binary(data, address=address)
    other.execution_start_address = 0x1234
    text = other.as_ihex(record_bytes) if file_format == "ihex" else other.as_srec(record_bytes, 32)
    read = read_image(text.encode("ascii"))
    assert read.image == image
    assert read.start_address == 0x1234
