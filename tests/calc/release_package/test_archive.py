"""The archive of a release package: any program opens it, and the same files give the same bytes."""

import hashlib
import io
import struct
import zipfile
import zlib

from hypothesis import given
from hypothesis import strategies as st

from app.calc.release_package.archive import archive, sha256_sums

names = st.from_regex(r"[A-Za-z0-9_-]{1,12}\.(txt|bin|json)", fullmatch=True)
bags = st.dictionaries(names, st.binary(max_size=200), min_size=1, max_size=5)


@given(bags)
def test_the_archive_gives_back_every_file_and_the_same_files_give_the_same_bytes(files: dict[str, bytes]) -> None:
    made = archive(files)
    assert made == archive(dict(files))
    with zipfile.ZipFile(io.BytesIO(made)) as bag:
        assert bag.testzip() is None
        assert {name: bag.read(name) for name in bag.namelist()} == files


@given(bags)
def test_its_records_are_those_of_the_published_format(files: dict[str, bytes]) -> None:
    """Local headers and end record field by field, after APPNOTE.TXT 6.3.10 (PKWARE), sections 4.3.7 and 4.3.16."""
    made = archive(files)
    at = 0
    for name, data in files.items():
        fields = struct.unpack_from("<IHHHHHIIIHH", made, at)
        signature, _, flags, method, time, date, crc, packed, size, name_length, extra = fields
        assert (signature, flags, method, time, date) == (0x04034B50, 0, 0, 0, 0x0021)  # stored, 1 January 1980
        assert (crc, packed, size, extra) == (zlib.crc32(data), len(data), len(data), 0)
        at += 30
        assert made[at : at + name_length] == name.encode()
        at += name_length
        assert made[at : at + size] == data
        at += size
    end = struct.unpack("<IHHHHIIH", made[-22:])
    assert end[0] == 0x06054B50
    assert end[3:5] == (len(files), len(files))
    assert end[6] == at


@given(bags)
def test_the_sums_are_lines_of_sha256sum(files: dict[str, bytes]) -> None:
    lines = sha256_sums(files).decode().splitlines()
    assert [line.split("  ") for line in lines] == [
        [hashlib.sha256(files[name]).hexdigest(), name] for name in sorted(files)
    ]
