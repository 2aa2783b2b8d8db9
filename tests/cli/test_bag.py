"""`revledger export` and `take-in` as they are run: from one database to a folder, checked by a reader of our own of
the standard, and into another database."""

import hashlib
import json
import os
import stat
from pathlib import Path

import pytest

from app.record import vehicles
from app.record.verify import verify
from tests.cli.test_commands import Console, session_of
from tests.record.every_row import fill
from tests.shop import Shop


@pytest.fixture
def source(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Console:
    console = Console(tmp_path / "source.db", monkeypatch, capsys)
    assert console.run("verify").code == 0
    with session_of(console) as session:
        fill(Shop(session))
    return console


def other(console: Console) -> Console:
    return Console(console.database.with_name("target.db"), console.patch, console.captured)


def test_a_vehicle_goes_into_a_folder_and_into_another_database(source: Console, tmp_path: Path) -> None:
    folder = tmp_path / "bags" / "car"
    said = source.run("export", "SH 001", str(folder))
    assert said.code == 0, said.error
    listed = dict(reversed(line.split("  ", 1)) for line in (folder / "manifest-sha256.txt").read_text().splitlines())
    present = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    assert {name for name in present if name.startswith("data/")} == set(listed)
    for name, digest in listed.items():
        assert hashlib.sha256(present[name].read_bytes()).hexdigest() == digest
    manifest = hashlib.sha256((folder / "manifest-sha256.txt").read_bytes()).hexdigest()
    assert f"Manifest SHA-256 {manifest}" in said.out

    target = other(source)
    target.patch.setenv("REVLEDGER_DATABASE_URL", f"sqlite:///{target.database}")
    target.add("Mara Quint")
    taken = target.run("take-in", str(folder), "--by", "mara quint", "--json")
    assert taken.code == 0, taken.error
    assert json.loads(taken.out)["vin"] == "U9ZSHP2A5K0000001"
    with session_of(target) as session:
        assert verify(session).clean
        assert vehicles.by_vin(session, "U9ZSHP2A5K0000001") is not None
    again = target.run("take-in", str(folder))
    assert (again.code, again.out) == (1, "")
    assert "on record already" in again.error


def test_nobody_else_on_the_computer_reads_an_exported_bag(source: Console, tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        assert source.run("export", "SH 001", str(tmp_path / "car")).code == 0
    finally:
        os.umask(before)
    made = [tmp_path / "car", *(tmp_path / "car").rglob("*")]
    assert {stat.S_IMODE(one.stat().st_mode) for one in made if one.is_dir()} == {0o700}
    assert {stat.S_IMODE(one.stat().st_mode) for one in made if one.is_file()} == {0o600}


def test_a_damaged_bag_changes_nothing(source: Console, tmp_path: Path) -> None:
    folder = tmp_path / "car"
    source.run("export", "1", str(folder))
    victim = next(iter(sorted((folder / "data" / "content").iterdir())))
    victim.write_bytes(victim.read_bytes() + b"\x00")
    target = other(source)
    target.patch.setenv("REVLEDGER_DATABASE_URL", f"sqlite:///{target.database}")
    said = target.run("take-in", str(folder))
    assert said.code == 1
    assert "was changed: its SHA-256 is not the one in the manifest" in said.error
    assert not target.database.exists()


def test_a_folder_that_is_there_is_left_alone(source: Console, tmp_path: Path) -> None:
    (tmp_path / "kept").mkdir()
    (tmp_path / "kept" / "notes.txt").write_text("mine")
    said = source.run("export", "1", str(tmp_path / "kept"))
    assert said.code == 1
    assert "is there already" in said.error
    assert [path.name for path in (tmp_path / "kept").iterdir()] == ["notes.txt"]


@pytest.mark.parametrize(("vehicle", "sentence"), [("99", "no vehicle 99"), ("nothing", "No vehicle has")])
def test_a_vehicle_that_is_not_there_is_said(source: Console, tmp_path: Path, vehicle: str, sentence: str) -> None:
    said = source.run("export", vehicle, str(tmp_path / "x"))
    assert said.code == 1
    assert sentence in said.error
    assert not (tmp_path / "x").exists()


def test_nobody_of_that_name_takes_nothing_in(source: Console, tmp_path: Path) -> None:
    source.run("export", "1", str(tmp_path / "car"), "--no-customer")
    assert b"Halle" not in (tmp_path / "car" / "data" / "record.json").read_bytes()
    target = other(source)
    target.patch.setenv("REVLEDGER_DATABASE_URL", f"sqlite:///{target.database}")
    said = target.run("take-in", str(tmp_path / "car"), "--by", "Nobody")
    assert (said.code, said.error) == (1, "There is no person called Nobody.\n")
