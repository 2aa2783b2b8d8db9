"""A backup holds the whole record and comes back whole, also over a database that nobody can read any more."""

import re
import stat
from pathlib import Path

import pytest

from tests.cli.test_commands import Console


@pytest.fixture
def console(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Console:
    made = Console(tmp_path / "revledger.db", monkeypatch, capsys)
    made.add("Mara Quint")
    return made


@pytest.fixture
def backup(console: Console, tmp_path: Path) -> Path:
    """Taken when Mara Quint alone was on record."""
    folder = tmp_path / "backups"
    folder.mkdir()
    assert console.run("backup", str(folder)).code == 0
    (file,) = folder.iterdir()
    return file


def names(console: Console) -> str:
    """Who is on record, told by whose token can be made."""
    known = [
        name for name in ("Mara Quint", "Tom Vale") if console.run("token", "create", name, "--label", "x").code == 0
    ]
    return ", ".join(known)


def test_a_backup_carries_the_journals_head_in_its_name(console: Console, backup: Path) -> None:
    found = re.fullmatch(r"revledger-\d{8}T\d{6}Z-(1-[0-9a-f]{16})\.db", backup.name)
    assert found is not None
    assert console.run("verify", "--anchor", found[1]).code == 0


def test_database_and_backup_are_for_their_owner_alone(console: Console, backup: Path) -> None:
    for file in (console.database, backup):
        assert stat.S_IMODE(file.stat().st_mode) == 0o600


@pytest.mark.parametrize("place", ["none/backup.db", "backups/none/backup.db"])
def test_a_backup_that_cannot_be_written_is_told_as_such(console: Console, tmp_path: Path, place: str) -> None:
    failed = console.run("backup", str(tmp_path / place))
    assert failed.code == 1
    assert failed.error.startswith(f"{tmp_path / place} cannot be written (")
    assert len(failed.error.splitlines()) == 1


def test_a_recovered_backup_is_the_record_again_and_todays_database_is_kept(console: Console, backup: Path) -> None:
    console.add("Tom Vale")
    today = console.database.read_bytes()
    done = console.run("recover", str(backup))
    assert (done.code, done.error) == (0, "")
    kept = re.search(r"is kept in (\S+)\.\n", done.out)
    assert kept is not None
    assert Path(kept[1]).read_bytes() == today
    assert names(console) == "Mara Quint"


@pytest.mark.parametrize("damaged", [b"", b"This is no database.\n" * 400])
def test_a_backup_takes_the_place_of_a_database_that_cannot_be_read(
    console: Console, backup: Path, damaged: bytes
) -> None:
    console.database.write_bytes(damaged)
    assert console.run("recover", str(backup)).code == 0
    assert console.run("verify").code == 0
    assert names(console) == "Mara Quint"


def test_a_backup_that_does_not_hold_changes_nothing(console: Console, backup: Path) -> None:
    console.add("Tom Vale")
    data = backup.read_bytes()
    backup.write_bytes(data.replace(b"Mara Quint", b"Nora Quint"))
    failed = console.run("recover", str(backup))
    assert failed.code == 1
    assert failed.error.startswith("The backup does not hold, so nothing was changed.\n")
    assert names(console) == "Mara Quint, Tom Vale"
    backup.write_bytes(b"no database")
    assert console.run("recover", str(backup)).code == 1
    assert names(console) == "Mara Quint, Tom Vale"
