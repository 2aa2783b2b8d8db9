"""Bags after RFC 8493: what is written is complete and valid, and no trick gets a byte from outside."""

import hashlib
import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.errors import AppError, BadInput, Damaged, TooLarge
from app.readers.bagit import manifest, open_bag, parse_manifest, tag_files

FILES = {"data/record.json": b'{"a": 1}\n', "data/content/" + "0" * 64: b"\x00\x01\x02"}


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


@pytest.fixture
def bag(tmp_path: Path) -> Path:
    folder = tmp_path / "bag"
    for name, data in FILES.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)
    payload = {name: digest(data) for name, data in FILES.items()}
    for name, data in tag_files(payload, sum(map(len, FILES.values())), {"External-Identifier": "x\nBad: y"}).items():
        (folder / name).write_bytes(data)
    return folder


def test_the_tag_files_are_those_of_the_standard(bag: Path) -> None:
    """RFC 8493, 2.1.1 (declaration), 2.1.3 (manifest), 2.2.1 (tag manifest), 2.2.2 (bag-info, Payload-Oxum)."""
    assert (bag / "bagit.txt").read_bytes() == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n"
    lines = (bag / "manifest-sha256.txt").read_text().splitlines()
    assert [line.split("  ", 1) for line in lines] == [[digest(FILES[name]), name] for name in sorted(FILES)]
    info = (bag / "bag-info.txt").read_text().splitlines()
    assert "Payload-Oxum: 12.2" in info
    assert "External-Identifier: x Bad: y" in info
    tags = dict(reversed(line.split("  ", 1)) for line in (bag / "tagmanifest-sha256.txt").read_text().splitlines())
    assert tags == {
        name: digest((bag / name).read_bytes()) for name in ("bagit.txt", "bag-info.txt", "manifest-sha256.txt")
    }


def test_a_whole_bag_opens_and_gives_its_files(bag: Path) -> None:
    found = open_bag(bag)
    assert {name: found.read(name, 100) for name in found.payload} == FILES
    with pytest.raises(TooLarge):
        found.read("data/record.json", 3)
    with pytest.raises(BadInput):
        found.read("../outside", 100)


def test_a_file_that_changes_after_the_check_is_noticed(bag: Path) -> None:
    found = open_bag(bag)
    (bag / "data/record.json").write_bytes(b'{"a": 2}\n')
    with pytest.raises(Damaged, match="changed while"):
        found.read("data/record.json", 100)


def test_manifests_of_other_writers_are_read() -> None:
    """Line ends, tabs and upper-case digits that RFC 8493 allows; the first name is that of its example bag."""
    one, two = "AB" * 32, "cd" * 32
    text = f"{one} data/27613-h/images/q172.png\r\n{two}\tdata/with%0Abreak and 100%25.txt\r".encode()
    with pytest.raises(BadInput):  # a line feed in a name is legal in a bag and refused here, where no file needs one
        parse_manifest(text, "manifest-sha256.txt")
    found = parse_manifest(text.replace(b"%0Abreak", b" break"), "manifest-sha256.txt")
    assert found == {"data/27613-h/images/q172.png": one.lower(), "data/with break and 100%.txt": two}


@pytest.mark.parametrize(
    "name",
    [
        "../etc/passwd", "data/../../x", "/etc/passwd", "~/x", "data//x", "data/./x", "data\\x", "C:/x", "data/",
        "data/\x00", "data/%0Ax", "..", "data/x/..",
    ],
)  # fmt: skip
def test_names_that_leave_the_bag_are_refused(bag: Path, name: str) -> None:
    with (bag / "manifest-sha256.txt").open("a") as file:
        file.write(f"{'0' * 64}  {name}\n")
    with pytest.raises(BadInput):
        open_bag(bag)


def test_links_are_refused_whatever_they_point_at(bag: Path, tmp_path: Path) -> None:
    (tmp_path / "secret").write_text("secret")
    target = bag / "data/record.json"
    target.unlink()
    target.symlink_to(tmp_path / "secret")
    with pytest.raises(BadInput, match="link"):
        open_bag(bag)


def test_a_folder_that_is_a_link_is_refused(bag: Path, tmp_path: Path) -> None:
    (bag / "data/more").symlink_to(tmp_path)
    with pytest.raises(BadInput, match="link"):
        open_bag(bag)


def test_a_pipe_in_the_bag_is_refused_and_not_waited_for(bag: Path) -> None:
    os.mkfifo(bag / "data/pipe")
    with pytest.raises(BadInput, match="no plain file"):
        open_bag(bag)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda bag: (bag / "data/record.json").write_bytes(b"{}"), "was changed"),
        (lambda bag: (bag / "data/record.json").unlink(), "is missing"),
        (lambda bag: (bag / "data/extra").write_bytes(b"x"), "in no manifest"),
        (lambda bag: (bag / "manifest-sha256.txt").write_bytes(b""), "in no manifest"),
        (lambda bag: (bag / "bag-info.txt").write_bytes(b"A: b\n"), "was changed"),
        (lambda bag: (bag / "bag-info.txt").unlink(), "is missing"),
        (lambda bag: (bag / "tagmanifest-sha256.txt").unlink(), "has no tagmanifest"),
        (lambda bag: (bag / "tagmanifest-sha256.txt").write_bytes(b""), "not in the manifest of the tag files"),
        (lambda bag: (bag / "bagit.txt").write_bytes(b"BagIt-Version: 2.0\n"), "does not declare"),
        (lambda bag: (bag / "fetch.txt").write_bytes(b"http://x.example/ - data/x\n"), "fetched from elsewhere"),
    ],
)
def test_a_damaged_bag_is_refused_with_what_is_wrong(bag: Path, change: object, sentence: str) -> None:
    change(bag)  # type: ignore[operator]  # one of the changes above
    with pytest.raises(AppError, match=sentence):
        open_bag(bag)


def test_no_folder_is_no_bag(tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        open_bag(tmp_path / "absent")
    with pytest.raises(BadInput, match="no bag"):
        open_bag(tmp_path)


names = st.lists(
    st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"], exclude_characters="/\\~:"), min_size=1)
    .filter(lambda part: part not in (".", "..") and part == part.strip()),
    min_size=1,
    max_size=3,
).map("/".join)  # fmt: skip


@given(st.dictionaries(names.map(lambda name: f"data/{name}"), st.binary().map(digest), max_size=5))
def test_a_manifest_gives_back_what_was_written(payload: dict[str, str]) -> None:
    assert parse_manifest(manifest(payload), "manifest-sha256.txt") == payload


@given(st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda t: ("0" * 64 + "  " + t).encode())))
def test_whatever_a_manifest_holds_no_name_leads_out(data: bytes) -> None:
    try:
        found = parse_manifest(data, "manifest-sha256.txt")
    except BadInput:
        return
    for name in found:
        assert not Path(name).is_absolute()
        assert ".." not in name.split("/")
        assert os.path.normpath(name) == name
