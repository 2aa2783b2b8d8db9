"""The shop can rely on it that only a picture is shown as one.

The files are built by the words of the standards, in tests/pictures.py.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.readers.picture import Picture, picture_of
from tests.pictures import chunk, jpeg, png


def test_whole_pictures_are_told_with_their_size() -> None:
    assert picture_of(png(31, 17)) == Picture("image/png", 31, 17)
    assert picture_of(jpeg(4032, 3024)) == Picture("image/jpeg", 4032, 3024)
    assert picture_of(jpeg(frame=0xC2)) == Picture("image/jpeg", 640, 480)  # progressive


def test_what_a_camera_puts_behind_its_jpeg_does_not_matter() -> None:
    assert picture_of(jpeg(behind=b"depth map or film")) is not None
    assert picture_of(jpeg().replace(b"\xff\xdb", b"\xff\xff\xdb")) is not None  # fill before a marker, T.81 B.1.1.2


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>",
        b"GIF89a" + bytes(20),
        b"%PDF-1.7",
        b"<html>" + png(),
        png() + b"<script>alert(1)</script>",
        png()[:-1],
        png()[:-12],
        png().replace(b"IDAT", b"IDAX"),
        png().replace(chunk(b"IEND"), chunk(b"IHDR", bytes(13)) + chunk(b"IEND")),
        b"\x89PNG\r\n\x1a\n" + chunk(b"IEND"),
        png(0, 5),
        png(2**31 - 1, 2**31 - 1),
        b"\xff\xd8\xff",
        b"\xff\xd8\xff\xe0<script>alert(1)</script>",
        jpeg()[:-2],
        jpeg(frame=0xC4),
        jpeg(width=0),
        jpeg(65535, 65535),
        jpeg().replace(b"\xff\xdb", b"\xfe\xdb"),
    ],
)
def test_what_only_begins_like_a_picture_or_holds_none_is_not_shown(data: bytes) -> None:
    assert picture_of(data) is None


@given(st.sampled_from([b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"]), st.binary(max_size=300))
def test_no_bytes_break_the_look(begin: bytes, rest: bytes) -> None:
    found = picture_of(begin + rest)
    assert found is None or found.width * found.height > 0


@given(st.sampled_from([png(), jpeg()]), st.data())
def test_no_damage_breaks_the_look_and_a_damaged_png_is_never_shown(whole: bytes, data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(whole) - 1))
    damaged = whole[:at] + bytes((whole[at] ^ data.draw(st.integers(1, 255)),)) + whole[at + 1 :]
    found = picture_of(damaged)
    if whole == png():
        assert found is None
