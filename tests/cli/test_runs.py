"""What the dyno writes into a folder is in the inbox once, whole, and never changed where it lies."""

import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.cli.test_commands import Console
from tests.cli.test_serve import environment
from tests.dyno_car import pull_csv


@pytest.fixture
def console(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Console:
    return Console(tmp_path / "revledger.db", monkeypatch, capsys)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A pull, a note that is no dyno file by its name, and one that is none by its content."""
    made = tmp_path / "dyno"
    made.mkdir()
    (made / "a.csv").write_bytes(pull_csv(1))
    (made / "note.pdf").write_bytes(b"%PDF")
    (made / "z.csv").write_bytes(b"Cell booked until noon\n")
    return made


def test_files_are_taken_once_and_one_that_cannot_be_read_is_named(console: Console, folder: Path) -> None:
    first = console.run("import-runs", str(folder))
    assert (first.code, first.out) == (1, "a.csv: 1 pull into the inbox\n")
    assert first.error.startswith("z.csv: There is no table of numbers in this file")
    (folder / "z.csv").unlink()
    again = console.run("import-runs", str(folder), str(folder / "a.csv"))
    assert (again.code, again.out, again.error) == (0, "a.csv: in the inbox already\n" * 2, "")
    assert (folder / "a.csv").read_bytes() == pull_csv(1)


def test_a_file_of_no_dyno_size_is_refused_unread(console: Console, folder: Path) -> None:
    with (folder / "z.csv").open("wb") as file:
        file.truncate(1 << 40)
    refused = console.run("import-runs", str(folder / "z.csv"))
    assert (refused.code, refused.error) == (1, "z.csv: The file is larger than 64 MiB; split it.\n")


def test_a_look_at_the_folder_takes_what_lies_there(console: Console, folder: Path) -> None:
    done = console.run("watch", "--once", str(folder))
    assert done.code == 0
    assert done.out.splitlines()[1:] == ["a.csv: 1 pull into the inbox"]


def test_a_file_that_is_still_being_written_waits_until_it_is_whole(tmp_path: Path, folder: Path) -> None:
    (folder / "z.csv").unlink()
    watching = subprocess.Popen(
        [sys.executable, "-m", "app", "watch", str(folder), "--every", "1"],
        env=environment(tmp_path / "revledger.db"),
        stdout=subprocess.PIPE,
        text=True,
    )
    assert watching.stdout is not None
    try:
        assert watching.stdout.readline().startswith("Watching ")
        assert watching.stdout.readline() == "a.csv: 1 pull into the inbox\n"
        whole = pull_csv(2)
        with (folder / "b.csv").open("wb", buffering=0) as file:
            for part in range(12):
                file.write(whole[part * len(whole) // 12 : (part + 1) * len(whole) // 12])
                time.sleep(0.15)
        assert watching.stdout.readline() == "b.csv: 1 pull into the inbox\n"
        # The same bytes under another name are known only if all of them were taken.
        (folder / "c.csv").write_bytes(whole)
        assert watching.stdout.readline() == "c.csv: in the inbox already\n"
    finally:
        watching.terminate()
        watching.wait(30)
        watching.stdout.close()
